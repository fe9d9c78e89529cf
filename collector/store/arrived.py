"""What came into readings.db, batch by batch and each reading with its batch: what a forwarder tells a server."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass

import apsw

from collector.reading import Quality, Quantity, Reading
from collector.store.rechecks import first_from
from collector.store.spans import AT, JOINED, served_between

Numbered = tuple[Reading, int]
"""A reading and the seq of the batch it came in."""

SLICE_MS = 900_000
"""A batch may reach from last month to now, and what was revised over six hours of a thousand series: it is read piece
by piece, each in a read of its own."""

_WHAT = f"s.probe, s.quantity, r.value, {AT}, r.t + r.lag + run.offset, r.quality, r.batch"
_SERIES = f"{JOINED} JOIN series s ON s.id = r.series"


@dataclass(frozen=True, slots=True)
class Arrived:
    """The batches after `since` up to `seq`: all of them new, or one that says what was revised.

    revised    0: the readings came in these batches. Else FLAGS or MOVED (readings_schema.py): they are all that are
               served from t_min to t_max, whenever they came
    t_min, t_max   UTC ms, both in
    pieces     the readings by time, some at once, to be gone through once while the store is open (may raise
               StoreError); of two of one series that are served at the same time, the lesser
    """

    since: int
    seq: int
    revised: int
    t_min: int
    t_max: int
    pieces: Iterator[list[Numbered]]


InTime = Callable[[], AbstractContextManager[apsw.Connection]]
"""Gives the connection for one read, which is cut off after a while."""


@dataclass(frozen=True, slots=True)
class _Batch:
    seq: int
    t_min: int
    t_max: int
    revised: int
    offset: int


def arrived_after(in_time: InTime, seq: int, upto: int | None, limit: int) -> Arrived | None:
    """Whole batches after `seq`, up to `upto`, until there are `limit` readings or more; None if there is no batch."""
    with in_time() as connection:
        batches = _next(connection, seq, upto, limit)
    if not batches:
        return None
    first = last = batches[0]
    if first.revised:
        return Arrived(
            seq,
            first.seq,
            first.revised,
            first.t_min,
            first.t_max,
            _all_between(in_time, first.t_min, first.t_max),
        )
    found: list[Numbered] = []
    for last in batches:
        for start, end in _slices(last.t_min, last.t_max):
            with in_time() as connection:
                found += [_numbered(row) for row in _brought(connection, last, start, end)]
        if len(found) >= limit:
            break
    readings = _once(found)
    if readings:
        span = readings[0][0].at, readings[-1][0].at
    else:
        span = first.t_min + min(first.offset, 0), first.t_max + max(first.offset, 0)
    return Arrived(seq, last.seq, 0, *span, iter([readings]))


def all_from(in_time: InTime, start: int) -> Iterator[list[Numbered]]:
    """All that is served from `start` (UTC ms) on, some at once."""
    with in_time() as connection:
        first = first_from(connection, start)
        last = connection.execute(
            "SELECT (SELECT max(t) FROM reading) + max(0, (SELECT max(offset) FROM run))"
        ).get
    if first is not None:
        yield from _all_between(in_time, max(first, start), last)


def _all_between(in_time: InTime, first: int, last: int) -> Iterator[list[Numbered]]:
    for start, end in _slices(first, last):
        with in_time() as connection:
            found = [_numbered(row) for row in _served(connection, start, end)]
        yield _once(found)


def _next(connection: apsw.Connection, seq: int, upto: int | None, limit: int) -> list[_Batch]:
    """Those that are told together: new ones, or the next one that says what was revised."""
    rows = connection.execute(
        "SELECT b.seq, b.t_min, b.t_max, b.revised, run.offset FROM batch b JOIN run ON run.id = b.run "
        "WHERE b.seq > ? AND b.seq <= ? ORDER BY b.seq LIMIT ?",
        (seq, 2**62 if upto is None else upto, limit),
    )
    batches: list[_Batch] = []
    for row in rows:
        batch = _Batch(*row)
        if batches and batch.revised:
            break
        batches.append(batch)
        if batch.revised:
            break
    rows.close()
    return batches


def _slices(start: int, end: int) -> Iterator[tuple[int, int]]:
    for first in range(start, end + 1, SLICE_MS):
        yield first, min(first + SLICE_MS - 1, end)


def _brought(
    connection: apsw.Connection, batch: _Batch, start: int, end: int
) -> Iterator[tuple[object, ...]]:
    """The readings of a batch, start and end in raw times; the plus as in Reader.readings_after."""
    return connection.execute(
        f"SELECT {_WHAT} {_SERIES} WHERE r.t BETWEEN ? AND ? AND +r.batch = ?", (start, end, batch.seq)
    )


def _served(connection: apsw.Connection, start: int, end: int) -> Iterator[tuple[object, ...]]:
    for rows in served_between(connection, _WHAT, f"{_SERIES} WHERE 1", (), start, end):
        yield from rows


def _numbered(row: tuple[object, ...]) -> Numbered:
    probe, quantity, value, at, received, quality, batch = row
    reading = Reading(probe, Quantity(quantity), value, at, received, Quality(quality))  # type: ignore[arg-type]
    return reading, batch  # type: ignore[return-value]


def _once(found: list[Numbered]) -> list[Numbered]:
    """In order; of two of a series for one time the least value, as Reader serves it."""
    found.sort(key=lambda item: (item[0].at, item[0].probe, item[0].quantity, item[0].value))
    places = [(reading.at, reading.probe, reading.quantity) for reading, _ in found]
    return [
        item for item, place, before in zip(found, places, [None, *places], strict=False) if place != before
    ]
