"""Readings in any order, doubled, in any batches and over restarts: the same flags, the same verdict, bit for bit."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import NOT_OF_THE_VALUE, ProbeFacts, Quality, Quantity, Reading
from collector.recheck import SERIES_COPIED, Recheck
from collector.settings import Settings
from collector.store.reader import Reader
from collector.store.readings_schema import FLAGS
from collector.store.writer import Writer
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.follow import Follower
from dashboard.live import asking
from dashboard.panel import Coat, Panel
from dashboard.settling import whole
from tests.collector.shops import shop
from tests.dashboard.night import MIXED, card

MINUTE = 60_000
HOUR = 60 * MINUTE
END = MIXED + 8 * HOUR
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
BROKER = """
[[source]]
id = "broker"
kind = "mqtt"
host = "127.0.0.1"
topic = ["shed/+"]
[source.decode]
kind = "json_map"
name = "/id"
field = [
  { key = "/t", quantity = "temperature", unit = "degC" },
]
time = { key = "/at", unit = "ms" }
"""


def tables(*probes: str) -> str:
    return BROKER + "\n".join(
        f'[[probe]]\nid = "{probe}"\nsource = "broker"\nzone = "shed"\nplace = "surface"\ninterval_s = 300\n'
        for probe in probes
    )


def message(probe: str, at: int, value: float) -> bytes:
    return json.dumps({"id": probe, "at": at, "t": value}).encode()


def a_night() -> list[bytes]:
    """Two probes, five minutes apart, with what checks find: a spike, a power-on value, a value that stands still,
    two values for one time (near, and far apart), and a probe carried to another place.
    """
    night = []
    for i in range(-36, 97):
        at = MIXED + i * 5 * MINUTE
        warm = 14.0 + 3.0 * math.sin(i / 20) + 0.01 * (i % 3)
        night.append(message("S1", at, {10: 85.0}.get(i, warm)))
        night.append(message("A1", at + 7_000 * (i % 2), 8.0 if 0 <= i < 90 else warm - 2.0))
    night.append(message("S1", MIXED + 100 * MINUTE + 2_000, 61.0))
    night.append(message("S1", MIXED + 150 * MINUTE, 14.3))
    night.append(message("S1", MIXED + 200 * MINUTE, 31.0))
    night.append(message("S1", MIXED + 200 * MINUTE, 22.0))
    return night


NIGHT = a_night()


class House:
    """The real pipeline on a real file, with a clock at the morning after."""

    def __init__(self, folder: Path) -> None:
        self.settings: Settings = shop(folder, tables("S1", "A1"))
        self.clock = SteppedClock(END + MINUTE)
        self.follower = Follower(self.settings.readings_db, END)
        self._open()

    def _open(self) -> None:
        self.writer = Writer.open(self.settings.readings_db, self.clock)
        self.pipeline = Pipeline(self.settings, self.writer, self.clock)

    def restart(self) -> None:
        self.writer.close()
        self._open()

    def take(self, payloads: list[bytes]) -> None:
        for payload in payloads:
            self.pipeline.take(Arrival("broker", payload, self.clock.now(), live=False))
        self.pipeline.flush()

    def settled(self) -> tuple[list[tuple[str, str, int, float, int]], str]:
        """All that is stored, and the panel's assessment, once nothing is due any more."""
        self.pipeline.take_all([])
        reader = Reader(self.writer.connection)
        rows = [
            (probe, quantity.value, int(at), float(value), int(quality) & ~int(NOT_OF_THE_VALUE))
            for probe in ("A1", "S1")
            for quantity in (TEMPERATURE,)
            for at, value, quality in zip(*reader.samples(probe, quantity, 0, 2**60), strict=True)
        ]
        self.follower.refresh()
        return rows, verdict(self.follower).to_json()


def verdict(follower: Follower) -> Assessment:
    chosen = card()
    coat = Coat(1, chosen.id, MIXED, MIXED, "laminate", "e1")
    panel = Panel("lid", "Lid", "shed", "S1", "A1", "wood", (coat,))
    asked = asking(panel, follower, {chosen.id: chosen}.get)
    facts = whole(follower, asked, asked(follower.trace), END)
    return replace(assess(facts, END), batch=0)


@pytest.fixture(scope="module")
def in_order(tmp_path_factory: pytest.TempPathFactory) -> tuple[object, str]:
    house = House(tmp_path_factory.mktemp("in order"))
    for payload in sorted(NIGHT, key=lambda item: json.loads(item)["at"]):
        house.take([payload])
    return house.settled()


