"""Runs in readings.db: read, begun, and placed anew when more is known of a clock."""

from __future__ import annotations

from collections.abc import Iterator

import apsw

from collector.store.digests import day_of, mark_undigested
from collector.store.readings_schema import MOVED
from collector.store.runs import Run, placed

LONGEST_AGE_MS = 24 * 3_600_000
"""A reading may be so much older than the arrival that dates it, and so lie before its run."""
SPAN_MS = 6 * 3_600_000
"""A follower re-reads one announced span at a time: none is longer."""

_COLUMNS = "id, boot, started, elapsed, state, lasted, offset, early, late"


def read_runs(connection: apsw.Connection) -> list[Run]:
    """All runs, in the order they were begun; the last one lasts until the newest commit."""
    runs = [Run(*row) for row in connection.execute(f"SELECT {_COLUMNS} FROM run ORDER BY id")]
    newest = connection.execute("SELECT run, committed FROM batch ORDER BY seq DESC LIMIT 1").fetchone()
    return [_until(run, *newest) for run in runs] if newest else runs


def newest_run(connection: apsw.Connection) -> Run | None:
    """The run begun last, without how long it has lasted so far."""
    row = connection.execute(f"SELECT {_COLUMNS} FROM run ORDER BY id DESC LIMIT 1").fetchone()
    return Run(*row) if row else None


def begin_run(connection: apsw.Connection, run: Run) -> None:
    """Adds a run, and takes down how long the one before it lasted. Inside a transaction."""
    runs = read_runs(connection)
    if runs:
        connection.execute("UPDATE run SET lasted = ? WHERE id = ?", (runs[-1].lasted, runs[-1].id))
    connection.execute(
        "INSERT INTO run(id, boot, started, elapsed, state) VALUES(?, ?, ?, ?, ?)",
        (run.id, run.boot, run.started, run.elapsed, run.state),
    )
    mark_undigested(connection, [day_of(run.started)])
    place(connection, run.started)


def note_clock(connection: apsw.Connection, run: int, elapsed: int, utc: int, state: str) -> None:
    """What the machine's clock said. Inside a transaction."""
    connection.execute(
        "INSERT OR REPLACE INTO anchor(run, elapsed, utc, state) VALUES(?, ?, ?, ?)",
        (run, elapsed, utc, state),
    )


def place(connection: apsw.Connection, now: int) -> None:
    """Works out where all runs lie; what was moved is announced by batches of its own. Inside a transaction."""
    runs = read_runs(connection)
    for before, after in zip(runs, placed(runs), strict=True):
        if before == after:
            continue
        connection.execute(
            "UPDATE run SET offset = ?, early = ?, late = ? WHERE id = ?",
            (after.offset, after.early, after.late, after.id),
        )
        if after.offset < before.offset:
            _forget_newest(connection, after)
        if before.offset != after.offset and before.lasted:
            for run in (before, after):
                announce(connection, _spans(run), MOVED, runs[-1].id, now)


def announce(
    connection: apsw.Connection, spans: Iterator[tuple[int, int]], what: int, run: int, now: int
) -> None:
    """Batches without readings of their own, which make followers read these spans again."""
    mark_undigested(connection, [day_of(now)])
    connection.executemany(
        "INSERT INTO batch(seq, t_min, t_max, run, committed, revised) "
        "VALUES((SELECT coalesce(max(seq), 0) + 1 FROM batch), ?, ?, ?, ?, ?)",
        [(first, last, run, now, what) for first, last in spans],
    )


def confirm(connection: apsw.Connection, run: int, state: str, now: int) -> None:
    """More is known of a run's clock. Inside a transaction."""
    connection.execute("UPDATE run SET state = ? WHERE id = ?", (state, run))
    place(connection, now)


def _forget_newest(connection: apsw.Connection, run: Run) -> None:
    """A run that was ahead: what lies at its raw times is the newest no more."""
    connection.execute(
        "UPDATE series SET newest = coalesce("
        "(SELECT max(t) FROM reading WHERE reading.series = series.id AND t < ?1), ?2) WHERE newest >= ?1",
        (run.started, run.started + run.offset),
    )


def _spans(run: Run) -> Iterator[tuple[int, int]]:
    first, last = run.started + run.offset, run.started + run.offset + run.lasted
    for start in range(first, last + 1, SPAN_MS):
        yield start, min(start + SPAN_MS - 1, last)


def _until(run: Run, number: int, committed: int) -> Run:
    if run.id != number:
        return run
    return Run(
        run.id, run.boot, run.started, run.elapsed, run.state, max(committed - run.started, run.lasted),
        run.offset, run.early, run.late,
    )  # fmt: skip
