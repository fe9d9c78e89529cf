"""Entries that were read once are not read again: a log that is years long costs a page no more than a short one."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import apsw

from dashboard.fold import fold
from dashboard.panel import Event, Panel

FromRow = Callable[[str, int, int, str, str, str | None, str], Event]
COLUMNS = "id, at, recorded, who, kind, panel, body"


@dataclass
class Entries:
    """All entries of one state of the file, and the panels that they make.

    told    as they stand in the file; times: the version of what moved them to `events`
    """

    events: list[Event]
    told: list[Event] = field(default_factory=list)
    times: int = 0
    _panels: dict[str, Panel] | None = field(default=None, repr=False)

    def panels(self) -> dict[str, Panel]:
        """Folded when it is first asked for; a dictionary of the caller's own."""
        if self._panels is None:
            self._panels = fold(self.events)
        return dict(self._panels)


class TakenDown:
    """What is known of a file to which entries are only ever added. Safe to call from several threads."""

    def __init__(self, from_row: FromRow) -> None:
        self._from_row = from_row
        self._lock = threading.Lock()
        self._newest: tuple[int, str] | None = None
        self._events: list[Event] = []

    def all(self, connection: apsw.Connection) -> list[Event]:
        """In the order they were taken down; the same list again while none was added. Not to be changed."""
        with self._lock:
            if not self._goes_on(connection):
                self._newest, self._events = None, []
            rows = list(
                connection.execute(
                    f"SELECT seq, {COLUMNS} FROM event WHERE seq > ? ORDER BY seq",
                    (self._newest[0] if self._newest else -1,),
                )
            )
            if rows:
                self._newest = (int(rows[-1][0]), str(rows[-1][1]))
                self._events = self._events + [self._from_row(*row[1:]) for row in rows]
            return self._events

    def _goes_on(self, connection: apsw.Connection) -> bool:
        """Whether the file still holds what was read last: one that was restored from a backup may not."""
        if self._newest is None:
            return True
        found = next(connection.execute("SELECT id FROM event WHERE seq = ?", (self._newest[0],)), None)
        return found is not None and found[0] == self._newest[1]
