"""Old readings go, hour by hour; their summaries and digests stay, and nothing is counted twice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import ProbeFacts, Quality, Quantity, Reading
from collector.store import keeping
from collector.store.ballast import Ballast
from collector.store.check import check_file
from collector.store.digests import DAY_MS, day_of, differing, digesting, due, stored
from collector.store.reader import Reader
from collector.store.readings_schema import READINGS
from collector.store.summaries import HOUR_MS
from collector.store.trouble import TroubleFile
from collector.store.writer import Writer
from collector.upkeep import Upkeep
from tests.collector.shops import folder, probe, shop

DAY0 = 20_780
T0 = DAY0 * DAY_MS
TEMPERATURE = Quantity.TEMPERATURE
STEP_MS = 600_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "readings.db"


@pytest.fixture
def writer(path: Path) -> Iterator[Writer]:
    writer = Writer.open(path, SteppedClock(T0))
    writer.describe([ProbeFacts("S1", "shed", "surface", 600.0, 0.8)])
    yield writer
    writer.close()


def day(writer: Writer, number: int, probe: str = "S1", lag: int = 0) -> None:
    """A reading each ten minutes, in commits of an hour; the last one's line leads into the next day."""
    clock = writer._clock
    assert isinstance(clock, SteppedClock)
    for start in range(T0 + number * DAY_MS, T0 + (number + 1) * DAY_MS, HOUR_MS):
        clock.at = start
        at = [start + i * STEP_MS for i in range(6)]
        writer.commit([Reading(probe, TEMPERATURE, (t // STEP_MS) % 97 / 7, t, t + lag) for t in at])


def digest_all(writer: Writer, upto: int) -> None:
    for number in due(writer.connection, DAY0 + upto):
        for _ in digesting(writer.connection, number):
            pass
        writer.connection.execute("DELETE FROM undigested WHERE day = ?", (number,))


def remove(writer: Writer, days: int) -> int:
    """Steps taken."""
    return sum(1 for _ in writer.removing(days))


def days_there(writer: Writer) -> list[int]:
    rows = writer.connection.execute("SELECT DISTINCT t / ? FROM reading ORDER BY 1", (DAY_MS,))
    return [row[0] - DAY0 for row in rows]


def test_the_newest_days_that_have_readings_stay_and_the_others_are_summarised(
    path: Path, writer: Writer
) -> None:
    for number in (0, 1, 5, 200):  # a shop that rested: no day is old because nothing was read
        day(writer, number)
    digest_all(writer, 201)
    remove(writer, 2)
    assert days_there(writer) == [5, 200]
    reader = Reader(writer.connection)
    hours = reader.summaries("S1", TEMPERATURE, T0, T0 + 2 * DAY_MS)
    assert [hour.hour - T0 // HOUR_MS for hour in hours] == list(range(48))
    assert all((hour.n, hour.usable) == (6, 6) for hour in hours)
    assert [hour.covered_ms for hour in hours] == [HOUR_MS] * 47 + [5 * STEP_MS]
    assert len(reader.samples("S1", TEMPERATURE, 0, 2**60)[0]) == 288
    assert reader.last_batch() == 96


def test_what_is_kept_is_untouched_and_the_digests_of_what_is_gone_stay(path: Path, writer: Writer) -> None:
    for number in range(4):
        day(writer, number)
    digest_all(writer, 4)
    before = stored(writer.connection)
    remove(writer, 2)
    assert stored(writer.connection) == before
    assert list(differing(writer.connection)) == []
    assert [found.what for found in check_file(path, READINGS) if found.do] == []
    assert writer.connection.execute("SELECT count(*) FROM batch").get == 48


def test_a_day_without_digests_waits_for_them(writer: Writer) -> None:
    for number in range(4):
        day(writer, number)
    assert remove(writer, 1) == 0
    assert days_there(writer) == [0, 1, 2, 3]


def test_a_clock_ten_years_ahead_for_a_night_makes_nothing_old(writer: Writer) -> None:
    for number in (0, 1, 2, 3, 3653):
        day(writer, number)
    digest_all(writer, 4000)
    remove(writer, 4)
    assert days_there(writer) == [1, 2, 3, 3653]


def test_a_night_under_an_unset_clock_is_as_old_as_its_corrected_times(writer: Writer) -> None:
    """Its raw times lie long ago; the run's correction puts them among what is kept, until that is old too."""
    day(writer, -3000)
    writer.connection.execute("UPDATE run SET offset = ?", (3002 * DAY_MS,))
    second = "INSERT INTO run(boot, started, state) SELECT boot, started, state FROM run"
    writer.connection.execute(second)
    writer._run = 2
    for number in range(4):
        day(writer, number)
    digest_all(writer, 5)
    remove(writer, 3)
    assert days_there(writer) == [-3000, 1, 2, 3]
    for number in range(4, 7):
        day(writer, number)
    digest_all(writer, 8)
    remove(writer, 3)
    assert days_there(writer) == [4, 5, 6]
    hours = Reader(writer.connection).summaries("S1", TEMPERATURE, T0 + 2 * DAY_MS, T0 + 3 * DAY_MS - 1)
    assert {hour.n for hour in hours} == {12}, "both runs have readings of that day"


def test_broken_off_anywhere_and_begun_again_it_comes_to_the_same() -> None:
    def summaries(break_at: int | None) -> list[object]:
        writer = Writer.open(None, SteppedClock(T0))
        writer.describe([ProbeFacts("S1", "shed", "surface", 600.0, 0.8)])
        for number in range(3):
            day(writer, number)
        digest_all(writer, 3)
        if break_at is not None:
            steps = writer.removing(1)
            for _ in range(break_at):
                next(steps)
            steps.close()  # type: ignore[attr-defined]
        remove(writer, 1)
        assert days_there(writer) == [2]
        rows = writer.connection.execute("SELECT * FROM summary ORDER BY hour, series").fetchall()
        writer.close()
        return rows

    whole = summaries(None)
    assert len(whole) == 48
    for break_at in (1, 7, 24, 25, 26, 40):
        assert summaries(break_at) == whole


def test_a_late_file_brings_nothing_twice_and_says_why_and_another_series_is_still_welcome(
    tmp_path: Path,
) -> None:
    clock = SteppedClock(T0 + 9 * DAY_MS)
    settings = shop(tmp_path, folder(), probe("L1", "logger"), probe("L2", "logger"))
    writer = Writer.open(settings.readings_db, clock)
    for number in range(3):
        day(writer, number, "L1", lag=1)
    digest_all(writer, 3)
    remove(writer, 1)
    pipeline = Pipeline(settings, writer, clock)
    row = b"time,panel,air\n" + _iso(T0 + 5).encode() + b",12.5,81\n"
    pipeline.take_all([Arrival("logger", row, clock.at, live=False)])
    reader = Reader(writer.connection)
    (told,) = [tally for tally in reader.tallies() if tally.kind == "removed"]
    assert told.n == 1
    assert "only summaries are kept" in told.last_text
    assert len(reader.samples("L1", TEMPERATURE, T0, T0 + DAY_MS)[0]) == 0
    assert len(reader.samples("L2", Quantity.RELATIVE_HUMIDITY, T0, T0 + DAY_MS)[0]) == 1
    remove(writer, 1)
    (hour,) = reader.summaries("L2", Quantity.RELATIVE_HUMIDITY, T0, T0 + 1)
    assert (hour.n, hour.low) == (1, 81.0)
    assert list(differing(writer.connection)) == []
    writer.close()


def test_unusable_readings_are_counted_in_the_share(writer: Writer) -> None:
    bad = [Reading("S1", TEMPERATURE, 85.0, T0 + i, T0 + i, Quality.POWER_ON_VALUE) for i in range(3)]
    writer.commit([*bad, Reading("S1", TEMPERATURE, 12.0, T0 + 10, T0 + 10)])
    day(writer, 1)
    digest_all(writer, 2)
    remove(writer, 1)
    hour = Reader(writer.connection).summaries("S1", TEMPERATURE, T0, T0)[0]
    assert (hour.n, hour.usable, hour.low, hour.high) == (4, 1, 12.0, 12.0)


def test_the_room_of_what_is_gone_is_used_again(path: Path, writer: Writer) -> None:
    """With a day coming and a day going only summaries and digests make the file grow: here 3 of 9 pages a day."""
    sizes = []
    for number in range(12):
        day(writer, number, "S1")
        day(writer, number, "S2")
        digest_all(writer, number + 1)
        remove(writer, 3)
        sizes.append(int(writer.connection.pragma("page_count") or 0))
    assert day_of(T0) == DAY0
    assert (sizes[-1] - sizes[5]) / 6 < 0.4 * (sizes[2] - sizes[0]) / 2, sizes
    assert keeping.removed_before(writer.connection) == T0 + 9 * DAY_MS


def test_collect_removes_at_quiet_times_a_step_at_a_turn_once_the_digests_are_made(
    path: Path, writer: Writer
) -> None:
    for number in range(4):
        day(writer, number)
    clock = SteppedClock(T0 + 4 * DAY_MS)
    seconds = [0.0]
    upkeep = Upkeep(
        writer,
        path,
        clock,
        TroubleFile(path.parent),
        Ballast(path.parent / "ballast", 4096),
        monotonic=lambda: seconds[0],
        keep_days=2,
    )
    held = []
    for _ in range(5000):
        upkeep.quiet()
        seconds[0] += 0.1
        held.append(int(writer.connection.execute("SELECT count(*) FROM reading").get))
    assert days_there(writer) == [2, 3]
    assert max(before - after for before, after in pairwise(held)) == 6, "an hour at a time"


def _iso(at: int) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).isoformat(timespec="milliseconds")
