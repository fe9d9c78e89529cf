"""Digests of finished days: what was written is what is read, to the last bit, or it is found out.

SQLite's own check finds broken structure; a flipped bit in a value is no broken structure (39 of 300 flips, measured).
So each finished UTC day has a SHA-256 over the readings of every probe, sorted by time and quantity, one over the
batches committed that day and one over the runs begun that day. `upto` says which batch (for runs: which run) was the
last by then; rows of later ones are new, not damage. They get digests anew, once the old ones have been found right.

A record line is the row's fields in text, a float as float.hex(); times are raw UTC ms, as stored.
"""

from __future__ import annotations

import hashlib
from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import apsw

from collector.store.schema import transaction

DAY_MS = 86_400_000
SLICE_MS = 900_000
SLICE_ROWS = 4000
"""The readings of a quarter of an hour are taken at a time, or so many where there are more: some ten milliseconds."""

READINGS, BATCHES, RUNS = "readings", "batches", "runs"

_BATCHES = (
    "SELECT seq, t_min, t_max, run, committed, revised FROM batch WHERE committed / 86400000 = ? ORDER BY seq"
)
_RUNS = (
    "SELECT id, boot, started, elapsed, state, lasted, offset, early, late FROM run "
    "WHERE started / 86400000 = ? ORDER BY id"
)
_READINGS = (
    "SELECT s.probe, r.t, s.quantity, r.value, r.quality, r.lag, r.batch "
    "FROM reading r LEFT JOIN series s ON s.id = r.series WHERE r.t >= ? AND r.t < ? ORDER BY r.t, s.quantity"
)
_NEXT = "SELECT t FROM reading WHERE t >= ? AND t < ? ORDER BY t LIMIT 1 OFFSET ?"


@dataclass(frozen=True)
class Digest:
    """n rows of batches (or runs) up to `upto`. kind: READINGS of the probe `name`, BATCHES or RUNS (name "")."""

    day: int
    kind: str
    name: str
    n: int
    sha256: bytes
    upto: int


def day_of(at: int) -> int:
    """The UTC day of a time in ms, counted from 1970."""
    return at // DAY_MS


def days_of(times: Sequence[int]) -> set[int]:
    """The UTC days of all these times (ms). Those of a batch mostly lie in one."""
    if not times:
        return set()
    first, last = day_of(min(times)), day_of(max(times))
    return {first} if first == last else {day_of(at) for at in times}


def mark_undigested(connection: apsw.Connection, days: Iterable[int]) -> None:
    """Within a transaction that brings something new to those days."""
    connection.executemany("INSERT OR IGNORE INTO undigested(day) VALUES(?)", [(day,) for day in days])


def removed_days(connection: apsw.Connection) -> set[int]:
    """Days whose readings went, wholly or in part (keeping.py): their digests stay, but nothing fits them any more."""
    return {int(row[0]) for row in connection.execute("SELECT day FROM removed")}


def rewritten(connection: apsw.Connection, days: Iterable[int]) -> None:
    """Within a transaction that gives readings of those days other flags: their digests are made anew."""
    listed = [(day,) for day in days]
    connection.executemany("DELETE FROM digest WHERE kind = 'readings' AND day = ?", listed)
    connection.executemany("INSERT OR IGNORE INTO undigested(day) VALUES(?)", listed)


def due(connection: apsw.Connection, today: int) -> list[int]:
    """Finished days that have something newer than their digests, the oldest first."""
    return [
        row[0]
        for row in connection.execute("SELECT day FROM undigested WHERE day < ? ORDER BY day", (today,))
    ]


def stored(connection: apsw.Connection, day: int | None = None) -> list[Digest]:
    """The digests that were made, of one day or of all."""
    where, values = ("", ()) if day is None else (" WHERE day = ?", (day,))
    rows: list[Any] = connection.execute(
        f"SELECT day, kind, name, n, sha256, upto FROM digest{where} ORDER BY day, kind, name", values
    ).fetchall()
    return [Digest(*row) for row in rows]


def digesting(connection: apsw.Connection, day: int) -> Generator[None, None, list[str]]:
    """Makes one day's digests, a slice of it with each step; returns what is wrong with those it had.

    A day whose old digests do not fit keeps them, and is due still: they are the only witness. So does a removed one.
    """
    if day in removed_days(connection):
        return []
    old = stored(connection, day)
    now = _newest(connection)
    sums = _Sums(day, {(item.kind, item.upto) for item in old} | now)
    for rows in _slices(connection, day):
        sums.add_readings(rows)
        yield
    sums.add_ledgers(connection)
    if wrong := [text for item in old if (text := sums.compare(item))]:
        return wrong
    with transaction(connection):
        connection.execute("DELETE FROM digest WHERE day = ?", (day,))
        connection.executemany(
            "INSERT INTO digest(day, kind, name, n, sha256, upto) VALUES(?, ?, ?, ?, ?, ?)",
            [(day, item.kind, item.name, item.n, item.sha256, item.upto) for item in sums.digests(now)],
        )
    return []


