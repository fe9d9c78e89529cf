"""A site with a real readings.db, and what its forwarder writes, line by line as lines.py states it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.reader import Batch, Reader
from collector.store.runs import SYNCED, UNKNOWN, Run
from collector.store.time_series import lines
from collector.store.writer import Writer

T0 = 1_795_604_832_000
MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
PROBES = [
    ProbeFacts("A 1", "shed, north", "air", 60.0, 0.5),
    ProbeFacts("S1", "shed, north", "surface", 60.0, 0.8),
]


_forwarders = itertools.count(1)


class Site:
    """send() sends all that is new; a test may send less by hand. `write` takes lines to a server."""

    def __init__(
        self, name: str, folder: Path, write: Callable[[Sequence[str]], None], boot: str = "first"
    ) -> None:
        folder.mkdir(parents=True)
        self.name = name
        self.path = folder / "readings.db"
        self.clock = SteppedClock(T0)
        self.writer = Writer.open(self.path, self.clock)
        self.writer.describe(PROBES)
        self.sent = 0
        self.kept = 0
        self.by = next(_forwarders)
        self._write = write
        self._tick = 0
        self._boot = boot

    def close(self) -> None:
        self.writer.close()

    def commit(self, minutes: Sequence[float], offset: float = 0.0, probe: str = "S1") -> None:
        """A temperature at each of those minutes after T0; the clock goes on to the last of them."""
        readings = []
        for minute in minutes:
            at = T0 + round(minute * MINUTE)
            value = 12.0 + offset + minute / 7
            readings.append(Reading(probe, TEMPERATURE, value, at, max(at, self.clock.at)))
        self.commit_readings(readings)

    def commit_readings(self, readings: Sequence[Reading]) -> None:
        self.clock.at = max(self.clock.at, *(reading.at for reading in readings))
        self.writer.commit(readings)

    def run_unknown(self) -> None:
        """The machine starts without knowing the time: its clock says an hour less than is true."""
        self.writer.begin(Run(2, "second", self.clock.at, 5 * MINUTE, UNKNOWN, 0))

    def run_found(self, later_ms: int) -> None:
        """A time service sets the clock: the run before lies so much later than it was dated."""
        self.clock.at += later_ms
        self.writer.begin(Run(3, "second", self.clock.at, 5 * MINUTE + 10 * MINUTE, SYNCED, 0))

    def tick(self) -> int:
        self._tick = max(self._tick + 1, self.clock.at)
        return self._tick

    def send(self, at_once: int = 2) -> None:
        """New batches, `at_once` in one portion; each revised one by itself; then facts and a heartbeat."""
        for text in self.portions(at_once):
            self._write(text)
        self.tell_facts()
        self.beat()

    def portions(self, at_once: int = 2) -> list[list[str]]:
        """The lines of each portion that is new, its commit last."""
        with closing(Reader.open(self.path)) as reader:
            groups: list[list[Batch]] = []
            for batch in reader.batches_after(self.sent):
                mixed = groups and not batch.revised and not groups[-1][0].revised
                if mixed and len(groups[-1]) < at_once:
                    groups[-1].append(batch)
                else:
                    groups.append([batch])
            return [self._portion(reader, group) for group in groups]

    def _portion(self, reader: Reader, group: Sequence[Batch]) -> list[str]:
        since, seq, revised = self.sent, group[-1].seq, group[0].revised
        readings = [one for batch in group for one in reader.readings_after(batch.seq - 1, 1)[0]]
        span = (group[0].t_min, group[0].t_max) if revised else _span(readings)
        came = _came(reader, readings)
        text = [
            lines.reading_line(self.name, one, came[one.probe, one.quantity, one.at], seq if revised else 0)
            for one in readings
        ]
        self.sent = seq
        return [*text, lines.commit_line(self.name, seq, since, len(text), span, revised, self.tick())]

    def tell_facts(self) -> None:
        with closing(Reader.open(self.path)) as reader:
            facts = reader.probes(), reader.suspicions(), reader.runs()
        self._write(lines.fact_lines(self.name, *facts, self.tick()))

    def beat(self, behind: int = 0) -> None:
        self._write(
            [
                lines.heartbeat_line(
                    self.name, self.sent, self.sent + behind, self.clock.at, self.kept, self.by, self.tick()
                )
            ]
        )


def _span(readings: Sequence[Reading]) -> tuple[int, int]:
    times = [reading.at for reading in readings]
    return min(times), max(times)


def _came(reader: Reader, readings: Sequence[Reading]) -> dict[tuple[str, Quantity, int], int]:
    found = {}
    for probe, quantity in {(reading.probe, reading.quantity) for reading in readings}:
        t, _, _, batch = reader.ledger(probe, quantity, *_span(readings))
        found |= {(probe, quantity, at): seq for at, seq in zip(t.tolist(), batch.tolist(), strict=True)}
    return found
