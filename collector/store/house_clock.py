"""One "now" for the whole house: the collector's own, which no step of the machine's clock can touch.

Readings lie on the collector's clock; a page that asked the machine's instead would see them in its future, or
hours old, whenever the two differ.
"""

from __future__ import annotations

from pathlib import Path

from collector.steady_clock import Machine
from collector.store.reader import Reader
from collector.store.schema import StoreError

LOOK_MS = 1000


class HouseClock:
    """See collector.clock.Clock; for any thread. The machine's clock as long as collect has not run in this boot."""

    rate = 1.0

    def __init__(self, readings: Path, machine: Machine) -> None:
        self._readings = readings
        self._machine = machine
        self._read: tuple[int, int | None] = (-LOOK_MS, None)

    def now(self) -> int:
        elapsed = self._machine.elapsed()
        looked, zero = self._read
        if elapsed - looked >= LOOK_MS:
            zero = self._zero(zero)
            self._read = (elapsed, zero)
        return self._machine.utc() if zero is None else zero + elapsed

    def _zero(self, known: int | None) -> int | None:
        """UTC ms of this boot's beginning, by the newest run in it; what was known if the file cannot be read now."""
        try:
            reader = Reader.open(self._readings)
        except StoreError:
            return known
        try:
            run = reader.newest_run()
        except StoreError:
            return known
        finally:
            reader.close()
        if run is None or run.elapsed is None or run.boot != self._machine.boot:
            return None
        return run.origin + run.offset
