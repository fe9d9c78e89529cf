"""The write-ahead log stays below 16 MB: with a reader that never goes away, and after a large file."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import apsw
import pytest

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import Quantity, Reading
from collector.store import wal
from collector.store.reader import Reader
from collector.store.wal import MOST_BYTES, wal_bytes
from collector.store.writer import Writer
from tests.collector.shops import folder, probe, shop

T0 = 1_795_600_000_000
TEMPERATURE = Quantity.TEMPERATURE


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "readings.db"


@pytest.fixture
def writer(path: Path) -> Iterator[Writer]:
    writer = Writer.open(path, SteppedClock(T0))
    yield writer
    writer.close()


def commit(writer: Writer, number: int, rows: int = 2000) -> None:
    start = T0 + number * rows * 10
    writer.commit([Reading("P1", TEMPERATURE, i / 7, start + 10 * i, start + 10 * i) for i in range(rows)])


class Looking:
    """Readers of which one always begins before another one ends."""

    def __init__(self, path: Path) -> None:
        self._connections = [apsw.Connection(str(path), flags=apsw.SQLITE_OPEN_READONLY) for _ in range(2)]
        self._looks = [connection.cursor() for connection in self._connections]

    def turn(self, *_: object) -> bool:
        """The older look ends, as each of ours does within a second, and another one begins."""
        self._looks[0].close(force=True)
        self._connections.reverse()
        self._looks = [self._looks[1], self._connections[1].cursor()]
        next(self._looks[1].execute("SELECT t FROM reading"))
        return True

    def close(self) -> None:
        for connection in self._connections:
            connection.close(force=True)


def test_readers_that_relieve_each_other_for_ever_do_not_make_the_log_grow(
    path: Path, writer: Writer
) -> None:
    """20 MB of readings go through it. While the writer waits for readers, these go on as at any other time."""
    commit(writer, 0)
    looking = Looking(path)
    writer.connection.set_busy_handler(looking.turn)
    largest = 0
    for number in range(1, 260):
        looking.turn()
        commit(writer, number)
        largest = max(largest, wal_bytes(path))
    looking.close()
    assert path.stat().st_size > 12_000_000
    assert wal.FOLD_BYTES < largest <= MOST_BYTES


def test_a_foreign_program_that_holds_the_file_costs_no_reading_and_the_log_shrinks_after_it(
    path: Path, writer: Writer
) -> None:
    writer.connection.set_busy_timeout(1)  # the test need not wait for what never comes
    commit(writer, 0)
    other = apsw.Connection(str(path), flags=apsw.SQLITE_OPEN_READONLY)
    held = other.execute("SELECT t FROM reading")
    next(held)
    for number in range(1, 250):
        commit(writer, number)
    assert wal_bytes(path) > MOST_BYTES, "the case did not come about"
    other.close(force=True)
    for number in range(250, 270):
        commit(writer, number)
    assert wal_bytes(path) <= MOST_BYTES
    assert Reader(writer.connection).last_batch() == 270


def test_a_large_file_goes_in_without_a_large_log(tmp_path: Path) -> None:
    """Its rows lie between those that are there, each on a page of its own: the most that a row can cost.

    In one commit its 20,000 pages would make a log of 20 MB.
    """
    clock = SteppedClock(T0)
    settings = shop(tmp_path, folder(), probe("L1", "logger"), probe("L2", "logger"))
    writer = Writer.open(settings.readings_db, clock)
    for number in range(150):
        commit(writer, number, 4000)
    rows = ["time,panel,air", *(f"{_iso(T0 + 5 + 300 * i)},12.5," for i in range(20_000))]
    sizes: list[int] = []
    writer.connection.set_profile(lambda *_: sizes.append(wal_bytes(settings.readings_db)))
    payload = "\n".join(rows).encode()
    Pipeline(settings, writer, clock).take_all([Arrival("logger", payload, T0 + 10**11, live=False)])
    assert wal.FOLD_BYTES < max(sizes) <= MOST_BYTES
    assert len(Reader(writer.connection).samples("L1", TEMPERATURE, 0, 2**60)[0]) == 20_000
    writer.close()


def _iso(at: int) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).isoformat(timespec="milliseconds")
