"""Removes readings that are older than what the settings keep, and keeps their summaries for good.

Days are counted that have readings: the newest `days` of them are kept. So neither a winter without work nor a clock
that jumps ten years ahead for a night makes a reading old. A day goes once its digests are made, hour by hour; each
hour's summaries are written in the transaction that removes it, so that it is there or summarised whatever happens.
A day stays while a run's corrected clock puts any of its readings into what is kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import apsw

from collector.reading import UNUSABLE
from collector.store.digests import DAY_MS, day_of
from collector.store.schema import transaction
from collector.store.spans import AT, JOINED
from collector.store.summaries import HOUR_MS, Point, Summary, summarise

SLOW_S = 60.0
"""Interval that is taken for a probe that the settings do not name any more, s."""
BATCHES_AT_ONCE = 5000

_ROWS = f"SELECT r.series, {AT} AS at, r.value, r.quality {JOINED} WHERE r.t >= ? AND r.t < ? ORDER BY at"
_ADD = """
INSERT INTO summary(hour, series, n, usable, low, high, covered_ms, integral) VALUES(?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET
  n = n + excluded.n, usable = usable + excluded.usable,
  low = min(coalesce(low, excluded.low), coalesce(excluded.low, low)),
  high = max(coalesce(high, excluded.high), coalesce(excluded.high, high)),
  covered_ms = covered_ms + excluded.covered_ms, integral = integral + excluded.integral
"""


def longest_join_ms(interval_s: float) -> int:
    """The longest time between two readings that a line joins, as the model has it (a test compares them)."""
    return int(max(min(5000.0 * interval_s, 900_000.0), 1500.0 * interval_s))


def removing(connection: apsw.Connection, days: int) -> Iterator[None]:
    """Removes what is older than the newest `days` days that have readings, a small transaction with each step.

    Raises apsw.Error; what a step did not do, a later call does.
    """
    there = list(_days(connection))
    if len(there) <= days:
        return
    oldest_kept = there[-days]
    for day in there[:-days]:
        if _may_go(connection, day, oldest_kept):
            yield from _remove(connection, day)


def removed_before(connection: apsw.Connection) -> int:
    """No reading from that time on (raw UTC ms) was removed."""
    return int(connection.execute("SELECT coalesce(max(day) + 1, 0) * ? FROM removed", (DAY_MS,)).get)


def is_summarised(connection: apsw.Connection, probe: str, quantity: str, at: int) -> bool:
    """True if readings of that series in the hour of `at` were removed."""
    found = connection.execute(
        "SELECT count(*) FROM summary WHERE hour = ? AND series = "
        "(SELECT id FROM series WHERE probe = ? AND quantity = ?)",
        (at // HOUR_MS, probe, quantity),
    )
    return bool(found.get)


def _days(connection: apsw.Connection) -> Iterator[int]:
    """UTC days that have readings, by raw time, ascending; one look into the key for each."""
    start = -(2**62)
    while True:
        first = connection.execute("SELECT min(t) FROM reading WHERE t >= ?", (start,)).get
        if first is None:
            return
        day = day_of(int(first))
        yield day
        start = (day + 1) * DAY_MS


def _may_go(connection: apsw.Connection, day: int, oldest_kept: int) -> bool:
    begun = connection.execute("SELECT count(*) FROM removed WHERE day = ?", (day,)).get
    if not begun and connection.execute("SELECT count(*) FROM undigested WHERE day = ?", (day,)).get:
        return False
    newer = f"SELECT EXISTS(SELECT 1 {JOINED} WHERE r.t >= ? AND r.t < ? AND {AT} >= ?)"
    return not connection.execute(newer, (day * DAY_MS, (day + 1) * DAY_MS, oldest_kept * DAY_MS)).get


def _remove(connection: apsw.Connection, day: int) -> Iterator[None]:
    end = (day + 1) * DAY_MS
    while True:
        first = connection.execute(
            "SELECT min(t) FROM reading WHERE t >= ? AND t < ?", (day * DAY_MS, end)
        ).get
        if first is None:
            break
        hour = int(first) // HOUR_MS
        with transaction(connection):
            connection.execute("INSERT OR IGNORE INTO removed(day) VALUES(?)", (day,))
            _summarise(connection, hour * HOUR_MS, (hour + 1) * HOUR_MS)
            connection.execute(
                "DELETE FROM reading WHERE t >= ? AND t < ?", (hour * HOUR_MS, (hour + 1) * HOUR_MS)
            )
        yield
    yield from _remove_batches(connection, day)


def _summarise(connection: apsw.Connection, start: int, end: int) -> None:
    """Adds the summaries of the readings from start to end (raw UTC ms, the end out)."""
    joins = _joins(connection)
    series: dict[int, list[Point]] = {}
    for number, at, value, quality in _rows(connection, start, end):
        series.setdefault(number, []).append((at, value, not quality & int(UNUSABLE)))
    then: dict[int, tuple[int, float]] = {}
    longest = max((joins.get(number, 0) for number in series), default=0)
    for number, at, value, quality in _rows(connection, end, end + longest):
        if not quality & int(UNUSABLE):
            then.setdefault(number, (at, value))
    connection.executemany(
        _ADD,
        (
            _bindings(number, hour)
            for number, points in series.items()
            for hour in summarise(points, then.get(number), joins[number])
        ),
    )


def _rows(connection: apsw.Connection, start: int, end: int) -> list[Any]:
    return connection.execute(_ROWS, (start, end)).fetchall()


def _joins(connection: apsw.Connection) -> dict[int, int]:
    rows: list[Any] = connection.execute(
        "SELECT s.id, coalesce(p.interval_s, ?) FROM series s LEFT JOIN probe p ON p.id = s.probe", (SLOW_S,)
    ).fetchall()
    return {number: longest_join_ms(interval) for number, interval in rows}


def _bindings(series: int, hour: Summary) -> tuple[object, ...]:
    return (
        hour.hour,
        series,
        hour.n,
        hour.usable,
        hour.low,
        hour.high,
        hour.covered_ms,
        hour.integral,
    )


def _remove_batches(connection: apsw.Connection, day: int) -> Iterator[None]:
    """The batches committed on that day that had only its readings; never the newest, whose number others know."""
    seq = int(connection.execute("SELECT coalesce(min(seq), 0) FROM batch").get)
    while True:
        upto = seq + BATCHES_AT_ONCE
        with transaction(connection):
            connection.execute(
                "DELETE FROM batch WHERE seq >= ?1 AND seq < ?2 AND committed / ?4 = ?3 "
                "AND t_min >= ?3 * ?4 AND t_max < (?3 + 1) * ?4 AND seq < (SELECT max(seq) FROM batch)",
                (seq, upto, day, DAY_MS),
            )
        yield
        following = connection.execute("SELECT min(seq), committed FROM batch WHERE seq >= ?", (upto,)).get
        if following[0] is None or following[1] >= (day + 2) * DAY_MS:
            return
        seq = int(following[0])
