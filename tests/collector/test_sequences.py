"""A probe without a clock that numbers its messages: sent twice, late, after a reset, and with some lost."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import Quantity
from collector.store.reader import Reader
from collector.store.sequences import Count, Missing, Sequences, missing
from collector.store.writer import Writer
from tests.collector.shops import probe, shop

T0 = 1_795_600_000_000
BROKER = """
[[source]]
id = "broker"
kind = "mqtt"
host = "127.0.0.1"
topic = ["S1"]
[source.decode]
kind = "json_map"
field = [
  { key = "/t", quantity = "temperature", unit = "degC" },
  { key = "/rh", quantity = "relative_humidity", unit = "%" },
]
order = { sequence = "/n", boot = "/boot", age = "/age", unit = "s" }
"""


class Desk:
    def __init__(self, folder: Path) -> None:
        self.clock = SteppedClock(T0)
        self.settings = shop(folder, BROKER, probe("S1", "broker"))
        self.open()

    def open(self) -> None:
        self.writer = Writer.open(self.settings.readings_db, self.clock)
        self.pipeline = Pipeline(self.settings, self.writer, self.clock)
        self.reader = Reader(self.writer.connection)

    def send(self, number: int, age: float, boot: object = 1, live: bool = True) -> None:
        """What was measured `age` s ago; the value is the number's."""
        text = json.dumps({"t": 10 + number / 100, "rh": 80, "n": number, "boot": boot, "age": age})
        self.pipeline.take_all([Arrival("broker", text.encode(), self.clock.now(), "S1", live)])

    def rows(self) -> list[tuple[int, float]]:
        at, value, _ = self.reader.samples("S1", Quantity.TEMPERATURE, 0, 2**60)
        return list(zip(at.tolist(), value.tolist(), strict=True))

    def refused(self) -> dict[str, int]:
        return {tally.kind: tally.n for tally in self.reader.tallies()}


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    desk = Desk(tmp_path)
    yield desk
    desk.writer.close()


def test_an_age_counts_back_from_the_arrival(desk: Desk) -> None:
    desk.send(1, age=30)
    desk.send(2, age=0)
    assert desk.rows() == [(T0 - 30_000, 10.01), (T0, 10.02)]
    moisture = desk.reader.samples("S1", Quantity.RELATIVE_HUMIDITY, 0, 2**60)[0]
    assert moisture.tolist() == [T0 - 30_000, T0], "all of a message has its number, and all of it is taken"


def test_what_is_sent_again_later_also_after_a_restart_of_either_side_gives_no_second_row(desk: Desk) -> None:
    """Its age has grown, and not by exactly what our clock went on: only the number knows."""
    for number in (1, 2, 3):
        desk.send(number, age=0)
        desk.clock.at += 10_000
    once = desk.rows()
    desk.send(2, age=21)
    desk.writer.close()
    desk.open()
    desk.send(3, age=12)
    desk.send(1, age=33)
    assert desk.rows() == once
    desk.send(1, age=0, boot=2)
    assert len(desk.rows()) == 4, "after the probe's reset its numbers are new ones"


def test_numbers_that_never_came_are_counted_until_they_do(desk: Desk) -> None:
    for number in (1, 2, 5, 9):
        desk.send(number, age=0)
        desk.clock.at += 10_000
    assert desk.reader.missing() == [Missing("broker", "S1", 5)]
    desk.send(4, age=300)
    assert desk.reader.missing() == [Missing("broker", "S1", 4)]
    for number in (3, 6, 7, 8):
        desk.send(number, age=200 + number)
    assert desk.reader.missing() == []


def test_an_old_message_whose_age_is_of_yesterday_is_not_taken_and_its_number_stays_open(desk: Desk) -> None:
    desk.send(1, age=5, live=False)
    assert (desk.rows(), desk.refused()) == ([], {"stale": 2})
    desk.send(1, age=20)
    assert len(desk.rows()) == 1


@pytest.mark.parametrize(
    ("more", "kind"),
    [
        ({"n": 1.5, "boot": 1, "age": 0}, "sequence"),
        ({"n": -1, "boot": 1, "age": 0}, "sequence"),
        ({"n": 1, "boot": True, "age": 0}, "sequence"),
        ({"n": 1, "age": 0}, "missing field"),
        ({"boot": 1, "age": 0}, "missing field"),
        ({"n": 1, "boot": 1, "age": 90_000}, "time"),
        ({"n": 1, "boot": 1, "age": -5}, "time"),
    ],
)
def test_what_cannot_be_a_number_a_start_or_an_age_is_refused(
    desk: Desk, more: dict[str, object], kind: str
) -> None:
    text = json.dumps({"t": 10.0, "rh": 80} | more)
    desk.pipeline.take_all([Arrival("broker", text.encode(), T0, "S1")])
    assert (desk.rows(), desk.refused()) == ([], {kind: 1})


@given(st.lists(st.integers(0, 60), max_size=80))
def test_the_spans_hold_exactly_the_numbers_that_were_told(numbers: list[int]) -> None:
    writer = Writer.open(None, SteppedClock(T0))
    for start in range(0, len(numbers), 7):
        writer.commit([], counts=[Count("b", "d", "1", number) for number in numbers[start : start + 7]])
    heard = Sequences(writer.connection)
    assert {number for number in range(70) if Count("b", "d", "1", number) in heard} == set(numbers)
    lost = max(numbers) - min(numbers) + 1 - len(set(numbers)) if numbers else 0
    assert missing(writer.connection) == ([Missing("b", "d", lost)] if lost else [])
    writer.close()
