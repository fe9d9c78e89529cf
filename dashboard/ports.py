"""What the pages need from the rest of the house, as protocols: real stores in the shop, small fakes in tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from collector.clock import Clock
from collector.reading import ProbeFacts, Reading
from dashboard.assessment import Assessment
from dashboard.logbook import Event, Panel
from model.verdict import Say


class Alarm(Protocol):
    """One occurrence of an alarm; times UTC ms.

    kind         "too cold", "blush exposure" or "probe silent"
    returned_at  when its cause went away, None while it lasts
    seen_at      when somebody said that they had seen it, None until then
    """

    @property
    def id(self) -> str: ...
    @property
    def panel(self) -> str | None: ...
    @property
    def probe(self) -> str | None: ...
    @property
    def kind(self) -> str: ...
    @property
    def raised_at(self) -> int: ...
    @property
    def returned_at(self) -> int | None: ...
    @property
    def seen_at(self) -> int | None: ...
    @property
    def seen_by(self) -> str | None: ...
    @property
    def say(self) -> Say: ...


class Watched(Protocol):
    """What watch has worked out. Any method may raise collector.store.schema.NotYet: watch has not started."""

    def latest(self) -> list[Assessment]: ...
    def assessment(self, panel: str) -> Assessment | None: ...
    def alarms(self) -> list[Alarm]: ...
    def version(self) -> int: ...


class Logbook(Protocol):
    """What people did. append() returns False for an id that is there already, raises LogbookError for nonsense."""

    def append(self, event: Event) -> bool: ...
    def events(self, panel: str | None = None) -> list[Event]: ...
    def panels(self) -> dict[str, Panel]: ...
    def preference(self, key: str) -> str | None: ...


@dataclass(frozen=True)
class Refused:
    """One kind of thing that a source sent and that was not taken; `at` (UTC ms) and `text` are of the newest."""

    source: str
    kind: str
    text: str
    count: int
    at: int


def _nothing() -> list[Reading]:
    return []


def _none_refused() -> list[Refused]:
    return []


@dataclass(frozen=True)
class Shop:
    """All that a page may ask. `newest` gives the last reading of each probe and quantity, usable or not."""

    watched: Watched
    logbook: Logbook
    probes: Callable[[], list[ProbeFacts]]
    cards: Callable[[], list[str]]
    clock: Clock
    site: str
    time_zone: str
    invented: bool = False
    newest: Callable[[], list[Reading]] = field(default=_nothing)
    refused: Callable[[], list[Refused]] = field(default=_none_refused)
