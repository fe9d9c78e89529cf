"""shop.db: what people did and said, as events that are only ever added.

A panel is what its events make of it. Taking something back is an event too: the entry stays readable and is
left out when the panel is worked out again. Times are UTC ms.
"""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

import apsw

from collector.store.schema import Schema, WriterFile, open_reader, open_writer, transaction
from dashboard.correction import CorrectionError
from dashboard.probe_entry import PROBE_KINDS, check_probe_entry
from model.observation import Word, of_one_kind

SHOP = Schema(
    name="shop.db",
    writer="serve",
    application_id=0x63735368,
    migrations=(
        """
        CREATE TABLE event(
          seq INTEGER PRIMARY KEY,
          id TEXT NOT NULL UNIQUE,
          at INTEGER NOT NULL,
          recorded INTEGER NOT NULL,
          who TEXT NOT NULL,
          kind TEXT NOT NULL,
          panel TEXT,
          body TEXT NOT NULL
        );
        CREATE INDEX event_panel ON event(panel, seq);
        """,
    ),
)

WORDS = tuple(word.value for word in Word)
"""What a thumb, sanding paper or water may find."""
SUBSTRATES = ("wood", "foam", "solid laminate", "metal mould", "composite mould", "floor")
TILE_C = (-20.0, 60.0)
"""What a tile that is felt beside the panel may have, degC."""
FUTURE_MS = 2 * 60_000
"""A phone's clock may run this far ahead of ours; anything later than that has not happened yet."""


class LogbookError(ValueError):
    """The entry cannot be taken down; the text says why and what is allowed. Nothing was written."""


@dataclass(frozen=True)
class Event:
    """One entry. `id` is made where the button was tapped, so that a double tap is one entry."""

    id: str
    at: int
    recorded: int
    who: str
    kind: str
    panel: str | None
    body: Mapping[str, Any]


@dataclass(frozen=True)
class ThumbTest:
    """What somebody found on a coat; neighbouring words where the page has merged them.

    tile_C   temperature of the tile that was felt, degC, if it was not the panel itself
    """

    at: int
    words: tuple[Word, ...]
    tile_C: float | None


@dataclass(frozen=True)
class Coat:
    """One coat: number from 1; `applied_at` is None until somebody says, then mixing time stands for it.

    last_pot_at   when the last of its pots was mixed; None if there was only the first, at mixed_at
    """

    number: int
    card: str
    mixed_at: int
    applied_at: int | None
    kind: str
    event: str
    last_pot_at: int | None = None
    thumb_tests: tuple[ThumbTest, ...] = ()


@dataclass(frozen=True)
class Panel:
    """A panel as its events leave it."""

    id: str
    name: str
    zone: str
    surface_probe: str | None
    air_probe: str | None
    substrate: str
    coats: tuple[Coat, ...] = ()
    washed_at: int | None = None
    sanded_at: int | None = None
    demoulded_at: int | None = None
    closed: bool = False

    @property
    def newest(self) -> Coat | None:
        return self.coats[-1] if self.coats else None


def withdrawn(events: Iterable[Event]) -> frozenset[str]:
    """Ids of the entries that were taken back."""
    return frozenset(str(event.body["event"]) for event in events if event.kind == "withdrawn")


def fold(events: Iterable[Event]) -> dict[str, Panel]:
    """Panels by id, in the order of registration, from their events in the order they were taken down."""
    listed = list(events)
    gone = withdrawn(listed)
    panels: dict[str, Panel] = {}
    for event in listed:
        if event.id in gone or event.panel is None:
            continue
        panel = panels.get(event.panel)
        if event.kind == "panel registered" and panel is None:
            panels[event.panel] = Panel(id=event.panel, **event.body)
        elif panel is not None and event.kind in _STEPS:
            panels[event.panel] = _STEPS[event.kind](panel, event)
    return panels


def _coat_mixed(panel: Panel, event: Event) -> Panel:
    coat = Coat(
        number=len(panel.coats) + 1,
        card=event.body["card"],
        mixed_at=event.at,
        applied_at=event.body.get("applied_at"),
        kind=event.body.get("kind", "laminate"),
        event=event.id,
    )
    # A wash or a sanding prepares the surface for what comes after it: a new coat starts with a clean slate.
    return replace(panel, coats=(*panel.coats, coat), washed_at=None, sanded_at=None)


def _pot_mixed(panel: Panel, event: Event) -> Panel:
    """One more pot for the newest coat: what closes still counts from the first, what becomes ready from the last."""
    newest = panel.newest
    if newest is None:
        return panel
    last = max(event.at, newest.last_pot_at or newest.mixed_at)
    return replace(panel, coats=(*panel.coats[:-1], replace(newest, last_pot_at=last, applied_at=None)))


