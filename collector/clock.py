"""Where "now" comes from. Passed in everywhere; nothing else in the house asks the machine for the time.

Demo time runs as now = v0 + rate * (monotonic - m0). CLOCK_MONOTONIC is one per boot, so the triple gives
every process of a demo the same now. Timeouts and keepalives use real seconds, never this clock.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Protocol


class Clock(Protocol):
    """What a room may ask of time."""

    def now(self) -> int:
        """UTC milliseconds."""
        ...

    @property
    def rate(self) -> float:
        """Seconds of this clock in one real second; 1 outside a demo."""
        ...


class SystemClock:
    """The machine's clock."""

    rate = 1.0

    def now(self) -> int:
        return time.time_ns() // 1_000_000


@dataclass(frozen=True)
class DemoClock:
    """v0 in UTC ms at monotonic second m0, running `rate` times as fast as real time."""

    v0: int
    m0: float
    rate: float

    def now(self) -> int:
        return self.v0 + round(1000.0 * self.rate * (time.monotonic() - self.m0))

    def spell(self) -> str:
        """The triple as text for another process's command line."""
        return f"{self.v0},{self.m0!r},{self.rate!r}"

    @classmethod
    def parse(cls, text: str) -> DemoClock:
        """Inverse of spell(). Raises ValueError naming the form that is allowed."""
        parts = text.split(",")
        try:
            v0, m0, rate = int(parts[0]), float(parts[1]), float(parts[2])
        except (ValueError, IndexError) as error:
            raise ValueError(f"demo clock {text!r}: write START_MS,MONOTONIC_S,RATE") from error
        if not rate > 0:
            raise ValueError(f"demo clock {text!r}: the rate must be above 0")
        return cls(v0, m0, rate)


@dataclass
class SteppedClock:
    """A clock moved by hand: tests, and the demo's seeding at full speed."""

    at: int
    rate: float = 1.0

    def now(self) -> int:
        return self.at
