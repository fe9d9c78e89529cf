"""What is kept of readings that are removed: for each series and hour what the line through its usable readings did.

The line joins two usable readings that follow each other closely enough; it is cut at the hours' edges, so that
what is summarised piece by piece adds up to the same as the whole. Where readings are further apart there is no
line: `covered_ms` says how much of the hour there is one for, and the rest of the hour is not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

HOUR_MS = 3_600_000


@dataclass
class Summary:
    """One series in one hour (UTC, its number since 1970).

    n, usable   readings in the hour; those that no check found fault with
    low, high   of the usable readings and of the line, in the quantity's unit; None without either
    covered_ms  how much of the hour has a line
    integral    of the line, unit * ms
    """

    hour: int
    n: int = 0
    usable: int = 0
    low: float | None = None
    high: float | None = None
    covered_ms: int = 0
    integral: float = 0.0

    @property
    def mean(self) -> float | None:
        """Of the line, over the time that has one; None if there is none."""
        return self.integral / self.covered_ms if self.covered_ms else None

    def above(self, datum: float) -> tuple[float, float]:
        """Least and most unit * hours that the line had above the datum: for temperatures its degree-hours.

        What the line did is forgotten but for its mean and its ends. The part above the datum is a convex function
        of the value: so it is least if the line rested at its mean (Jensen's inequality) and most if it knew only
        its two ends (the chord lies above a convex function).
        """
        mean, low, high = self.mean, self.low, self.high
        if mean is None or low is None or high is None:
            return 0.0, 0.0
        hours = self.covered_ms / HOUR_MS
        least = max(mean - datum, 0.0)
        most = least
        if low < datum < high:
            share = min(max((mean - low) / (high - low), 0.0), 1.0)
            most = max(least, share * (high - datum))
        return least * hours, most * hours

    def see(self, value: float) -> None:
        self.low = value if self.low is None else min(self.low, value)
        self.high = value if self.high is None else max(self.high, value)


Point = tuple[int, float, bool]
"""UTC ms, value, usable."""


def summarise(points: Sequence[Point], then: tuple[int, float] | None, longest_join_ms: int) -> list[Summary]:
    """The hours of one series' readings, ascending in time, with the line to `then`, the usable reading after them.

    `then` itself is not counted: it belongs to what is summarised next.
    """
    hours: dict[int, Summary] = {}
    for at, value, usable in points:
        hour = hours.setdefault(at // HOUR_MS, Summary(at // HOUR_MS))
        hour.n += 1
        if usable:
            hour.usable += 1
            hour.see(value)
    ends = [(at, value) for at, value, usable in points if usable] + ([then] if then else [])
    for first, last in pairwise(ends):
        if 0 < last[0] - first[0] <= longest_join_ms:
            for piece in _cut(first, last):
                _add(hours, *piece)
    return [hours[hour] for hour in sorted(hours)]


_Piece = tuple[int, float, int, float]


def _cut(first: tuple[int, float], last: tuple[int, float]) -> Iterable[_Piece]:
    """A straight line in pieces that each lie within one hour."""
    (start, from_value), (end, to_value) = first, last
    slope = (to_value - from_value) / (end - start)
    at, value = start, from_value
    while at < end:
        edge = min(end, (at // HOUR_MS + 1) * HOUR_MS)
        there = to_value if edge == end else from_value + slope * (edge - start)
        yield at, value, edge, there
        at, value = edge, there


def _add(hours: dict[int, Summary], at: int, value: float, end: int, there: float) -> None:
    hour = hours.setdefault(at // HOUR_MS, Summary(at // HOUR_MS))
    hour.covered_ms += end - at
    hour.integral += 0.5 * (value + there) * (end - at)
    hour.see(value)
    hour.see(there)
