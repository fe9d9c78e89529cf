"""Where in the raw times the rows lie that are served between two times: runs that were moved lie apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import apsw

from collector.store.run_table import LONGEST_AGE_MS, read_runs

# Our own clock's error belongs only to the times our own clock gave.
AT = "r.t + CASE r.lag WHEN 0 THEN run.offset ELSE 0 END"
JOINED = "FROM reading r JOIN batch b ON b.seq = r.batch JOIN run ON run.id = b.run"


def served_between(
    connection: apsw.Connection, what: str, where: str, bindings: tuple[Any, ...], start: int, end: int
) -> Iterator[apsw.Cursor]:
    """`SELECT what` of the readings served from start to end (UTC ms, both in): one query for each place to look.

    what, where   SQL over r, b, run and what JOINED does not name; `where` begins with JOINED or extends it
    """
    for first, last, condition in _places(connection, start, end):
        sql = f"SELECT {what} {where} AND r.t BETWEEN ? AND ? AND {condition} ORDER BY r.t"
        yield connection.execute(sql, (*bindings, first, last))


def _places(connection: apsw.Connection, start: int, end: int) -> Iterator[tuple[int, int, str]]:
    yield start, end, "(r.lag <> 0 OR run.offset = 0)"
    runs = read_runs(connection)
    for run in runs:
        if not run.offset:
            continue
        first, last = max(start - run.offset, run.started - LONGEST_AGE_MS), end - run.offset
        if run is not runs[-1]:
            last = min(last, run.started + run.lasted + LONGEST_AGE_MS)
        if first <= last:
            yield first, last, f"r.lag = 0 AND run.id = {run.id:d}"
