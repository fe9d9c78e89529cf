"""What a day costs the disk: eight probes at 10 s with temperature and humidity, counted and not timed.

The limit, 100 MB a day, is the issue's. Measured: rounds 58 MB (in whole blocks of 4 KiB 94), scattered 92 (163);
before commits were paced and pages were small 134 and 1040.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from collector.arrival import Arrival, Delivery
from collector.clock import SteppedClock
from collector.pace import AT_ONCE, Pace
from collector.pipeline import LINGER_S, Pipeline
from collector.settings import Settings
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.collector.shops import broker, probe, serial, shop
from tests.collector.store.counting import counting

T0 = 1_795_600_000_000
PROBES, INTERVAL_MS = 8, 10_000
HOURS = 3
LIMIT = 100_000_000
"""Bytes in a day."""


def rounds() -> Iterator[Arrival]:
    """A microcontroller prints all eight lines at once."""
    for number in range(HOURS * 360):
        for i in range(PROBES):
            line = f"P{i} T={values(number, i)[0]} RH={values(number, i)[1]}"
            yield Arrival("usb", line.encode(), T0 + number * INTERVAL_MS + 3 * i)


def scattered() -> Iterator[Arrival]:
    """Eight probes behind a broker, each with a moment of its own."""
    for number in range(HOURS * 360 * PROBES):
        i = number % PROBES
        temperature, humidity = values(number // PROBES, i)
        yield Arrival(
            "broker",
            json.dumps({"T": temperature, "RH": humidity}).encode(),
            T0 + number * INTERVAL_MS // PROBES,
            topic=f"shed/P{i}",
            delivery=Delivery("me", number % 65_535 + 1, number.to_bytes(16, "big"), dup=False),
        )


def values(number: int, i: int) -> tuple[float, float]:
    """Invented; they never rest for long."""
    return 12 + (number * 7 + i * 13) % 100 / 50, 80 + (number * 3 + i * 5) % 100 / 10


def keep_day(settings: Settings, arrivals: Iterator[Arrival], writer: Writer, clock: SteppedClock) -> None:
    """As Pipeline.run() does: a commit when nothing more comes for a moment, and only as often as is allowed."""
    pipeline = Pipeline(settings, writer, clock)
    pace = Pace(lambda: clock.at / 1000)
    for _ in range(AT_ONCE):  # the day as such, not its first minutes
        pace.spend()
    for arrival, then in pairwise(arrivals):
        clock.at = arrival.received
        pipeline.take(arrival)
        if then.received - clock.at > 1000 * LINGER_S and not pace.wait():
            pipeline.flush()
            pace.spend()
    pipeline.flush()


@pytest.mark.parametrize("arrivals", [rounds, scattered])
def test_a_day_of_eight_probes_at_10_s_writes_at_most_100_MB(
    tmp_path: Path, arrivals: Callable[[], Iterator[Arrival]]
) -> None:
    usb = [probe(f"P{i}", "usb") for i in range(PROBES)]
    topics = [probe(f"M{i}", "broker", name=f"shed/P{i}") for i in range(PROBES)]
    settings = shop(tmp_path, serial("/dev/null"), broker(), *usb, *topics)
    clock = SteppedClock(T0)
    with counting() as written:
        writer = Writer.open(settings.readings_db, clock)
        before = written.total, written.on_disk
        keep_day(settings, arrivals(), writer, clock)
        handed, on_disk = (
            (now - then) * 24 / HOURS
            for now, then in zip((written.total, written.on_disk), before, strict=True)
        )
        stored = Reader(writer.connection).last_batch()
        writer.close()
    assert stored > HOURS * 300, "nothing was stored: the count means nothing"
    assert handed <= LIMIT, f"{handed / 1e6:.1f} MB a day; in whole blocks {on_disk / 1e6:.1f} MB"