def test_the_night_holds_what_checks_find(
    in_order: tuple[list[tuple[str, str, int, float, int]], str],
) -> None:
    found = {Quality(row[4]) for row in in_order[0]}
    assert {Quality.POWER_ON_VALUE, Quality.IMPOSSIBLE_RATE, Quality.STUCK} <= found


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.permutations(range(len(NIGHT))),
    st.lists(st.integers(0, len(NIGHT) - 1), max_size=60),
    st.lists(st.integers(1, 90), min_size=1, max_size=6),
    st.sets(st.integers(0, 9), max_size=3),
)
def test_a11_any_order_and_doubles_give_the_same_night_and_the_same_verdict(
    tmp_path_factory: pytest.TempPathFactory,
    in_order: tuple[object, str],
    order: list[int],
    doubled: list[int],
    sizes: list[int],
    restarts: set[int],
) -> None:
    house = House(tmp_path_factory.mktemp("any order"))
    arriving = order + doubled
    start = number = 0
    while start < len(arriving):
        size = sizes[number % len(sizes)]
        house.take([NIGHT[index] for index in arriving[start : start + size]])
        start, number = start + size, number + 1
        if number in restarts:
            house.restart()
        elif number % 3 == 0:
            house.follower.refresh()
        else:
            house.pipeline._recheck.quiet()
    found = house.settled()
    house.writer.close()
    assert found[0] == in_order[0]
    assert found[1] == in_order[1]


def test_a_late_reading_changes_the_flags_after_it_and_followers_hear_of_it(tmp_path: Path) -> None:
    """A jump is one only until what lay between arrives."""
    house = House(tmp_path)
    house.take([message("S1", MIXED, 10.0)])
    house.take([message("S1", MIXED + 60_000, 44.0)])
    reader = Reader.open(house.settings.readings_db)
    assert reader.samples("S1", TEMPERATURE, 0, 2**60)[2].tolist() == [0, int(Quality.IMPOSSIBLE_RATE)]
    house.pipeline.take_all([])
    house.follower.refresh()
    seq = reader.last_batch()
    house.take([message("S1", MIXED + 20_000, 22.0), message("S1", MIXED + 40_000, 34.0)])
    house.pipeline.take_all([])
    late = int(Quality.LATE)
    assert reader.samples("S1", TEMPERATURE, 0, 2**60)[2].tolist() == [0, late, late, 0]
    assert [batch.revised for batch in reader.batches_after(seq)] == [0, FLAGS]
    house.follower.refresh()
    trace = house.follower.trace("S1", TEMPERATURE)
    assert trace is not None
    assert trace.samples.value.tolist() == [10.0, 22.0, 34.0, 44.0]
    reader.close()
    house.writer.close()


def test_what_is_due_survives_a_crash_between_the_commit_and_the_look(tmp_path: Path) -> None:
    house = House(tmp_path)
    house.take([message("S1", MIXED + i * MINUTE, 10.0) for i in (0, 5)])
    house.pipeline.take_all([])
    house.take([message("S1", MIXED + MINUTE, 85.0)])
    assert house.pipeline._recheck.due
    house.restart()
    assert house.pipeline._recheck.due
    house.pipeline.take_all([])
    assert not house.pipeline._recheck.due
    house.writer.close()


def test_b33_two_values_for_one_time_are_both_kept_and_the_same_is_served_in_any_order(
    tmp_path: Path,
) -> None:
    """Near each other: usable. Further apart than the probe may err: neither is used, and the page counts them."""
    served = []
    for number, values in enumerate(([10.0, 10.5, 14.0], [14.0, 10.0, 10.5], [10.5, 14.0, 10.0, 10.5])):
        house = House(tmp_path / str(number))
        for value in values:
            house.take([message("S1", MIXED, value), message("A1", MIXED, 5.0 + value / 100)])
        reader = Reader.open(house.settings.readings_db)
        _, value, quality = reader.samples("S1", TEMPERATURE, 0, 2**60)
        air = reader.samples("A1", TEMPERATURE, 0, 2**60)[2]
        served.append((value.tolist(), quality.tolist(), air.tolist(), reader.conflicts()))
        reader.close()
        house.writer.close()
    rival = int(Quality.RIVAL)
    assert served == [([10.0], [rival | int(Quality.CONTRADICTED)], [rival], 4)] * 3
    assert not Quality.CONTRADICTED.usable
    assert Quality.RIVAL.usable


def test_what_is_remembered_for_late_readings_does_not_grow_with_the_readings(tmp_path: Path) -> None:
    """Counted in what a copy holds, after a day has been looked at again: many series are copied less often."""
    probes = [ProbeFacts(f"P{number}", "shed", "surface", 60.0, 0.8) for number in range(100)]
    writer = Writer.open(tmp_path / "readings.db", SteppedClock(MIXED))
    writer.describe(probes)
    for minute in range(0, 1440, 10):
        at = MIXED + minute * MINUTE
        writer.commit([Reading(probe.id, TEMPERATURE, 10.0 + minute / 1000, at, at) for probe in probes])
    recheck = Recheck(writer, probes)
    writer.mark_recheck(MIXED)
    recheck.stored()
    recheck.settle()
    copies = recheck._copies
    assert not any(checks._frames for _, checks in copies)
    assert 2 <= len(copies) <= SERIES_COPIED / len(probes)
    assert copies[-1][0] > MIXED + 23 * HOUR
    writer.close()
