"""Digests of finished days: made a little at a time, anew for late readings, and never over a day that has changed."""

from __future__ import annotations

import contextlib
import hashlib
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.store.ballast import Ballast
from collector.store.check import check_file
from collector.store.digests import (
    BATCHES,
    DAY_MS,
    READINGS,
    RUNS,
    SLICE_MS,
    SLICE_ROWS,
    differing,
    digesting,
    due,
    stored,
)
from collector.store.readings_schema import READINGS as READINGS_DB
from collector.store.trouble import TroubleFile, read
from collector.store.writer import Writer
from collector.upkeep import LOOK_S, Upkeep

DAY = 20_000
T0 = DAY * DAY_MS
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


class House:
    def __init__(self, folder: Path) -> None:
        self.path = folder / "readings.db"
        self.clock = SteppedClock(T0 + 1000)
        self.seconds = 0.0
        self.takes_s = 0.0
        self.writer = Writer.open(self.path, self.clock)
        self.troubles = TroubleFile(folder)
        self.reserve = folder / "ballast"
        ballast = Ballast(self.reserve, 1000)
        self.upkeep = Upkeep(self.writer, self.path, self.clock, self.troubles, ballast, self.monotonic)

    def monotonic(self) -> float:
        """Between any two looks at it so much time has gone by."""
        self.seconds += self.takes_s
        return self.seconds

    def say(self, at: int, value: float, probe: str = "S1", quantity: Quantity = TEMPERATURE) -> None:
        self.clock.at = max(self.clock.at, at)
        self.writer.commit([Reading(probe, quantity, value, at, at)])

    def quiet(self, times: int = 300) -> None:
        for _ in range(times):
            self.seconds += LOOK_S
            self.upkeep.quiet()

    def digests(self) -> dict[tuple[int, str, str], tuple[int, bytes]]:
        found = stored(self.writer.connection)
        return {(item.day, item.kind, item.name): (item.n, item.sha256) for item in found}

    def due(self) -> list[int]:
        return due(self.writer.connection, 2**40)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path)
    yield house
    house.writer.close()
    house.troubles.close()


def test_a_finished_day_gets_one_digest_for_each_probe_its_batches_and_its_runs(house: House) -> None:
    house.say(T0 + 5000, 12.5)
    house.say(T0 + 5000, 81.0, quantity=HUMIDITY)
    house.say(T0 + 6000, 4.0, "S2")
    house.quiet()
    assert house.digests() == {}, "the day is not over"
    house.clock.at = T0 + DAY_MS
    house.quiet()
    found = house.digests()
    assert {key: n for key, (n, _) in found.items()} == {
        (DAY, READINGS, "S1"): 2,
        (DAY, READINGS, "S2"): 1,
        (DAY, BATCHES, ""): 3,
        (DAY, RUNS, ""): 1,
    }
    assert house.due() == []


def test_a_digest_is_the_sha_256_of_the_rows_in_words(house: House) -> None:
    """The form is our own; hashlib is the outside."""
    house.say(T0 + 5000, 81.0, quantity=HUMIDITY)
    house.say(T0 + 5000, 12.5)
    house.clock.at = T0 + DAY_MS
    house.quiet()
    rows = [(T0 + 5000, "relative_humidity", 81.0, 0, 0, 1), (T0 + 5000, "temperature", 12.5, 0, 0, 2)]
    text = "".join(f"{t}\t'{what}'\t{v.hex()}\t{q}\t{lag}\t{batch}\n" for t, what, v, q, lag, batch in rows)
    assert house.digests()[DAY, READINGS, "S1"] == (2, hashlib.sha256(text.encode()).digest())


def test_a_late_reading_is_no_damage_and_its_day_is_digested_anew(house: House) -> None:
    house.say(T0 + 5000, 12.5)
    house.clock.at = T0 + DAY_MS
    house.quiet()
    before = house.digests()[DAY, READINGS, "S1"]
    house.say(T0 + 6000, 13.5)
    assert house.due() == [DAY, DAY + 1]
    assert list(differing(house.writer.connection)) == []
    house.quiet()
    after = house.digests()[DAY, READINGS, "S1"]
    assert (before[0], after[0]) == (1, 2)
    assert before[1] != after[1]
    assert house.due() == [DAY + 1]


