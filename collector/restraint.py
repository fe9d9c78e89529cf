"""Holds back a probe that sends far more often than it was said to: a loose wire or a bug must not fill the disk.

Only readings that take their time from their arrival are held back: of those, the ones in between tell nothing
more. What brings its own time may be a night that was kept, and is never held back.
"""

from __future__ import annotations

from collections.abc import Iterable

from collector.reading import ProbeFacts, Quantity

TIMES_FASTER = 20
"""So many readings in one of the probe's intervals pass. Generous: an interval in the settings may be a guess."""
BURST = 100
"""So many come through at once after a rest: a device's own queue after it was away for a moment."""
SET_BACK_MS = 60_000
TOO_FAST = "too fast"


class Restraint:
    """A token bucket for each series. For one thread."""

    def __init__(self, probes: Iterable[ProbeFacts]) -> None:
        self._per_ms = {probe.id: TIMES_FASTER / (1000.0 * probe.interval_s) for probe in probes}
        self._series: dict[tuple[str, Quantity], tuple[float, int]] = {}  # left, at which UTC ms

    def allows(self, probe: str, quantity: Quantity, received: int) -> bool:
        """True if one more may come at `received`, UTC ms.

        A clock set back begins anew; arrivals a little out of order do not, or the same time would count twice.
        """
        key = (probe, quantity)
        left, last = self._series.get(key, (float(BURST), received))
        left = min(float(BURST), left + max(0, received - last) * self._per_ms[probe])
        passes = left >= 1.0
        at = max(last, received) if last - received < SET_BACK_MS else received
        self._series[key] = (left - 1.0 if passes else left, at)
        return passes
