"""How cost grows with days, panels and probes, of watch and of the page that serve sends: each series measured, and the
exponent fitted.

    python -P -m tests.bench.growing

Readings are invented. Time is processor time of one process; a panel is answered once a minute.
"""

from __future__ import annotations

import logging
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.app import create_app
from dashboard.assess import assess
from dashboard.cards import CardShelf
from dashboard.follow import Follower
from dashboard.live import asking
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Coat, Event, Panel
from dashboard.settling import Settling
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from tests.bench.line import Line
from tests.dashboard.client import Client

START = 1_795_629_600_000
SECOND, MINUTE, HOUR = 1_000, 60_000, 3_600_000
EVERY_MS = 10 * SECOND
AT_ONCE = 4000
"""Readings of one kind in a commit; the collector's own are smaller."""
CARD = "invented-25min"
PER_PROBE = 5
DAYS, PANELS, PROBES = (1, 3, 10, 30, 90), (1, 10, 100, 1000), (1, 10, 100, 1000)
EXPONENT = 1.1


class House:
    """A shop of so many panels on so many probes: every fifth probe hangs in the air and tells its humidity too."""

    def __init__(self, folder: Path, panels: int, probes: int) -> None:
        self.clock, self.folder = SteppedClock(START), folder
        self.names = [f"P{number:04}" for number in range(max(probes, 2))]
        self.writer = Writer.open(folder / "readings.db", self.clock)
        self.writer.describe([ProbeFacts(name, "shed", "surface", 10.0, 0.8) for name in self.names])
        self.logbook = Logbook(folder / "shop.db", lambda: [CARD]).open()
        self.watch = Watch(
            readings=folder / "readings.db",
            logbook=LogbookReader(folder / "shop.db"),
            cards=CardShelf(None),
            store=WatchWriter(folder / "watch.db"),
            clock=self.clock,
            zone=ZoneInfo("UTC"),
        )
        for number in range(panels):
            self._lay(number)

    def _lay(self, number: int) -> None:
        surfaces = [name for i, name in enumerate(self.names) if i % PER_PROBE]
        airs = self.names[::PER_PROBE]
        at = START + number % 180 * MINUTE
        about = {
            "name": f"Panel {number}", "zone": "shed", "surface_probe": surfaces[number % len(surfaces)],
            "air_probe": airs[number % len(airs)], "substrate": "wood",
        }  # fmt: skip
        self.logbook.append(Event(f"p{number}", at, at, "x", "panel registered", f"panel-{number}", about))
        coat = {"card": CARD, "applied_at": at}
        self.logbook.append(Event(f"c{number}", at, at, "x", "coat mixed", f"panel-{number}", coat))

    def browser(self) -> Client:
        """Of a serve that has just been started."""
        return Client(
            create_app(
                watched=WatchReader(self.folder / "watch.db", self.logbook),
                logbook=self.logbook,
                readings=self.folder / "readings.db",
                probes=list,
                cards=lambda: [CARD],
                card=CardShelf(None).get,
                clock=self.clock,
                site="invented",
                time_zone="UTC",
            )
        )

    def pass_time(self, ms: int) -> None:
        """Everything is read in its turn."""
        start = self.clock.now()
        every = range(start, start + ms, EVERY_MS)
        at_once = max(AT_ONCE // len(self.names), 1)
        for first in range(0, len(every), at_once):
            part = every[first : first + at_once]
            self.writer.commit(
                [found for at in part for i, name in enumerate(self.names) for found in read(i, name, at)]
            )
        self.clock.at = start + ms


def read(number: int, name: str, at: int) -> Iterator[Reading]:
    C = 12.0 + 5.0 * np.sin(at / HOUR / 24 * 2 * np.pi) + (at // EVERY_MS * 7 + number) % 11 / 100
    yield Reading(name, Quantity.TEMPERATURE, C, at, at)
    if number % PER_PROBE == 0:
        yield Reading(name, Quantity.RELATIVE_HUMIDITY, 80.0 - C, at, at)


@contextmanager
def house(panels: int, probes: int) -> Iterator[House]:
    with tempfile.TemporaryDirectory() as folder:
        made = House(Path(folder), panels, probes)
        yield made
        made.watch.store.close()
        made.logbook.close()
        made.writer.close()


def cpu_s(run: Callable[[], object]) -> float:
    begin = time.process_time()
    run()
    return time.process_time() - begin


def exponent(sizes: tuple[int, ...], costs: list[float]) -> float:
    """Of size, by least squares in logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


def resident_MB() -> float:
    """The most that this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


@dataclass
class Series:
    """One cost at each size."""

    name: str
    sizes: tuple[int, ...]
    costs: list[float]

    @classmethod
    def of(cls, name: str, sizes: tuple[int, ...]) -> Series:
        return cls(name, sizes, [])

    def took(self, name: str, seconds: float) -> Line:
        self.costs.append(seconds)
        return Line(name, 1e3 * seconds, "ms")

    def line(self) -> Line:
        return Line(f"exponent of {self.name}", exponent(self.sizes, self.costs), "", EXPONENT)


def by_days() -> list[Line]:
    """One panel that is never closed: its first answer after a start, and those of the minutes after it."""
    load, first, later = (
        Series.of(f"days, {what}", DAYS)
        for what in ("readings taken in after a start", "first answer after it", "each answer after it")
    )
    lines = []
    for days in DAYS:
        with house(1, 2) as of:
            of.pass_time(days * 24 * HOUR)
            follower = Follower(of.watch.readings, of.clock.now())
            lines.append(
                load.took(f"panel of {days} days: readings taken in after a start", cpu_s(follower.refresh))
            )
            answer = answering(of, follower)
            lines.append(first.took("  first answer after it", cpu_s(answer)))
            taken = []
            for _ in range(10):
                of.pass_time(MINUTE)
                taken.append(cpu_s(answer))
            lines.append(later.took("  each answer after it", float(np.median(taken))))
        lines.append(Line("  most memory so far", resident_MB(), "MB"))
    return [*lines, load.line(), first.line(), later.line()]


def answering(of: House, follower: Follower) -> Callable[[], object]:
    settling = Settling(follower)
    coat = Coat(1, CARD, START, START, "laminate", "c0")
    panel = Panel("panel-0", "Panel 0", "shed", "P0001", "P0000", "wood", (coat,))

    def answer() -> object:
        follower.keep(of.clock.now(), settling.needed([panel]))
        follower.refresh()
        return settling.ask(panel, asking(panel, follower, CardShelf(None).get), of.clock.now(), assess)

    return answer


def a_minute(of: House) -> tuple[float, float]:
    """Processor time that watch takes for a minute of readings, and of its longest round, s."""
    rounds = []
    for _ in range(6):
        of.pass_time(EVERY_MS)
        rounds.append(cpu_s(of.watch.round))
        while of.watch.waiting and sum(rounds) < 10.0 * len(rounds):
            rounds.append(cpu_s(of.watch.round))
    return sum(rounds), max(rounds)


def first_answers(of: House) -> float:
    """Processor time until every panel has been answered after a start, s."""
    taken = cpu_s(of.watch.round)
    while of.watch.waiting:
        taken += cpu_s(of.watch.round)
    return taken


def idle(of: House) -> float:
    """Processor time of a round in which nothing is new, s."""
    taken = []
    for _ in range(5):
        of.clock.at += SECOND // 2
        taken.append(cpu_s(of.watch.round))
    return float(np.median(taken))


def pages(of: House) -> tuple[float, float]:
    """Processor time of the Morning round after serve was started, and of one a second later, s."""
    client = of.browser()

    def page() -> None:
        assert client.get("/").status_code == 200

    first = cpu_s(page)
    of.clock.at += SECOND
    return first, cpu_s(page)


def by_panels() -> list[Line]:
    """On a fifth as many probes: 1,000 panels on 200."""
    start, minute, waiting, page, again = (
        Series.of(f"panels, {what}", PANELS)
        for what in ("all answered after a start", "a minute", "an idle round", "first page", "page after it")
    )
    lines = []
    for panels in PANELS:
        with house(panels, panels // PER_PROBE) as of:
            of.pass_time(3 * HOUR)
            lines.append(start.took(f"{panels} panels: all answered after a start", first_answers(of)))
            a_minute(of)
            seconds, longest = a_minute(of)
            assert not of.watch.waiting, "not all had their turn in a minute"
            lines.append(minute.took("  watch in each minute", seconds))
            lines.append(Line("    of one core", 100.0 * seconds / 60.0, "%", 100.0))
            lines.append(Line("    its longest round", longest, "s", 10.0))
            lines.append(waiting.took("  a round in which nothing is new", idle(of)))
            first, second = pages(of)
            lines.append(page.took("  Morning round, first after a start", first))
            lines.append(again.took("  Morning round, a second later", second))
        lines.append(Line("  most memory so far", resident_MB(), "MB", 500.0))
    return [*lines, *(series.line() for series in (start, minute, waiting, page, again))]


def by_probes() -> list[Line]:
    """Readings taken in, one panel."""
    start, minute = (
        Series.of(f"probes, {what}", PROBES) for what in ("answered after a start", "a minute of readings")
    )
    lines = []
    for probes in PROBES:
        with house(1, probes) as of:
            of.pass_time(HOUR)
            lines.append(start.took(f"{probes} probes: answered after a start", first_answers(of)))
            lines.append(minute.took("  watch in each minute", a_minute(of)[0]))
    return [*lines, start.line(), minute.line()]


PARTS = (by_panels, by_probes, by_days)


def main() -> None:
    logging.disable(logging.CRITICAL)
    for part in PARTS:
        for line in part():
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
