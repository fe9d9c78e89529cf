"""A measured line and its thinning: the least and the greatest of each stretch stay, and a gap stays a gap.

What is kept are readings themselves, never means. Stretches lie on whole multiples of their length since 1970, so a
line that was thinned by ten minutes and then by an hour is the same as one thinned by an hour at once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.history import Samples

Times = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Line:
    """Points of a line that may have gaps; all arrays of one length (n,).

    t       UTC ms, ascending
    value   in any unit
    parted  whether there is a gap right before the point
    """

    t: Times
    value: Floats
    parted: Bools

    @classmethod
    def of(cls, samples: Samples, longest_join_ms: int) -> Line:
        """Readings; two that are further apart than longest_join_ms have a gap between them."""
        parted = np.diff(samples.t, prepend=-(2**62)) > longest_join_ms
        return cls(samples.t, samples.value, parted)

    @classmethod
    def nothing(cls) -> Line:
        return cls(np.empty(0, np.int64), np.empty(0), np.empty(0, np.bool_))

    def __len__(self) -> int:
        return len(self.t)

    def between(self, start: int, end: int) -> Line:
        """The points with start <= t < end (UTC ms)."""
        first, last = np.searchsorted(self.t, (start, end))
        return self._slice(slice(int(first), int(last)))

    def _slice(self, rows: slice | Times) -> Line:
        return Line(self.t[rows], self.value[rows], self.parted[rows])

    def at(self, t: Times) -> Floats:
        """The line's value at each time, NaN in a gap and outside."""
        if not len(self):
            return np.full(len(t), np.nan)
        right = np.searchsorted(self.t, t)
        here = np.clip(right, 0, len(self) - 1)
        inside = (right > 0) & (right < len(self)) & ~self.parted[here]
        exact = (right < len(self)) & (self.t[here] == t)
        return np.where(inside | exact, np.interp(t, self.t, self.value), np.nan)

    def kept(self, rows: Times) -> Line:
        """Some of its points (ascending rows): where a gap lay anywhere between two of them, there is one still."""
        gaps = np.cumsum(self.parted)
        return Line(self.t[rows], self.value[rows], np.diff(gaps[rows], prepend=0) > 0)

    def through(self, t: Times, value: Floats) -> Line:
        """With points of its own at the times `t`, where `value` is known; both of a finer line that it was made of."""
        at = np.searchsorted(self.t, t)
        there = np.append(self.t, -1)[at] == t
        new = np.isfinite(value) & ~there
        if not np.any(new):
            return self
        at = at[new]
        return Line(
            np.insert(self.t, at, t[new]),
            np.insert(self.value, at, value[new]),
            np.insert(self.parted, at, False),
        )

    def held_to(self, at: int, longest_ms: int) -> Line:
        """Its last value once more at `at` (UTC ms), if it is no older than longest_ms."""
        if not len(self) or not 0 < at - int(self.t[-1]) <= longest_ms:
            return self
        return Line(
            np.append(self.t, at), np.append(self.value, self.value[-1]), np.append(self.parted, False)
        )


def end_to_end(lines: Iterable[Line]) -> Line:
    """Lines that follow one another, each point keeping the gap before it."""
    listed = list(lines)
    if not listed:
        return Line.nothing()
    return Line(
        np.concatenate([line.t for line in listed]),
        np.concatenate([line.value for line in listed]),
        np.concatenate([line.parted for line in listed]),
    )


def rolled(line: Line, step_ms: int) -> Line:
    """Of each stretch of step_ms the first, the last, the least and the greatest point: at most four.

    So a value between two stretches is still what it was, and rolling on by a multiple of step_ms loses nothing.
    """
    if not len(line):
        return line
    starts, least, greatest = _extremes(line, step_ms)
    last = np.append(starts[1:] - 1, len(line) - 1)
    return line.kept(_ascending(len(line), starts, last, least, greatest))


def drawn(line: Line, step_ms: int) -> Line:
    """Of each stretch the least and the greatest point, and those beside a gap: what a chart needs."""
    if not len(line):
        return line
    _, least, greatest = _extremes(line, step_ms)
    after = np.flatnonzero(line.parted)
    before = after[after > 0] - 1
    ends = np.array([0, len(line) - 1])
    # A line of many gaps in one stretch has no more points than it has after rolled().
    return line.kept(_ascending(len(line), least, greatest, after, before, ends))


def _ascending(count: int, *rows: Times) -> Times:
    """Each of these rows of so many once, in their order."""
    marked = np.zeros(count, np.bool_)
    for some in rows:
        marked[some] = True
    return np.flatnonzero(marked)


def _extremes(line: Line, step_ms: int) -> tuple[Times, Times, Times]:
    """Rows of each stretch's first point, and of its least and greatest one; of equals the first."""
    stretch = line.t // step_ms
    starts = np.flatnonzero(np.diff(stretch, prepend=stretch[0] - 1))
    rising = np.lexsort((line.value, stretch))
    falling = np.lexsort((-line.value, stretch))
    return starts, rising[starts], falling[starts]
