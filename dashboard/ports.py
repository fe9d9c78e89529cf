"""What the pages need from the rest of the house: real stores in the shop, small fakes in tests."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from collector.clock import Clock
from collector.reading import ProbeFacts
from collector.store.trouble import Trouble
from dashboard.alive import Doing
from dashboard.assessment import Assessment
from dashboard.chart_data import Lines
from dashboard.decided import Decisions
from dashboard.facts import Facts
from dashboard.field_check import Series
from dashboard.live import CardOf, no_card, nobody
from dashboard.notice_store import NoticeReader
from dashboard.panel import Event, Panel
from dashboard.picture import Picture
from dashboard.probes import Heard
from dashboard.record.gather import Archive
from dashboard.shop_settings import ShopSettings
from dashboard.watch_store import Alarm


class Watched(Protocol):
    """What watch has worked out. Any method may raise store.schema.NotYet: watch has not started."""

    def latest(self) -> list[Assessment]: ...
    def worked_out(self) -> int | None: ...
    def assessment(self, panel: str) -> Assessment | None: ...
    def said(self, panel: str) -> list[tuple[int, str, str]]: ...
    def alarms(self) -> list[Alarm]: ...
    def version(self) -> int: ...


class Logbook(Protocol):
    """What people did. append(): False if the id is there already; raises LogbookError for nonsense."""

    def append(self, event: Event, picture: Picture | None = None) -> bool: ...
    def picture(self, digest: str) -> Picture | None: ...
    def events(self, panel: str | None = None) -> list[Event]: ...
    def panels(self) -> dict[str, Panel]: ...
    def preferences(self) -> dict[str, str]: ...
    def preference(self, key: str) -> str | None: ...
    def version(self) -> int: ...


@dataclass(frozen=True)
class Shop:
    """All that a page may ask. `probes`, `heard` and `series` raise NotYet while collect has never run.

    card_facts  by a card's id the least and the greatest temperature it covers, degC
    """

    watched: Watched
    logbook: Logbook
    probes: Callable[[], list[ProbeFacts]]
    heard: Callable[[], Heard]
    series: Series
    cards: Callable[[], list[str]]
    card_facts: Callable[[], Mapping[str, tuple[float, float]]]
    clock: Clock
    site: str
    time_zone: str
    invented: bool = False
    troubles: Callable[[], list[Trouble]] = list
    """What keeps readings from being stored, the gravest first."""
    not_sent_on: Callable[[], str] = str
    """Why readings are not sent on to a time-series server just now; empty if they are, or if none is named."""
    processes: Callable[[], Mapping[str, Doing]] = dict
    """collect and watch, and what each does."""
    facts: Callable[[Panel, int], Facts] = nobody
    """What the model needs to answer for a panel at this time (UTC ms); raises NotYet while collect has never run."""
    card: CardOf = no_card
    """A resin card by its id."""
    leave_minute: int = 22 * 60
    """When the last person leaves, minutes since the shop's midnight."""
    public_url: str | None = None
    """What a phone calls this computer by; None if nobody said."""
    archive: Archive | None = None
    """What records are made from; None: there are no readings."""
    decisions: Decisions | None = None
    """What keeps the answers that people decided by; None: nothing does."""
    told: tuple[str, ...] = ()
    """Names of those who are told of alarms away from the pages."""
    notices: NoticeReader | None = None
    """What they were told; None: nobody is."""
    lines: Lines | None = None
    """What charts are drawn from; None: there are no readings."""
    settings: ShopSettings | None = None
    """What the page Settings tells of the settings file; None: serve was not started from one."""
    has_sites: bool = False
    """Whether the readings are of sites that a server holds."""
