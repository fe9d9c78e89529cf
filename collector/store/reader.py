"""Reads readings.db without ever holding it up: a read is cut off after a second and leaves nothing open."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import apsw
import numpy as np
from numpy.typing import NDArray

from collector.reading import ProbeFacts, Quality, Quantity, Reading, Suspicion
from collector.store.arrived import Arrived, Numbered, all_from, arrived_after
from collector.store.digests import Digest, removed_days, stored
from collector.store.readings_schema import NEWEST_WITHIN_MS, READINGS
from collector.store.run_table import newest_run, read_runs
from collector.store.runs import Run
from collector.store.schema import Damaged, StoreError, cut_off, file_at, open_reader
from collector.store.sequences import Missing, missing
from collector.store.site_state import SiteState
from collector.store.spans import AT, JOINED, served_between
from collector.store.summaries import HOUR_MS, Summary

LONGEST_READ_S = 1.0
LEAST_RANGE_MS = 60_000
"""What takes too long is read in halves, and those in halves, down to this."""

Samples = tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]]
"""Times (UTC ms, ascending), values (SI) and Quality bits, equally long."""

Ledger = tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]
"""Samples, and of each the seq of its batch."""

_ROW = np.dtype([("at", np.int64), ("value", np.float64), ("quality", np.int64)])
_EVERY_ROW = np.dtype([("series", np.int64), *_ROW.descr])
_SERIES = "SELECT id, probe, quantity FROM series"
_LEDGER_ROW = np.dtype([*_ROW.descr, ("batch", np.int64)])

_WHAT = f"s.probe, s.quantity, r.value, {AT}, r.t + r.lag + run.offset, r.quality"
_COLUMNS = f"SELECT {_WHAT}"
_READING = f"{_COLUMNS} {JOINED} JOIN series s ON s.id = r.series"
_NEWEST = (
    f"{_COLUMNS} FROM series s JOIN reading r ON r.series = s.id AND r.t = (SELECT r.t {JOINED} "
    f"WHERE r.series = s.id AND r.t BETWEEN s.newest AND s.newest + {NEWEST_WITHIN_MS} "
    f"ORDER BY {AT} DESC LIMIT 1) JOIN batch b ON b.seq = r.batch JOIN run ON run.id = b.run"
)


@dataclass(frozen=True, slots=True)
class Batch:
    """One commit: its place in the order of arrival, and its readings' first and last time (UTC ms).

    revised   0, or FLAGS or MOVED (readings_schema.py): what lies between these times is to be read again
    """

    seq: int
    t_min: int
    t_max: int
    revised: int = 0


@dataclass(frozen=True, slots=True)
class Tally:
    """How often a source's input was refused for one reason, and the last case."""

    source: str
    kind: str
    n: int
    last_text: str
    last_at: int


@dataclass(frozen=True, slots=True)
class HeardName:
    """A name that no probe claims, as a source last sent it."""

    source: str
    name: str
    quantity: Quantity
    value: float
    last_at: int


class TooLong(StoreError):
    """A read was cut off after LONGEST_READ_S."""