def _coat_applied(panel: Panel, event: Event) -> Panel:
    """The newest coat is on: its pot is empty."""
    newest = panel.newest
    if newest is None:
        return panel
    return replace(panel, coats=(*panel.coats[:-1], replace(newest, applied_at=event.at)))


def _thumb_test(panel: Panel, event: Event) -> Panel:
    """Of the coat that was the newest then."""
    earlier = [index for index, coat in enumerate(panel.coats) if coat.mixed_at <= event.at]
    if not earlier:
        return panel
    test = ThumbTest(event.at, tuple(Word(word) for word in event.body["words"]), event.body.get("tile_C"))
    coats = list(panel.coats)
    of = coats[earlier[-1]]
    coats[earlier[-1]] = replace(of, thumb_tests=(*of.thumb_tests, test))
    return replace(panel, coats=tuple(coats))


_STEPS: dict[str, Callable[[Panel, Event], Panel]] = {
    "coat mixed": _coat_mixed,
    "pot mixed": _pot_mixed,
    "coat applied": _coat_applied,
    "thumb test": _thumb_test,
    "washed": lambda panel, event: replace(panel, washed_at=event.at),
    "sanded": lambda panel, event: replace(panel, sanded_at=event.at),
    "demoulded": lambda panel, event: replace(panel, demoulded_at=event.at),
    "closed": lambda panel, event: replace(panel, closed=True),
}
KINDS = {"panel registered", *_STEPS, *PROBE_KINDS, "withdrawn", "alarm seen", "preference"}


def check(
    event: Event, panels: Mapping[str, Panel], events: Iterable[Event], cards: Iterable[str] | None
) -> None:
    """Raises LogbookError if the event makes no sense against what is there already."""
    if event.kind not in KINDS:
        raise LogbookError(
            f"{event.kind!r} is not something that can be logged; allowed: {', '.join(sorted(KINDS))}"
        )
    if event.at > event.recorded + FUTURE_MS:
        raise LogbookError(
            "that time is still to come: log it when it has happened, or check this device's clock"
        )
    if event.kind == "panel registered":
        _check_registration(event, panels)
    elif event.kind in _STEPS:
        _check_step(event, panels, cards)
    elif event.kind in PROBE_KINDS:
        try:
            check_probe_entry(event.kind, event.at, event.body)
        except CorrectionError as error:
            raise LogbookError(str(error)) from error
    elif event.kind == "withdrawn":
        listed = list(events)
        if event.body.get("event") not in {item.id for item in listed}:
            raise LogbookError("there is no such entry to take back")


def _check_registration(event: Event, panels: Mapping[str, Panel]) -> None:
    if not re.fullmatch(r"[a-z0-9-]{1,64}", event.panel or ""):
        raise LogbookError(
            f"{event.panel!r} cannot be a panel's id: use lower-case letters, digits and dashes"
        )
    if event.panel in panels:
        raise LogbookError(f"a panel with the id {event.panel!r} is there already: choose another")
    name = str(event.body.get("name", "")).strip()
    if not name or len(name) > 64 or not name.isprintable():
        raise LogbookError("a panel needs a name of 1 to 64 printable characters")
    if any(panel.name == name and not panel.closed for panel in panels.values()):
        raise LogbookError(f"a panel called {name!r} is there already: choose another name")
    if event.body.get("substrate") not in SUBSTRATES:
        raise LogbookError(f"what is it laid on? allowed: {', '.join(SUBSTRATES)}")


def _check_step(event: Event, panels: Mapping[str, Panel], cards: Iterable[str] | None) -> None:
    panel = panels.get(event.panel or "")
    if panel is None:
        raise LogbookError(f"there is no panel {event.panel!r}: register it first")
    if panel.closed:
        raise LogbookError(f"{panel.name} is closed: take that back first, on its page")
    if event.kind == "coat mixed":
        if cards is not None and event.body.get("card") not in set(cards):
            raise LogbookError(
                f"no resin card is called {event.body.get('card')!r}; there are: {', '.join(sorted(cards))}"
            )
        applied = event.body.get("applied_at")
        if applied is not None and not event.at <= applied <= event.recorded + FUTURE_MS:
            raise LogbookError("a coat goes on after it was mixed, and not in the future: correct the times")
        if panel.newest and event.at < panel.newest.mixed_at:
            raise LogbookError("this coat would come before the one already logged: take that one back first")
    elif event.kind == "closed":
        return
    elif panel.newest is None:
        raise LogbookError(f"{panel.name} has no coat yet: there is nothing to have been {event.kind}")
    elif event.kind == "thumb test":
        _check_thumb_test(event, panel)
    elif event.at < panel.newest.mixed_at:
        raise LogbookError(
            f"that lies before the newest coat was mixed: it cannot have been {event.kind} then"
        )


