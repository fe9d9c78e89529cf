"""What every operation of the API answers as JSON when it does what was asked.

The types only describe; times UTC ms, temperatures degC, masses g. dashboard.described makes JSON Schemas of them, in
which nothing may be missing and nothing may be added. Tests hold the table to the routes, and every answer to its type.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field

from collector.reading import ProbeFacts, Quantity, Suspicion
from collector.store.runs import Unsure
from dashboard.api import shown
from dashboard.api.entry_models import Id
from dashboard.felt import Moved
from dashboard.field_check import Progress
from dashboard.mix_hour import Asked, Cold, Now
from dashboard.panel import Event
from dashboard.record.results import Results
from dashboard.record.used import DayDigest, Said
from dashboard.suppose import Cap, Least, Plan
from model.mix import Batch
from model.mix_hours import Start
from model.mix_now import Answer as Mix
from model.resin_card import Milestone
from model.what_if import LatestMixing

Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


# Logged


@dataclass(frozen=True)
class New:
    """new: False if the entry was there already."""

    event: Id
    new: bool


@dataclass(frozen=True)
class Registered(New):
    panel: str


@dataclass(frozen=True)
class OfProbe(New):
    recorded: int
    said: str


@dataclass(frozen=True)
class Logged(OfProbe):
    """gone: the panel it was of is no longer watched."""

    gone: bool


@dataclass(frozen=True)
class Felt(Logged):
    """Of a thumb test. sure: False if it counts only once somebody confirms it."""

    sure: bool
    moved: Moved


@dataclass(frozen=True)
class Quieted(Logged):
    until: int


@dataclass(frozen=True)
class Decided(Logged):
    granted: bool
    missing: tuple[str, ...]


# Asked


@dataclass(frozen=True)
class WhatIf:
    said: tuple[str, ...]
    cautions: tuple[str, ...]
    supposed: Literal[True]
    plan: Plan
    least: Least | None
    cap: Cap | None
    as_it_is: Mapping[Milestone, int | None]
    if_so: Mapping[Milestone, int | None]
    unattended: bool


@dataclass(frozen=True, kw_only=True)
class Latest(LatestMixing):
    by_cold: bool
    say: str


@dataclass(frozen=True)
class Best:
    from_ms: int
    to_ms: int


@dataclass(frozen=True)
class Checked:
    say: str
    stands: Literal["", "if", "no", "?", "-"]


@dataclass(frozen=True)
class Because:
    topic: str
    value: float | None
    limit: float | None
    stops: bool


@dataclass(frozen=True, kw_only=True)
class Hour(Start):
    answer: Mix
    reasons: tuple[Because, ...]


@dataclass(frozen=True)
class MixHour:
    spot: str
    card: str
    at: int
    readings_to: int | None
    good_until: int | None
    answer: Mix | None
    headline: str
    asked: Asked
    now: Now | None
    latest: Latest | None
    best: Best | None
    cold: Cold | None
    checks: tuple[Checked, ...]
    hours: tuple[Hour, ...]


@dataclass(frozen=True)
class Wetting:
    cloth_gm2: float
    how: str


@dataclass(frozen=True)
class Poured:
    """pots null: even the smallest would set before it is spread; then no times either."""

    mixed_g: tuple[float, float]
    resin_g: float
    hardener_g: float
    pots: int | None
    each: Batch | None
    needed_h: float | None
    whole_h: float


@dataclass(frozen=True)
class InPots(Poured):
    """An hour of null: never."""

    pour_by_h: float | None
    usable_h: float | None
    smokes_h: float | None


@dataclass(frozen=True)
class MixWork:
    card: str
    bottles_C: float
    bottles_assumed: bool
    air_C: float
    vessel: Literal["cup", "tray"]
    now: InPots | Poured
    fill_coat: InPots | Poured | None
    wetting: tuple[Wetting, ...]
    thickness_mm: float
    stages: int
    stage_mm: float


@dataclass(frozen=True)
class Pot:
    panel: str
    coat: int
    card: str
    pot: str
    mixed_at: int
    pour_by: int
    usable_at: int
    smokes_at: int | None
    mass_g: float | None
    asked_g: float | None
    vessel: str | None
    bottles_C: float | None
    applied_at: int | None
    headline: str
    fault: tuple[str, ...]


# The record


@dataclass(frozen=True)
class Readings:
    """Rows of time, value, quality and batch."""

    probe: str
    quantity: Quantity
    n: int
    sha256: Sha256
    rows: list[tuple[int, float, int, int]]


@dataclass(frozen=True)
class Used:
    panel: str
    site: str
    time_zone: str
    unit: str
    software: str
    at: int
    since: int
    batch: int
    events: tuple[Event, ...]
    cards: Mapping[str, str]
    probes: tuple[ProbeFacts, ...]
    suspicions: tuple[Suspicion, ...]
    unsure: tuple[Unsure, ...]
    said: tuple[Said, ...]
    days: tuple[DayDigest, ...]
    series: tuple[Readings, ...]
    lots: Mapping[str, Mapping[str, Any]]
    removed: tuple[str, ...]


@dataclass(frozen=True)
class Record:
    format: int
    used: Used
    results: Results
    sha256: Sha256


# The door


@dataclass(frozen=True)
class SignedIn:
    into: Annotated[Literal[True], Field(alias="in")]
    name: str


@dataclass(frozen=True)
class SignedOut:
    out: Literal[True]


@dataclass(frozen=True)
class Signed:
    signed: str


@dataclass(frozen=True)
class Done:
    done: Literal[True]


@dataclass(frozen=True)
class Named:
    name: str


@dataclass(frozen=True)
class WithRole(Named):
    role: Literal["look", "work", "manage"]


@dataclass(frozen=True)
class WithToken(Named):
    token: str


@dataclass(frozen=True)
class Ended:
    id: str


ANSWERS: dict[str, Any] = {
    "GET /api/alarms": shown.Alarms,
    "GET /api/events": shown.Events,
    "GET /api/health": shown.Health | shown.Serving,
    "GET /api/labels": shown.Labels,
    "GET /api/mix": MixHour,
    "GET /api/mix/pots": MixWork,
    "GET /api/notices": shown.Notices,
    "GET /api/panels": shown.Panels,
    "GET /api/panels/{panel_id}": shown.OnePanel,
    "GET /api/panels/{panel_id}/chart": shown.Chart,
    "GET /api/panels/{panel_id}/evidence": shown.Evidence,
    "GET /api/panels/{panel_id}/pot": Pot,
    "GET /api/panels/{panel_id}/record": Record,
    "GET /api/panels/{panel_id}/tonight": shown.PanelNight,
    "GET /api/panels/{panel_id}/tonight/if": WhatIf,
    "GET /api/probes": shown.Probes,
    "GET /api/probes/{probe_id}": shown.OneProbe,
    "GET /api/probes/{probe_id}/check": Progress,
    "GET /api/round": shown.RoundNow,
    "GET /api/tonight": shown.Tonight,
    "POST /api/events": Felt | Logged,
    "POST /api/panels": Registered,
    "POST /api/panels/{panel_id}/photos/{entry}": Logged,
    "POST /api/panels/{panel_id}/decisions": Decided,
    "POST /api/alarms/quiet": Quieted,
    "POST /api/alarms/unquiet": Logged,
    "POST /api/alarms/service": Logged,
    "POST /api/notices/quiet-hours": Logged,
    "POST /api/notices/test": Logged,
    "POST /api/probes/{probe_id}/check": OfProbe,
    "POST /api/probes/{probe_id}/correction": OfProbe,
    "POST /api/probes/{probe_id}/device": OfProbe,
    "POST /door/in": SignedIn,
    "POST /door/first": SignedIn,
    "POST /door/out": SignedOut,
    "POST /door/sign": Signed,
    "POST /door/phone": SignedIn,
    "POST /door/me/password": Done,
    "POST /door/me/pin": Done,
    "POST /door/accounts": WithRole,
    "POST /door/accounts/role": WithRole,
    "POST /door/accounts/password": Named,
    "POST /door/accounts/pin": Named,
    "POST /door/accounts/remove": Named,
    "POST /door/sessions/end": Ended,
    "POST /door/tokens": WithToken,
    "POST /door/tokens/revoke": Ended,
}