class Reader:
    """Reads the store; for one thread at a time. A read that would take over a second raises TooLong; of many readings
    it is tried again in shorter ranges first.
    """

    def __init__(self, connection: apsw.Connection) -> None:
        """On a connection that is open already, such as the writer's own of a store in memory."""
        self._connection = connection
        self._file = file_at(connection.filename)

    @classmethod
    def open(cls, path: Path) -> Reader:
        """Raises NotYet if collect has not made or migrated it yet, StoreError if it is newer or foreign."""
        return cls(open_reader(path, READINGS))

    def close(self) -> None:
        self._connection.close()

    def is_replaced(self) -> bool:
        """Whether another file, or none, lies in the place of this one, in which nothing new will come."""
        return file_at(self._connection.filename) != self._file

    def probes(self) -> list[ProbeFacts]:
        """The probes of the settings, sorted by id."""
        with self._in_time() as connection:
            rows = _all(connection, "SELECT id, zone, place, interval_s, accuracy_K FROM probe ORDER BY id")
        return [ProbeFacts(*row) for row in rows]

    def last_batch(self) -> int:
        """The newest batch's seq; 0 if there is none."""
        with self._in_time() as connection:
            return int(connection.execute("SELECT coalesce(max(seq), 0) FROM batch").get)

    def batches_after(self, seq: int) -> list[Batch]:
        """The commits after `seq`, in order of arrival."""
        return self._batches("seq > ?", seq)

    def revised_upto(self, seq: int) -> list[Batch]:
        """The batches up to `seq` that say what was revised, in order of arrival."""
        return self._batches("revised AND seq <= ?", seq)

    def _batches(self, where: str, seq: int) -> list[Batch]:
        sql = (
            "SELECT seq, iif(revised, t_min, t_min + min(offset, 0)), iif(revised, t_max, t_max + max(offset, 0)), "
            f"revised FROM batch JOIN run ON run.id = batch.run WHERE {where} ORDER BY seq"
        )
        with self._in_time() as connection:
            return [Batch(*row) for row in _all(connection, sql, (seq,))]

    def samples(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Samples:
        """One series from start to end, both ends in, whatever its quality."""
        at, value, quality = self._series(
            f"{AT}, r.value, r.quality", _ROW, probe, quantity, start_ms, end_ms
        )
        return at, value, quality

    def ledger(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Ledger:
        """The same, and the batch that each reading came in."""
        at, value, quality, batch = self._series(
            f"{AT}, r.value, r.quality, r.batch", _LEDGER_ROW, probe, quantity, start_ms, end_ms
        )
        return at, value, quality, batch

    def digests(self, day: int) -> list[Digest]:
        """What a finished UTC day (since 1970) was digested to; none if it was not yet."""
        with self._in_time() as connection:
            return stored(connection, day)

    def removed(self) -> set[int]:
        """UTC days (since 1970) whose readings were removed, wholly or in part, to make room."""
        with self._in_time() as connection:
            return removed_days(connection)

    def _series(
        self, what: str, row: np.dtype[Any], probe: str, quantity: Quantity, start_ms: int, end_ms: int
    ) -> list[NDArray[Any]]:
        parts = list(
            _halved(lambda start, end: self._table(what, row, probe, quantity, start, end), start_ms, end_ms)
        )
        table = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return [np.ascontiguousarray(table[name]) for name in row.names or ()]

    def _table(
        self, what: str, row: np.dtype[Any], probe: str, quantity: Quantity, start_ms: int, end_ms: int
    ) -> NDArray[Any]:
        where = f"{JOINED} WHERE r.series = (SELECT id FROM series WHERE probe = ? AND quantity = ?)"
        bindings = (probe, quantity.value)
        with self._in_time() as connection:
            found = [
                np.fromiter(rows, dtype=row)
                for rows in served_between(connection, what, where, bindings, start_ms, end_ms)
            ]
        table = found[0] if len(found) == 1 else np.concatenate(found)
        if len(found) > 1:  # runs that were moved may lie among, and in theory upon, other rows
            table = table[np.lexsort((table["value"], table["at"]))]
            table = table[np.diff(table["at"], prepend=-1) != 0]
        return table

    def every(self, start_ms: int, end_ms: int) -> dict[tuple[str, Quantity], Samples]:
        """Every series from start to end, both ends in, whatever its quality: one pass, where samples() of each in turn
        would look at all readings each time. Those without a reading there are left out.
        """
        with self._in_time() as connection:
            names = {number: (probe, Quantity(of)) for number, probe, of in _all(connection, _SERIES)}
        table = np.concatenate(list(_halved(self._every_row, start_ms, end_ms)))
        table = table[np.lexsort((table["value"], table["at"], table["series"]))]
        cuts = np.flatnonzero(np.diff(table["series"])) + 1
        return {names[int(part["series"][0])]: _once(part) for part in np.split(table, cuts) if len(part)}

    def _every_row(self, start_ms: int, end_ms: int) -> NDArray[Any]:
        what = f"r.series, {AT}, r.value, r.quality"
        with self._in_time() as connection:
            found = [
                np.fromiter(rows, dtype=_EVERY_ROW)
                for rows in served_between(connection, what, f"{JOINED} WHERE 1", (), start_ms, end_ms)
            ]
        return np.concatenate(found)

    def readings_after(self, seq: int, limit: int) -> tuple[list[Reading], int]:
        """Readings of the batches after `seq`, whole batches only, until there are `limit` or more.

        Of a batch that says what was revised, all readings between its times, which may have been told before.
        Returns them with the seq of the last batch among them (`seq` itself if there was none).
        """
        found: list[Reading] = []
        with self._in_time() as connection:
            batches = connection.execute(
                "SELECT seq, t_min, t_max, revised FROM batch WHERE seq > ? ORDER BY seq", (seq,)
            )
            for number, t_min, t_max, revised in batches:
                if revised:
                    found.extend(_served(connection, t_min, t_max))
                else:
                    # The plus keeps SQLite from beginning at the batch: it would have to sort, for twice the time.
                    rows = connection.execute(
                        f"{_READING} WHERE r.t BETWEEN ? AND ? AND +r.batch = ? ORDER BY r.t, r.series",
                        (t_min, t_max, number),
                    )
                    found.extend(_reading(row) for row in rows)
                seq = number
                if len(found) >= limit:
                    break
            batches.close()
        return found, seq

    def arrived_after(self, seq: int, limit: int, upto: int | None = None) -> Arrived | None:
        """What the batches after `seq` (and up to `upto`) brought, each reading with its batch; None if there is none.

        Whole batches until there are `limit` readings or more; one that says what was revised comes alone.
        """
        return arrived_after(self._in_time, seq, upto, limit)

    def pieces_from(self, start_ms: int) -> Iterator[list[Numbered]]:
        """All readings from start on, each with its batch: some at once, in a read of their own."""
        return all_from(self._in_time, start_ms)

    def summaries(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> list[Summary]:
        """What is kept of hours whose readings were removed: those that touch the time from start to end."""
        with self._in_time() as connection:
            rows = _all(
                connection,
                "SELECT hour, n, usable, low, high, covered_ms, integral FROM summary WHERE hour BETWEEN ? AND ? "
                "AND series = (SELECT id FROM series WHERE probe = ? AND quantity = ?) ORDER BY hour",
                (start_ms // HOUR_MS, end_ms // HOUR_MS, probe, quantity.value),
            )
        return [Summary(*row) for row in rows]

    def latest(self, probe: str, quantity: Quantity) -> Reading | None:
        """The newest reading of a series, whatever its quality; None if there is none."""
        with self._in_time() as connection:
            rows = _all(
                connection, f"{_NEWEST} WHERE s.probe = ? AND s.quantity = ?", (probe, quantity.value)
            )
        return _reading(rows[0]) if rows else None

    def newest(self) -> list[Reading]:
        """Of every series the newest reading, whatever its quality."""
        with self._in_time() as connection:
            rows = _all(connection, f"{_NEWEST} ORDER BY s.id")
        return [_reading(row) for row in rows]

    def runs(self) -> list[Run]:
        """All runs, in the order they were begun."""
        with self._in_time() as connection:
            return read_runs(connection)

    def clocks(self) -> dict[str, list[Run]]:
        """The runs, as those of this house's own clock."""
        return {"": self.runs()}

    def site_of(self, probe: str) -> str:
        """All probes here are the house's own."""
        return ""

    def seqs(self, batch: int) -> dict[str, int]:
        """A batch's number needs no further meaning here."""
        return {}

    def sites(self) -> list[SiteState]:
        """A house of one has none."""
        return []

    def newest_run(self) -> Run | None:
        """The run begun last; None before the first."""
        with self._in_time() as connection:
            return newest_run(connection)

    def span(self) -> tuple[int, int] | None:
        """The raw times of the first and the last reading, UTC ms; None if the store is empty."""
        with self._in_time() as connection:
            first, last = connection.execute(
                "SELECT (SELECT min(t) FROM reading), (SELECT max(t) FROM reading)"
            ).get
        return None if first is None else (first, last)

    def tallies(self) -> list[Tally]:
        """What was refused so far, by source and kind."""
        with self._in_time() as connection:
            rows = _all(
                connection, "SELECT source, kind, n, last_text, last_at FROM tally ORDER BY source, kind"
            )
        return [Tally(*row) for row in rows]

    def heard(self) -> list[HeardName]:
        """Names that no probe claims, newest first."""
        with self._in_time() as connection:
            sql = "SELECT source, name, quantity, value, last_at FROM heard ORDER BY last_at DESC, name"
            rows = _all(connection, sql)
        return [HeardName(source, name, Quantity(what), value, at) for source, name, what, value, at in rows]

    def suspicions(self) -> list[Suspicion]:
        """What stands or stood against probes, by probe, kind and beginning."""
        with self._in_time() as connection:
            sql = "SELECT probe, kind, since, until, shown_from, shown_to, numbers FROM suspicion ORDER BY 1, 2, 3"
            rows = _all(connection, sql)
        return [
            Suspicion(probe, kind, since, until, shown_from, shown_to, json.loads(numbers))
            for probe, kind, since, until, shown_from, shown_to, numbers in rows
        ]

    def conflicts(self) -> int:
        """How many second, other values came for a time that had one already."""
        with self._in_time() as connection:
            return int(connection.execute("SELECT count(*) FROM conflict").get)

    def missing(self) -> list[Missing]:
        """Probes whose own count has gaps, the worst first."""
        with self._in_time() as connection:
            return missing(connection)

    def data_version(self) -> int:
        """Changes whenever the store has changed; costs microseconds."""
        # The pragma sees other connections' commits, the count this connection's own.
        return int(self._connection.pragma("data_version") or 0) + self._connection.total_changes()

    @contextmanager
    def _in_time(self) -> Iterator[apsw.Connection]:
        try:
            with cut_off(self._connection, LONGEST_READ_S, time.monotonic):
                yield self._connection
        except apsw.InterruptError as error:
            raise TooLong(
                f"reading took longer than {LONGEST_READ_S:g} s and was cut off: ask for a shorter range"
            ) from error
        except (apsw.CorruptError, apsw.NotADBError, UnicodeDecodeError) as error:
            raise Damaged(f"{READINGS.name} is damaged ({error}): keep it, and restore a backup") from error
        except apsw.Error as error:
            raise StoreError(f"{READINGS.name} cannot be read: {error}") from error


def _halved(read: Callable[[int, int], NDArray[Any]], start_ms: int, end_ms: int) -> Iterator[NDArray[Any]]:
    """What `read` gives of these times, both ends in; one after the other where it would take too long at once."""
    try:
        yield read(start_ms, end_ms)
        return
    except TooLong:
        if end_ms - start_ms <= LEAST_RANGE_MS:
            raise
    middle = (start_ms + end_ms) // 2
    yield from _halved(read, start_ms, middle)
    yield from _halved(read, middle + 1, end_ms)


def _once(table: NDArray[Any]) -> Samples:
    """One series, in order; of several values for a time the least."""
    table = table[np.diff(table["at"], prepend=-1) != 0]
    at, value, quality = (np.ascontiguousarray(table[name]) for name in ("at", "value", "quality"))
    return at, value, quality


def _all(connection: apsw.Connection, sql: str, bindings: tuple[object, ...] = ()) -> list[Any]:
    return connection.execute(sql, bindings).fetchall()


def _reading(row: Any) -> Reading:
    probe, quantity, value, at, received, quality = row
    return Reading(probe, Quantity(quantity), value, at, received, Quality(quality))


def _served(connection: apsw.Connection, start: int, end: int) -> list[Reading]:
    """All readings from start to end, in the order of their times."""
    where = f"{JOINED} JOIN series s ON s.id = r.series WHERE 1"
    found = [
        _reading(row) for rows in served_between(connection, _WHAT, where, (), start, end) for row in rows
    ]
    return sorted(found, key=lambda reading: (reading.at, reading.probe, reading.quantity))