def _check_thumb_test(event: Event, panel: Panel) -> None:
    words = event.body.get("words") or []
    if not set(words) <= set(WORDS) or not of_one_kind([Word(word) for word in words]):
        raise LogbookError(
            f"{', '.join(map(str, words)) or 'nothing'} is not what one test finds; allowed: one of "
            f"{', '.join(WORDS)}, or neighbours among them"
        )
    if event.at < panel.coats[0].mixed_at:
        raise LogbookError("that lies before the first coat was mixed: nothing could have been felt then")
    tile_C = event.body.get("tile_C")
    if tile_C is not None and not TILE_C[0] <= tile_C <= TILE_C[1]:
        raise LogbookError(f"a tile of {tile_C} degC: {TILE_C[0]} to {TILE_C[1]} degC are allowed")


def _event(id_: str, at: int, recorded: int, who: str, kind: str, panel: str | None, body: str) -> Event:
    return Event(id_, at, recorded, who, kind, panel, json.loads(body))


class Times(Protocol):
    """What the collector's runs say of the times of entries; version() changes when that does."""

    def corrected(self, events: list[Event]) -> list[Event]: ...
    def version(self) -> int: ...


class LogbookReader:
    """Reads shop.db beside its writer. Opens anew for every read, so a restored file is seen at once.

    Every method raises collector.store.schema.NotYet while serve has never run.
    """

    def __init__(self, path: Path, times: Times | None = None) -> None:
        """`times` corrects entries that were taken down while the clock was wrong."""
        self._path = path
        self._times = times

    def _rows(self, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        connection = open_reader(self._path, SHOP)
        try:
            return list(connection.execute(sql, values))
        finally:
            connection.close()

    def events(self, panel: str | None = None) -> list[Event]:
        """Events in the order they were taken down; of one panel, or all."""
        where = "" if panel is None else "WHERE panel = ?"
        rows = self._rows(
            f"SELECT id, at, recorded, who, kind, panel, body FROM event {where} ORDER BY seq",
            () if panel is None else (panel,),
        )
        events = [_event(*row) for row in rows]
        return self._times.corrected(events) if self._times else events

    def version(self) -> int:
        """Another one with every entry, and when times were corrected."""
        newest = int(self._rows("SELECT coalesce(max(seq), 0) FROM event")[0][0])
        return newest + (self._times.version() if self._times else 0)

    def panels(self) -> dict[str, Panel]:
        """All panels as their events leave them."""
        return fold(self.events())

    def preference(self, key: str) -> str | None:
        """The shop's choice for `key` ("unit": degC or degF), None if nobody chose."""
        rows = self._rows(
            "SELECT body FROM event WHERE kind = 'preference' AND json_extract(body, '$.key') = ?"
            " ORDER BY seq DESC LIMIT 1",
            (key,),
        )
        return str(json.loads(rows[0][0])["value"]) if rows else None

    def seen(self) -> dict[str, tuple[int, str]]:
        """Alarm occurrences that somebody has seen: id -> (when, who)."""
        return {
            str(event.body["alarm"]): (event.at, event.who)
            for event in self.events()
            if event.kind == "alarm seen"
        }


class Logbook(LogbookReader):
    """The one writer of shop.db; safe to call from several threads."""

    def __init__(
        self, path: Path, cards: Callable[[], Iterable[str]] | None = None, times: Times | None = None
    ) -> None:
        super().__init__(path, times)
        self._cards = cards
        self._lock = threading.Lock()
        self._file: WriterFile | None = None

    def open(self) -> Logbook:
        """Takes the file's lock. Raises Locked if another process writes it."""
        self._file = open_writer(self._path, SHOP)
        return self

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None

    def append(self, event: Event) -> bool:
        """Takes an entry down; it is on the disk when this returns. False if its id was there already.

        Raises LogbookError if it makes no sense; nothing is written then.
        """
        with self._lock:
            connection = self._writing()
            if next(connection.execute("SELECT 1 FROM event WHERE id = ?", (event.id,)), None):
                return False
            events = self.events()
            check(event, fold(events), events, self._cards() if self._cards else None)
            with transaction(connection):
                connection.execute(
                    "INSERT INTO event(id, at, recorded, who, kind, panel, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (
                        event.id,
                        event.at,
                        event.recorded,
                        event.who,
                        event.kind,
                        event.panel,
                        json.dumps(dict(event.body)),
                    ),
                )
            return True

    def _writing(self) -> apsw.Connection:
        if self._file is None:
            raise LogbookError("the logbook is not open for writing")
        return self._file.connection
