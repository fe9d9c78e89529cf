"""Removal of old readings under the knife: every reading is there, or is counted in its hour's summary, never both."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import apsw

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.store.digests import DAY_MS, day_of, differing, digesting, due
from collector.store.readings_schema import READINGS
from collector.store.schema import StoreError, open_writer
from collector.store.summaries import HOUR_MS
from collector.store.writer import Writer
from tests.faults.cuts import integrity
from tests.faults.disk import Recorder
from tests.faults.power_ingest import T0, Row, Safe, Sent

DAYS = 4


def keep_two_days(folder: Path, recorder: Recorder, rng: random.Random) -> None:
    """Four short days with their digests; then all but two are removed while new readings come in between."""
    clock = SteppedClock(T0)
    writer = Writer.open(folder / "readings.db", clock, recorder.name)
    for day in range(DAYS):
        for number in range(6):
            clock.at = T0 + day * DAY_MS + number * HOUR_MS // 2
            _commit(writer, recorder, clock.at, rng)
    for day in due(writer.connection, day_of(clock.at)):
        for _ in digesting(writer.connection, day):
            pass
        writer.connection.execute("DELETE FROM undigested WHERE day = ?", (day,))
    for _ in writer.removing(2):
        clock.at += 60_000
        if rng.random() < 0.3:
            _commit(writer, recorder, clock.at, rng)
        if rng.random() < 0.2:
            writer.connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_TRUNCATE)
    writer.close()


def there_or_summarised(folder: Path, acknowledged: list[object], rng: random.Random) -> list[str]:
    """As at the next start; and what was cut off is finished then."""
    try:
        file = open_writer(folder / "readings.db", READINGS)
    except (StoreError, apsw.Error) as error:
        return [f"damaged: {error}"]
    try:
        found = integrity(file.connection) or _compared(file.connection, acknowledged)
        return found or [f"damaged: {text}" for text in differing(file.connection)]
    finally:
        file.close()


def _compared(connection: apsw.Connection, acknowledged: list[object]) -> list[str]:
    there = _by_hour(
        connection.execute("SELECT t, probe, value FROM reading JOIN series ON series.id = reading.series")
    )
    for hour, probe, n in connection.execute(
        "SELECT hour, probe, n FROM summary JOIN series ON series.id = summary.series"
    ):
        there[hour, probe] += n
    safe = _by_hour(row for mark in acknowledged if isinstance(mark, Safe) for row in mark.rows)
    newest = acknowledged[-1] if acknowledged else None
    maybe = _by_hour(newest.rows) if isinstance(newest, Sent) else Counter()
    if missing := safe - there:
        return [f"lost {missing.total()}"]
    more = there - safe
    return [] if more in (Counter(), maybe) else [f"damaged: {more.total()} counted twice"]


def _by_hour(rows: object) -> Counter[tuple[int, str]]:
    return Counter((at // HOUR_MS, probe) for at, probe, _ in rows)  # type: ignore[attr-defined]


def _commit(writer: Writer, recorder: Recorder, at: int, rng: random.Random) -> None:
    rows = [
        Reading(f"S{probe}", Quantity.TEMPERATURE, rng.uniform(-5, 25), at + i * 10_000, at + i * 10_000)
        for probe in rng.sample(range(8), rng.randint(1, 8))
        for i in range(3)
    ]
    keys: frozenset[Row] = frozenset((row.at, row.probe, row.value) for row in rows)
    recorder.acknowledge(Sent(keys))
    writer.commit(rows)
    recorder.acknowledge(Safe(keys))
