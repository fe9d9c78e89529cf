"""What the API shows, as types that only describe: see dashboard.api.answers. Times UTC ms, temperatures degC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field

from collector.reading import Quantity
from collector.store.reader import HeardName, Tally
from collector.store.sequences import Missing
from collector.store.site_state import SiteState
from dashboard.alarm_desk import AlarmLine
from dashboard.assessment import Assessment, Night, Passing
from dashboard.correction import Correction
from dashboard.devices import Check
from dashboard.leaving import Leaving
from dashboard.night_strip import NightStrip
from dashboard.notice_store import Attempt, Told
from dashboard.pages.more import ProbeLine
from dashboard.panel import Event, Panel
from dashboard.strips import Strip


@dataclass(frozen=True, kw_only=True)
class StripAndPaper(Strip):
    """paper_until: until when a printed line is gone by."""

    paper_until: int | None


@dataclass(frozen=True)
class RoundNow:
    site: str
    invented: bool
    known: int
    readings_to: int | None
    worked_out: int | None
    zone: str | None
    zones: tuple[str, ...]
    strips: tuple[StripAndPaper, ...]


@dataclass(frozen=True)
class Panels:
    panels: tuple[Panel, ...]


@dataclass(frozen=True)
class OnePanel:
    panel: Panel
    strip: Strip
    assessment: Assessment | None


@dataclass(frozen=True)
class Picture:
    title: str
    below: tuple[str, ...]
    name: str


@dataclass(frozen=True)
class Block:
    """of: by the number of a trace its x and y; rows: a time and what the cursor says there."""

    id: str
    of: Mapping[str, tuple[list[Any], list[Any]]]
    rows: list[tuple[int, str]]


@dataclass(frozen=True)
class Chart:
    """layout and data are Plotly's; a block that the page has is its name alone."""

    drawn_at: int
    picture: Picture
    layout: Mapping[str, Any]
    data: list[Mapping[str, Any]]
    blocks: list[str | Block]


@dataclass(frozen=True)
class Events:
    events: tuple[Event, ...]


@dataclass(frozen=True)
class Probes:
    probes: tuple[ProbeLine, ...]
    refused: tuple[Tally, ...]
    rivals: int
    missing: tuple[Missing, ...]
    unclaimed: tuple[HeardName, ...]
    sites: tuple[SiteState, ...]
    all_held: bool


@dataclass(frozen=True)
class Serving:
    """All that a stranger is told."""

    serve: Literal["running"]


@dataclass(frozen=True)
class Health(Serving):
    collect: str
    now: int
    watch: str
    worked_out: int | None
    recording: tuple[str, ...]
    not_sent_on: str


@dataclass(frozen=True)
class Value:
    quantity: Quantity
    at: int
    raw: float
    corrected: float
    correction: str | None


@dataclass(frozen=True)
class Put:
    """A device behind the probe; since null: it was there first."""

    probe: str
    serial: str
    since: int | None
    event: str


@dataclass(frozen=True)
class Corrected:
    correction: Correction
    who: str
    recorded: int
    reference: str
    due_at: int | None
    serial: str


@dataclass(frozen=True, kw_only=True)
class Checked(Check):
    serial: str


@dataclass(frozen=True)
class OneProbe:
    probe: str
    values: tuple[Value, ...]
    due: Mapping[Quantity, int | None]
    devices: tuple[Put, ...]
    corrections: tuple[Corrected, ...]
    checks: tuple[Checked, ...]


@dataclass(frozen=True)
class LabelOf:
    panel: str
    name: str
    zone: str
    code: Annotated[str, Field(pattern="^[A-Z]{6}$")]
    link: str | None


@dataclass(frozen=True)
class Labels:
    labels: tuple[LabelOf, ...]
    wrong: str


@dataclass(frozen=True, kw_only=True)
class AlarmNow(AlarmLine):
    raised_at: int
    returned_at: int | None
    seen_at: int | None
    panels: tuple[str, ...]


@dataclass(frozen=True)
class Alarms:
    alarms: tuple[AlarmNow, ...]


@dataclass(frozen=True)
class QuietHoursOf:
    name: str
    start: str
    end: str
    wake: tuple[str, ...]


@dataclass(frozen=True)
class Notices:
    people: tuple[QuietHoursOf, ...]
    told: tuple[Told, ...]
    not_reached: tuple[Attempt, ...]
    running: bool


@dataclass(frozen=True)
class Have:
    name: str
    have: bool
    text: str


@dataclass(frozen=True)
class Evidence:
    panel: str
    evidence: Mapping[Literal["demould", "sign off"], tuple[Have, ...]]


@dataclass(frozen=True, kw_only=True)
class PanelNight(NightStrip):
    """night null: not known."""

    night: Night | None
    milestones: tuple[Passing, ...]


@dataclass(frozen=True)
class Tonight:
    """leaving null: it is not the hour to ask."""

    zones: tuple[str, ...]
    panels: tuple[PanelNight, ...]
    leaving: tuple[Leaving, ...] | None
