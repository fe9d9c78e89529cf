"""forward.db: how far a server is, and what it did not take. Whoever sends writes it; `check` and the pages read it.

cursor     one row. `acknowledged`: the last batch that the server has acknowledged. `safe`: the last one that was
           acknowledged a minute ago or more and that nothing has shown to be missing since: after a broken
           connection or a restart, sending begins again behind it. `safe_tick`: of the commit line that says so, UTC
           ms, 0 if that is not known. `tick`: the newest time of sending that was
           used, UTC ms. `too_old`: readings that the server refused because it keeps nothing of their age.
           `trouble`, `since`: why nothing is sent just now, and since when (UTC ms); '' if nothing is wrong
kept       lines that the server refused one by one, with its own words and when (UTC ms)
not_held   batches after `since` up to `seq` that the server acknowledged twice and does not have: of `n` readings
           from t_min to t_max (UTC ms) it has `found`
corrected  from `since` on (UTC ms) the server's corrected values of a series rest on this entry; '' on none
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import apsw

from collector.reading import Quantity
from collector.store.schema import (
    NotYet,
    Schema,
    StoreError,
    WriterFile,
    open_reader,
    open_writer,
    transaction,
)

_FIRST = """
CREATE TABLE cursor(
  id INTEGER PRIMARY KEY CHECK(id = 1), acknowledged INTEGER NOT NULL, safe INTEGER NOT NULL,
  tick INTEGER NOT NULL DEFAULT 0, too_old INTEGER NOT NULL DEFAULT 0, trouble TEXT NOT NULL DEFAULT '',
  since INTEGER NOT NULL DEFAULT 0);
