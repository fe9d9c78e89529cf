"""What reading from the store costs, beside bare SQL that touches the same rows, and what a reading takes up."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import apsw
import numpy as np

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.reader import Reader
from collector.store.writer import Writer
from dashboard.roll_ups import FINE_MS, RollUps, Spot
from tests.bench.rows import Found, Row, Section, alone, compared, scaled, turns

PROBES, DAYS, EVERY_MS = 8, 7, 10_000
DAY_MS, HOUR_MS = 86_400_000, 3_600_000
START = 1_795_564_800_000
END = START + DAYS * DAY_MS
PORTION = 5_000
ROUNDS = 15
BESIDE = "bare SQL"
ROWS = {
    "day": Row("a day of one probe out of 8", "ms", BESIDE),
    "hour": Row("the last hour of all 8 probes", "ms", BESIDE),
    "newest": Row("the newest reading of all 8 probes", "ms", BESIDE),
    "portion": Row("2,880 readings of 360 commits, in their order", "ms", BESIDE),
    "chart": Row("a day's chart line, rolled up", "ms", "reading the day's rows anew", at_most=0.1),
    "size": Row("a reading in readings.db, all told", "bytes", at_most=60.0),
}


def readings(first: int, last: int) -> Iterator[Reading]:
    for at in range(first, last, EVERY_MS):
        for number in range(PROBES):
            yield Reading(
                f"P{number}", Quantity.TEMPERATURE, 10.0 + (at // EVERY_MS + number) % 700 / 100, at, at
            )


def fill(path: Path) -> int:
    """Seven days, a commit each round as collect makes them on the last, larger ones before; returns how many."""
    writer = Writer.open(path, SteppedClock(END))
    writer.describe([ProbeFacts(f"P{number}", "shed", "surface", 10.0, 0.8) for number in range(PROBES)])
    for hour in range(START, END - HOUR_MS, HOUR_MS):
        writer.commit(list(readings(hour, hour + HOUR_MS)))
    for at in range(END - HOUR_MS, END, EVERY_MS):
        writer.commit(list(readings(at, at + EVERY_MS)))
    writer.close()
    return DAYS * DAY_MS // EVERY_MS * PROBES


def measure() -> dict[str, Found]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.db"
        count = fill(path)
        reader, bare = Reader.open(path), apsw.Connection(str(path), flags=apsw.SQLITE_OPEN_READONLY)
        found = dict([*ranges(reader, bare), *chart(path)])
        reader.close()
        bare.close()
        return found | {"size": alone([path.stat().st_size / count])}


def ranges(reader: Reader, bare: apsw.Connection) -> Iterator[tuple[str, Found]]:
    def rows(sql: str, *bindings: int) -> np.ndarray:
        return np.array(bare.execute(sql, bindings).fetchall())

    of_one = "SELECT t, value, quality FROM reading WHERE t BETWEEN ? AND ? AND series = 3"
    of_all = "SELECT series, t, value, quality FROM reading WHERE t BETWEEN ? AND ?"
    newest = "SELECT t, value FROM reading WHERE series = ? ORDER BY t DESC LIMIT 1"
    first = reader.last_batch() - HOUR_MS // EVERY_MS
    pairs = {
        "day": (
            lambda: reader.samples("P2", Quantity.TEMPERATURE, END - 2 * DAY_MS, END - DAY_MS),
            lambda: rows(of_one, END - 2 * DAY_MS, END - DAY_MS),
        ),
        "hour": (lambda: reader.every(END - HOUR_MS, END), lambda: rows(of_all, END - HOUR_MS, END)),
        "newest": (reader.newest, lambda: [rows(newest, number) for number in range(1, PROBES + 1)]),
        "portion": (
            lambda: reader.readings_after(first, PORTION),
            lambda: rows(of_all, END - HOUR_MS, END),
        ),
    }
    for key, (ours, theirs) in pairs.items():
        mine, peers = turns(ROUNDS, ours, theirs, clock=time.perf_counter)
        yield key, compared(scaled(1e3, mine), scaled(1e3, peers))


def chart(path: Path) -> Iterator[tuple[str, Found]]:
    kept, spot = RollUps(path), Spot("P2", None)
    known, anew = turns(
        ROUNDS,
        lambda: kept.of(spot, END - DAY_MS, END, FINE_MS, {}),
        lambda: RollUps(path).of(spot, END - DAY_MS, END, FINE_MS, {}),
        clock=time.perf_counter,
    )
    yield "chart", compared(scaled(1e3, known), scaled(1e3, anew))


SECTION = Section("store", "Reading from the store", ROWS, measure)
