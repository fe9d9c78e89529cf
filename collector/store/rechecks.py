"""Flags that are looked at again because something came late: what is due, what is read, what is changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import apsw

from collector.reading import Quality, Quantity, Reading
from collector.store.digests import day_of, rewritten
from collector.store.readings_schema import FLAGS
from collector.store.run_table import announce, read_runs
from collector.store.spans import AT, JOINED, served_between


@dataclass(frozen=True, slots=True)
class Stored:
    """A reading with its place in the file."""

    reading: Reading
    t: int
    series: int


@dataclass(frozen=True, slots=True)
class Changed:
    """A stored reading and the flags it is to have."""

    row: Stored
    quality: Quality


def due(connection: apsw.Connection) -> int | None:
    """From when on (UTC ms, corrected) flags may be others than the checks find in order; None: nowhere."""
    row = connection.execute("SELECT since FROM recheck").fetchone()
    return None if row is None else int(row[0])


def mark(connection: apsw.Connection, since: int) -> None:
    """Inside the transaction that stores what came late."""
    connection.execute(
        "INSERT INTO recheck(id, since) VALUES(1, ?) ON CONFLICT DO UPDATE SET since = min(since, excluded.since)",
        (since,),
    )


def store(
    connection: apsw.Connection, changes: Sequence[Changed], exact_to: int | None, run: int, now: int
) -> None:
    """Inside a transaction: the new flags, what followers must read again, and how far all is right now."""
    if changes:
        connection.executemany(
            "UPDATE reading SET quality = ? WHERE t = ? AND series = ?",
            [(int(change.quality), change.row.t, change.row.series) for change in changes],
        )
        rewritten(connection, {day_of(change.row.t) for change in changes})
        times = [change.row.reading.at for change in changes]
        announce(connection, iter([(min(times), max(times))]), FLAGS, run, now)
    connection.execute("DELETE FROM recheck")
    if exact_to is not None:
        mark(connection, exact_to)


def in_order(connection: apsw.Connection, start: int, end: int) -> list[Stored]:
    """All readings from start to before end (UTC ms), in the order in which the checks look at them."""
    what = f"s.probe, s.quantity, r.value, {AT}, r.quality, r.t, r.series"
    where = f"{JOINED} JOIN series s ON s.id = r.series WHERE 1"
    found = [
        Stored(Reading(probe, Quantity(quantity), value, at, at, Quality(quality)), t, series)
        for rows in served_between(connection, what, where, (), start, end - 1)
        for probe, quantity, value, at, quality, t, series in rows
    ]
    return sorted(found, key=lambda row: (row.reading.at, row.reading.probe, row.reading.quantity))


def first_from(connection: apsw.Connection, start: int) -> int | None:
    """The time (UTC ms) of the first reading from `start` on, or of one somewhat before it; None if there is none."""
    raw = connection.execute("SELECT min(t) FROM reading WHERE t >= ?", (start,)).get
    moved = [
        max(start, run.started + run.offset)
        for run in read_runs(connection)
        if run.offset and run.started + run.lasted + run.offset >= start
    ]
    return min([*moved, *([] if raw is None else [int(raw)])], default=None)
