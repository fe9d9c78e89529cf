"""A server that is away for days of a real readings.db, and then back: how long it takes until all is there."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from pathlib import Path

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.store.writer import Writer
from tests.collector.forward.stage import (
    EVENING,
    Series,
    at_work,
    exported,
    forwarder,
    last_batch,
    selected,
    told,
)
from tests.services import InfluxServer, Server, running, wait_until

PROBES = 8
EVERY_MS = 10_000
FIRST = EVENING - 8 * 86_400_000
"""All of it lies in the past: one server drops what is more than two days ahead."""
PATIENCE_S = 900.0


@dataclass(frozen=True)
class Drained:
    """What was sent once the server was back: readings, seconds, and what the server then holds of `value`."""

    readings: int
    seconds: float
    held: int
    wrong: int


def round_of(number: int) -> list[Reading]:
    """Eight invented temperatures ten seconds after those before."""
    at = FIRST + EVERY_MS * number
    return [
        Reading(f"P{probe}", Quantity.TEMPERATURE, round(10 + probe + 5 * math.sin(number / 600), 2), at, at)
        for probe in range(PROBES)
    ]


def fill(store: Path, rounds: int) -> None:
    """One commit for each round, as collect does it."""
    clock = SteppedClock(FIRST)
    writer = Writer.open(store, clock)
    for number in range(rounds):
        clock.at = FIRST + EVERY_MS * number
        writer.commit(round_of(number))
    writer.close()


def drained(folder: Path, server: Server, rounds: int) -> Drained:
    """The forwarder is at work before the server is."""
    store = folder / "readings.db"
    fill(store, rounds)
    kind = "influxdb-1" if isinstance(server, InfluxServer) else "victoria-metrics"
    with at_work(forwarder(store, server.port, server=kind)) as sender:
        wait_until(lambda: sender.state.startswith("failed"), "that the server is away")
        with running(server):
            start = time.monotonic()
            wait_until(
                lambda: told(store).acknowledged == last_batch(store), "all to be acknowledged", PATIENCE_S
            )
            seconds = time.monotonic() - start
            held = values(server)
    found = [sample for samples in held.values() for sample in samples]
    return Drained(rounds * PROBES, seconds, len(found), wrong(held, rounds))


def values(server: Server) -> Series:
    return (
        selected(server, "reading", "value")
        if isinstance(server, InfluxServer)
        else exported(server, "reading_value")
    )


def wrong(held: Series, rounds: int) -> int:
    """How many readings the server lacks, has with another value, or has more than once."""
    expected = {(reading.probe, reading.at): reading.value for n in range(rounds) for reading in round_of(n)}
    surplus = 0
    for (_, probe, _, _), samples in held.items():
        for at, value in samples:
            surplus += expected.pop((probe, at), None) != value
    return len(expected) + surplus


def killed_again_and_again(folder: Path, server: Server, rounds: int, kills: int) -> int:
    """As a power cut would, each time once more has been acknowledged; how many readings are wrong in the end."""
    store = folder / "readings.db"
    fill(store, rounds)
    with at_work(forwarder(store, server.port)), running(server):
        for number in range(1, kills + 1):
            share = last_batch(store) * number // kills
            wait_until(
                lambda share=share: told(store).acknowledged >= share, "more to be acknowledged", PATIENCE_S
            )
            server.kill()
            server.start()
        wait_until(lambda: wrong(values(server), rounds) == 0, "all to be there again", 120.0)
        return wrong(values(server), rounds)
