"""An invented machine whose clock may be wrong, beside the true time that only the test knows."""

from __future__ import annotations

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.steady_clock import Machine, SteadyClock
from collector.store import run_table
from collector.store.runs import Run
from collector.store.writer import Writer
from collector.timekeeper import Timekeeper

HOUR = 3_600_000
YEAR = 365 * 24 * HOUR
T0 = 1_795_629_600_000
"""2026-11-25 18:00 UTC."""


class Bench:
    """True time goes on by hand; the clock is wrong by `error`, and a boot or a step changes that."""

    def __init__(self, truth: int = T0) -> None:
        self.truth = truth
        self.boots = 0
        self.boot(0)

    def boot(self, error: int, *, synced: bool = False, hardware: bool = False) -> None:
        """The machine starts now, `error` ms wrong."""
        self.boots += 1
        self.since = self.truth
        self.error = error
        self.synced = synced
        self.hardware = hardware

    @property
    def machine(self) -> Machine:
        return Machine(
            utc=lambda: self.truth + self.error,
            elapsed=lambda: self.truth - self.since,
            boot=f"boot-{self.boots}",
            synced=lambda: self.synced,
            hardware=lambda: self.truth if self.hardware else None,
        )


class Recorder:
    """A store in memory with the collector's own clock and timekeeper, on a bench; start() is a start of collect."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._file = Writer.open(None, SteppedClock(0))._file
        self._file.connection.execute("DELETE FROM run")
        self.told: list[tuple[int, int]] = []
        """Run and true time of every reading."""
        self.start()

    @property
    def connection(self) -> object:
        return self._file.connection

    def runs(self) -> list[Run]:
        return run_table.read_runs(self._file.connection)

    def start(self) -> None:
        self.clock = SteadyClock(self.bench.machine)
        runs = self.runs()
        number = runs[-1].id + 1 if runs else 1
        self.writer = Writer(self._file, self.clock, number)
        self.writer.begin(self.clock.begin(runs, number))
        ticks = iter(range(10**9))
        self._keep = Timekeeper(
            self.clock, self.writer, lambda: True, lambda: None, monotonic=lambda: float(next(ticks))
        )

    def read(self, after: int = 0) -> None:
        """One reading, `after` ms later; its value is its number, so that it can be found again."""
        self.bench.truth += after
        self._keep()
        at = self.clock.now()
        self.writer.commit([Reading("S1", Quantity.TEMPERATURE, float(len(self.told)), at, at)])
        self.told.append((self.writer.run, self.bench.truth))

    def served(self) -> list[tuple[int, int]]:
        """Of each reading, in the order of reading: where it is served, and where it truly was (UTC ms)."""
        from collector.store.reader import Reader

        t, value, _ = Reader(self._file.connection).samples("S1", Quantity.TEMPERATURE, -(2**61), 2**61)
        return [(int(at), self.told[round(number)][1]) for at, number in zip(t, value, strict=True)]
