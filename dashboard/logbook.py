"""shop.db: what people did and said, as events that are only ever added.

A panel is what its events make of it. Taking something back is an event too: the entry stays readable and is
left out when the panel is worked out again. Times are UTC ms.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, Protocol

import apsw

from collector.store.schema import Schema, WriterFile, open_reader, open_writer, transaction
from dashboard.entry_check import check, check_same
from dashboard.fold import preferences, withdrawn
from dashboard.panel import Event, Panel
from dashboard.picture import Picture
from dashboard.step_check import LogbookError
from dashboard.taken_down import Entries, TakenDown

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
        # Pictures by the digest of their bytes: an entry of kind "photo" names one.
        "CREATE TABLE picture(digest TEXT PRIMARY KEY, type TEXT NOT NULL, bytes BLOB NOT NULL);",
    ),
)


def _event(id_: str, at: int, recorded: int, who: str, kind: str, panel: str | None, body: str) -> Event:
    return Event(id_, at, recorded, who, kind, panel, json.loads(body))


def _row(event: Event) -> tuple[Any, ...]:
    body = json.dumps(dict(event.body), allow_nan=False)
    return event.id, event.at, event.recorded, event.who, event.kind, event.panel, body


class Times(Protocol):
    """What the collector's runs say of the times of entries; version() changes when that does."""

    def corrected(self, events: list[Event]) -> list[Event]: ...
    def version(self) -> int: ...


NIGHT_BYTES = 200_000_000
"""Room that a night may need: no photo takes it."""


class LogbookReader:
    """Reads shop.db beside its writer. Opens anew for every read, so a restored file is seen at once; entries that
    were read are kept.

    Every method raises collector.store.schema.NotYet while serve has never run.
    """

    def __init__(self, path: Path, times: Times | None = None) -> None:
        """`times` corrects entries that were taken down while the clock was wrong."""
        self._path = path
        self._times = times
        self._taken_down = TakenDown(_event)
        self._entries = Entries([])
        self._preferences: tuple[list[Event], dict[str, str]] = [], {}

    def _rows(self, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        connection = open_reader(self._path, SHOP)
        try:
            return list(connection.execute(sql, values))
        finally:
            connection.close()

    def events(self, panel: str | None = None) -> list[Event]:
        """Events in the order they were taken down; of one panel, or all."""
        every = self._every().events
        return list(every) if panel is None else [event for event in every if event.panel == panel]

    def _told(self) -> list[Event]:
        """As they stand in the file; the same list again while none was added."""
        connection = open_reader(self._path, SHOP)
        try:
            return self._taken_down.all(connection)
        finally:
            connection.close()

    def _every(self) -> Entries:
        times = self._times.version() if self._times else 0
        told = self._told()
        known = self._entries
        if known.told is not told or known.times != times:
            events = self._times.corrected(told) if self._times else told
            known = self._entries = Entries(events, told, times)
        return known

    def picture(self, digest: str) -> Picture | None:
        """A picture that an entry names; None if there is none of that digest."""
        rows = self._rows("SELECT type, bytes FROM picture WHERE digest = ?", (digest,))
        return Picture(str(rows[0][0]), bytes(rows[0][1])) if rows else None

    def version(self) -> int:
        """Another one with every entry, and when times were corrected."""
        newest = int(self._rows("SELECT coalesce(max(seq), 0) FROM event")[0][0])
        return newest + (self._times.version() if self._times else 0)

    def panels(self) -> dict[str, Panel]:
        """All panels as their events leave them."""
        return self._every().panels()

    def preferences(self) -> dict[str, str]:
        """The shop's choices that were not taken back, by key ("unit": degC or degF)."""
        told = self._told()
        known = self._preferences
        if known[0] is not told:
            known = self._preferences = told, preferences(told)
        return dict(known[1])

    def preference(self, key: str) -> str | None:
        """The shop's choice for `key`, None if nobody chose, or took every choice back."""
        return self.preferences().get(key)

    def seen(self) -> dict[str, tuple[int, str]]:
        """Alarm occurrences that somebody has seen, and did not take back: id -> (when, who)."""
        events = self.events()
        gone = withdrawn(events)
        return {
            str(event.body["alarm"]): (event.at, event.who)
            for event in events
            if event.kind == "alarm seen" and event.id not in gone
        }


Beside = Callable[[Event, Mapping[str, Panel]], list[Event]]


class Logbook(LogbookReader):
    """The one writer of shop.db; safe to call from several threads."""

    def __init__(
        self,
        path: Path,
        cards: Callable[[], Iterable[str]] | None = None,
        times: Times | None = None,
        beside: Beside = lambda event, panels: [],
    ) -> None:
        """`beside`: what is taken down in the same commit as an entry, worked out from the panels before it."""
        super().__init__(path, times)
        self._cards = cards
        self.beside = beside
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

    def append(self, event: Event, picture: Picture | None = None) -> bool:
        """Takes an entry down; it is on the disk when this returns. False if it was there already.

        picture   what an entry of kind "photo" names by its digest
        Raises LogbookError if it makes no sense, or no room is left for a picture; nothing is written then.
        """
        with self._lock:
            connection = self._writing()
            every = self._every()
            there = next((item for item in every.events if item.id == event.id), None)
            if there is not None:
                check_same(there, event)
                return False
            events, panels = every.events, every.panels()
            check(event, panels, events, self._cards() if self._cards else None)
            if picture is not None:
                _leave_room(self._path.parent, len(picture.content))
            taken = [event, *self.beside(event, panels)]
            with transaction(connection):
                if picture is not None:
                    connection.execute(
                        "INSERT OR IGNORE INTO picture(digest, type, bytes) VALUES (?, ?, ?)",
                        (picture.digest, picture.type, picture.content),
                    )
                connection.executemany(
                    "INSERT INTO event(id, at, recorded, who, kind, panel, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
                    [_row(each) for each in taken],
                )
            return True

    def _writing(self) -> apsw.Connection:
        if self._file is None:
            raise LogbookError("the logbook is not open for writing")
        return self._file.connection


def _leave_room(folder: Path, size: int) -> None:
    """Raises LogbookError if the disk had too little left for a night afterwards."""
    disk = os.statvfs(folder)
    free = disk.f_bavail * disk.f_frsize
    if free - size < NIGHT_BYTES:
        raise LogbookError(
            f"only {free // 1_000_000} MB are free on the shop's disk: no photo is kept until there is room, "
            "so that readings and entries are"
        )