def test_what_comes_while_a_day_is_being_digested_makes_it_due_again(house: House) -> None:
    for hour in range(12):
        house.say(T0 + 3_600_000 * hour + 1, float(hour))
    house.clock.at = T0 + DAY_MS
    house.quiet(4)
    house.say(T0 + 1000, 9.5)
    house.quiet(12)
    assert house.digests()[DAY, READINGS, "S1"][0] == 12
    assert DAY in house.due()
    house.quiet()
    assert house.digests()[DAY, READINGS, "S1"][0] == 13
    assert DAY not in house.due()


def test_days_that_are_digested_all_at_once_take_a_two_hundredth_of_the_time(house: House) -> None:
    for slice_ in range(96):
        house.say(T0 + SLICE_MS * slice_, 12.5)
    house.clock.at = T0 + DAY_MS
    house.takes_s = 0.01
    while not house.digests() and house.seconds < 1000:
        house.seconds += 0.1
        house.upkeep.quiet()
    assert house.digests()[DAY, READINGS, "S1"][0] == 96
    assert 192 < house.seconds < 240, "96 slices of 0.01 s, each with a rest of two seconds"


def test_a_hall_of_many_probes_is_digested_a_few_thousand_readings_at_a_time(house: House) -> None:
    names = [f"P{number}" for number in range(SLICE_ROWS // 4 + 1)]
    for second in (5, 6, 7, 8, 9):  # the last moment alone has more than a slice
        names = names if second < 9 else [f"Q{number}" for number in range(SLICE_ROWS + 1)]
        house.writer.commit([Reading(name, TEMPERATURE, 12.5, T0 + second * 1000, T0) for name in names])
    steps = 0
    work = digesting(house.writer.connection, DAY)
    with contextlib.suppress(StopIteration):
        while True:
            next(work)
            steps += 1
    assert steps == 3, "three moments, the fourth, and the crowded one"
    assert {item.n for item in stored(house.writer.connection) if item.kind == READINGS} == {4, 1}


def test_while_a_slow_disk_rests_between_two_slices_the_house_is_looked_after(house: House) -> None:
    for slice_ in range(4):
        house.say(T0 + SLICE_MS * slice_, 12.5)
    house.clock.at = T0 + DAY_MS
    house.quiet(2)
    house.takes_s = 2.0
    house.upkeep.quiet()
    house.takes_s = 0.0
    house.reserve.unlink()
    for _ in range(round(LOOK_S) + 1):
        house.seconds += 1
        house.upkeep.quiet()
    assert house.reserve.exists()
    assert house.digests() == {}, "the next slice waits"
    house.quiet()
    assert house.digests()[DAY, READINGS, "S1"][0] == 4


def test_a_day_whose_digest_does_not_fit_keeps_it_and_is_told(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    house.say(T0 + 5000, 12.5)
    house.clock.at = T0 + DAY_MS
    house.quiet()
    before = house.digests()
    house.writer.connection.execute("UPDATE reading SET value = 12.25")
    house.say(T0 + 6000, 13.5)
    with caplog.at_level(logging.ERROR):
        house.quiet()
    assert house.digests() == before, "the only witness is kept"
    assert "readings of probe S1 of 2024-10-04 (UTC) are not what was written: altered" in caplog.text
    assert [trouble.kind.value for trouble in read(house.path)] == ["file damaged"]
    wrong = [item for item in check_file(house.path, READINGS_DB) if item.do]
    assert [item.what for item in wrong] == [
        "readings.db: readings of probe S1 of 2024-10-04 (UTC) are not what was written: altered"
    ]
    assert "restore a backup" in wrong[0].do


def test_a_run_whose_clock_is_corrected_is_digested_anew_and_no_damage(house: House) -> None:
    house.say(T0 + 5000, 12.5)
    house.clock.at = T0 + DAY_MS
    house.quiet()
    house.writer.connection.execute("UPDATE run SET offset = 5000, state = 'synced'")
    assert list(differing(house.writer.connection)) == []
    house.quiet()
    assert (DAY, RUNS, "") in house.digests()


def test_check_names_what_does_not_fit_together(house: House) -> None:
    house.say(T0 + 5000, 12.5)
    house.writer.connection.execute("UPDATE reading SET batch = 77")
    wrong = [item.what for item in check_file(house.path, READINGS_DB) if item.do]
    assert any("1 readings belong to no batch (2024-10-04 00:00:05 UTC to" in text for text in wrong)