CREATE TABLE kept(line TEXT PRIMARY KEY, words TEXT NOT NULL, at INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE not_held(
  since INTEGER NOT NULL, seq INTEGER NOT NULL, t_min INTEGER NOT NULL, t_max INTEGER NOT NULL, n INTEGER NOT NULL,
  found INTEGER NOT NULL, PRIMARY KEY(since, seq)) WITHOUT ROWID;
"""

_CORRECTED = """
CREATE TABLE corrected(
  probe TEXT NOT NULL, quantity TEXT NOT NULL, since INTEGER NOT NULL, entry TEXT NOT NULL,
  PRIMARY KEY(probe, quantity, since)) WITHOUT ROWID;
"""

_SAFE_TICK = "ALTER TABLE cursor ADD COLUMN safe_tick INTEGER NOT NULL DEFAULT 0;"

FORWARD = Schema(
    name="forward.db",
    writer="forward",
    application_id=0x636F6C66,
    migrations=(_FIRST, _CORRECTED, _SAFE_TICK),
    page_size=512,  # a row or two change with each portion, and a page is written whole
)
OLD_CURSOR = "forward.cursor"
"""A text file beside ours in which an earlier version kept its one number."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A line that the server refused, and its words."""

    line: str
    words: str


@dataclass(frozen=True, slots=True)
class NotHeld:
    """Readings that the server acknowledged and does not have; see the table."""

    since: int
    seq: int
    t_min: int
    t_max: int
    n: int
    found: int


@dataclass(frozen=True, slots=True)
class Progress:
    """What `check` and the pages tell of forwarding."""

    acknowledged: int
    too_old: int
    kept: int
    last_words: str
    trouble: str
    since: int
    not_held: list[NotHeld]


class ForwardState:
    """The one writer. One thread uses it."""

    def __init__(self, file: WriterFile) -> None:
        self._file = file
        row: tuple[int, ...] = file.connection.execute(
            "SELECT acknowledged, safe, safe_tick, tick, too_old FROM cursor"
        ).get
        self.acknowledged, self.safe, self.safe_tick, self.tick, self.too_old = row
        self.kept = int(file.connection.execute("SELECT count(*) FROM kept").get)
        self._written: tuple[int, ...] = row

    @classmethod
    def open(cls, path: Path) -> ForwardState:
        """Makes it as needed and takes an old cursor file over. Raises StoreError as open_writer does, or if that file
        is not ours; OSError if it cannot be read."""
        with told():
            file = open_writer(path, FORWARD)
            try:
                _begin(file.connection, path.with_name(OLD_CURSOR))
                path.with_name(OLD_CURSOR).unlink(missing_ok=True)
                state = cls(file)
            except BaseException:
                file.close()
                raise
        return state

    def only_safe_to(self, seq: int) -> None:
        """What came after that batch is to be sent again."""
        self.acknowledged, self.safe, self.safe_tick = seq, seq, 0

    def next_tick(self, now: int) -> int:
        """A time of sending later than any before; it is on the disk before it is returned. Raises StoreError."""
        tick = max(now, int(self.tick) + 1)
        self.tick = tick
        self.save()
        return tick

    def save(self, kept: Iterable[Kept] = (), now: int = 0) -> None:
        """Returns once cursors, tick and these refused lines survive a power cut. Raises StoreError."""
        row = (self.acknowledged, self.safe, self.safe_tick, self.tick, self.too_old)
        kept = list(kept)
        if row == self._written and not kept:
            return
        connection = self._file.connection
        with told(), transaction(connection):
            to = "acknowledged = ?, safe = ?, safe_tick = ?, tick = ?, too_old = ?"
            connection.execute(f"UPDATE cursor SET {to}", row)
            connection.executemany(
                "INSERT OR REPLACE INTO kept(line, words, at) VALUES(?, ?, ?)",
                [(item.line, item.words, now) for item in kept],
            )
        self._written = row
        if kept:
            self.kept = int(connection.execute("SELECT count(*) FROM kept").get)

    def trouble(self, text: str, now: int) -> None:
        """Takes down why nothing is sent, '' once it is again. Raises StoreError."""
        with told():
            self._file.connection.execute(
                "UPDATE cursor SET trouble = ?, since = ?", (text, now if text else 0)
            )

    def not_held(self) -> list[NotHeld]:
        """The oldest first."""
        return _not_held(self._file.connection)

    def note_not_held(self, item: NotHeld, held: bool) -> None:
        """What became of a span that was asked for again. Raises StoreError."""
        with told():
            if held:
                sql, values = "DELETE FROM not_held WHERE since = ? AND seq = ?", (item.since, item.seq)
                self._file.connection.execute(sql, values)
            else:
                self._file.connection.execute(
                    "INSERT OR REPLACE INTO not_held(since, seq, t_min, t_max, n, found) VALUES(?, ?, ?, ?, ?, ?)",
                    (item.since, item.seq, item.t_min, item.t_max, item.n, item.found),
                )

    def corrected_by(self) -> dict[tuple[str, Quantity], list[tuple[int, str]]]:
        """By probe and quantity: from when on (UTC ms) which entry the server's corrected values rest on."""
        found: dict[tuple[str, Quantity], list[tuple[int, str]]] = {}
        rows = self._file.connection.execute(
            "SELECT probe, quantity, since, entry FROM corrected ORDER BY since"
        )
        for probe, quantity, since, entry in rows:
            found.setdefault((probe, Quantity(quantity)), []).append((since, entry))
        return found

    def note_corrected(self, entries: Mapping[tuple[str, Quantity], Sequence[tuple[int, str]]]) -> None:
        """From now on the server's corrected values rest on these. Raises StoreError."""
        connection = self._file.connection
        with told(), transaction(connection):
            connection.execute("DELETE FROM corrected")
            connection.executemany(
                "INSERT OR REPLACE INTO corrected(probe, quantity, since, entry) VALUES(?, ?, ?, ?)",
                [(*series, *stretch) for series, stretches in entries.items() for stretch in stretches],
            )

    def close(self) -> None:
        self._file.close()


def progress(folder: Path) -> Progress:
    """How far forwarding is, from forward.db in this folder; all 0 if there is none yet.

    Raises StoreError if the file cannot be used, OSError if it cannot be read.
    """
    try:
        with told(), closing(open_reader(folder / FORWARD.name, FORWARD)) as connection:
            row: Any = connection.execute(
                "SELECT acknowledged, too_old, (SELECT count(*) FROM kept), "
                "coalesce((SELECT words FROM kept ORDER BY at DESC LIMIT 1), ''), trouble, since FROM cursor"
            ).fetchone()
            lost = _not_held(connection)
    except NotYet:
        row = None
    if row is None:
        return Progress(_old_cursor(folder / OLD_CURSOR), 0, 0, "", "", 0, [])
    acknowledged, too_old, kept, words, trouble, since = row
    return Progress(acknowledged, too_old, kept, words, trouble, since, lost)


def _begin(connection: apsw.Connection, old: Path) -> None:
    if not connection.execute("SELECT count(*) FROM cursor").get:
        seq = _old_cursor(old)
        connection.execute("INSERT INTO cursor(id, acknowledged, safe) VALUES(1, ?, ?)", (seq, seq))


def _old_cursor(path: Path) -> int:
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return 0
    if not text.strip().isdecimal():
        raise StoreError(f"{path} holds {text[:40]!r}, not a batch's number: delete it to send all again")
    return int(text)


def _not_held(connection: apsw.Connection) -> list[NotHeld]:
    rows = connection.execute("SELECT since, seq, t_min, t_max, n, found FROM not_held ORDER BY since, seq")
    return [NotHeld(*row) for row in rows]


@contextmanager
def told() -> Iterator[None]:
    """Turns what SQLite says of the disk into StoreError."""
    try:
        yield
    except apsw.Error as error:
        raise StoreError(f"forward.db cannot be used ({error}): see to the disk") from error