def _slices(connection: apsw.Connection, day: int) -> Iterator[list[Any]]:
    """The day's readings; no query stays open between two slices, so that nothing keeps the WAL from being folded."""
    start, end = day * DAY_MS, (day + 1) * DAY_MS
    while True:
        first = connection.execute("SELECT min(t) FROM reading WHERE t >= ? AND t < ?", (start, end)).get
        if first is None:
            return
        start = min(first + SLICE_MS, end)
        beyond = connection.execute(_NEXT, (first, start, SLICE_ROWS)).get
        if beyond is not None:
            start = max(beyond, first + 1)  # what is of one moment stays together
        yield _rows(connection, _READINGS, (first, start))


def _rows(connection: apsw.Connection, query: str, values: tuple[int, ...]) -> list[Any]:
    """Raises apsw.CorruptError also for a text that is none any more, which SQLite does not look at."""
    try:
        return connection.execute(query, values).fetchall()
    except UnicodeDecodeError as error:
        raise apsw.CorruptError(f"a name is no text any more: {error}") from error


def _newest(connection: apsw.Connection) -> set[tuple[str, int]]:
    """The last batch and the last run there are, as `upto` of each kind."""
    batch, run = connection.execute(
        "SELECT (SELECT coalesce(max(seq), 0) FROM batch), (SELECT coalesce(max(id), 0) FROM run)"
    ).get
    return {(READINGS, batch), (BATCHES, batch), (RUNS, run)}


def differing(connection: apsw.Connection) -> Iterator[str]:
    """Every digest that its rows do not have any more, in words; reads the whole file, a slice at a time."""
    removed = removed_days(connection)
    days: dict[int, list[Digest]] = {}
    for item in stored(connection):
        if item.kind == RUNS or item.day not in removed:
            days.setdefault(item.day, []).append(item)
    for day, items in days.items():
        sums = _Sums(day, {(item.kind, item.upto) for item in items})
        for rows in _slices(connection, day):
            sums.add_readings(rows)
        sums.add_ledgers(connection)
        yield from (text for item in items if (text := sums.compare(item)))


@dataclass
class _Sum:
    sha: Any = field(default_factory=hashlib.sha256)
    n: int = 0

    def add(self, lines: Sequence[bytes]) -> None:
        self.sha.update(b"".join(lines))
        self.n += len(lines)


class _Sums:
    """Running digests of one day's rows, for each (kind, upto) that somebody asks about."""

    def __init__(self, day: int, asked: Iterable[tuple[str, int]]) -> None:
        self._day = day
        self._sums: dict[tuple[str, int], dict[str, _Sum]] = {one: {} for one in asked}

    def add_readings(self, rows: Iterable[tuple[Any, ...]]) -> None:
        lines: dict[str, list[tuple[Any, bytes]]] = {}
        for probe, *row in rows:
            lines.setdefault(str(probe), []).append((row[-1], _line(row)))
        for name, numbered in lines.items():
            self._add(READINGS, name, numbered)

    def add_ledgers(self, connection: apsw.Connection) -> None:
        for kind, query in ((BATCHES, _BATCHES), (RUNS, _RUNS)):
            self._add(kind, "", [(row[0], _line(row)) for row in _rows(connection, query, (self._day,))])

    def _add(self, kind: str, name: str, numbered: Sequence[tuple[Any, bytes]]) -> None:
        """Lines with their numbers. One that damage has made no number belongs to nobody, and is missing then."""
        for (asked, upto), sums in self._sums.items():
            if asked != kind:
                continue
            lines = [line for number, line in numbered if isinstance(number, int) and number <= upto]
            if lines:
                sums.setdefault(name, _Sum()).add(lines)

    def digests(self, asked: Iterable[tuple[str, int]]) -> list[Digest]:
        return [
            Digest(self._day, kind, name, one.n, one.sha.digest(), upto)
            for kind, upto in sorted(asked)
            for name, one in sorted(self._sums[kind, upto].items())
        ]

    def compare(self, item: Digest) -> str:
        """What is wrong with the rows of a digest, "" if nothing."""
        now = self._sums[item.kind, item.upto].get(item.name, _Sum())
        if now.n == item.n and now.sha.digest() == item.sha256:
            return ""
        what = f"readings of probe {item.name}" if item.kind == READINGS else item.kind
        how = "altered" if now.n == item.n else f"{now.n} of {item.n} are there"
        return f"{what} of {_date(item.day)} (UTC) are not what was written: {how}"


def _line(row: Iterable[Any]) -> bytes:
    fields = [value.hex() if isinstance(value, float) else repr(value) for value in row]
    return "\t".join(fields).encode() + b"\n"


def _date(day: int) -> str:
    """Also for a day that a flipped bit has moved out of the calendar."""
    try:
        return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=day)).strftime("%Y-%m-%d")
    except OverflowError:
        return f"day {day}"
