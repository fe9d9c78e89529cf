"""What was measured, as a temperature history: linear between close samples, bounded in gaps, never guessed.

Times are UTC ms. The same readings give the same bits in whatever order, and however often, they arrived;
and a minute's mean depends only on the samples in it and its two neighbours, so any later window gives it
again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.blocks import MINUTE_MS, Blocks, Bools, Floats

Times = NDArray[np.int64]

HOUR_MS = 3_600_000
GAP_INTERVALS = 5
COLDEST_C, HOTTEST_C = -40.0, 80.0
"""No gap, however long, lets a panel in a shed have been colder or hotter than this."""
LONGEST_JOIN_MS = 15 * MINUTE_MS
"""Two samples further apart than GAP_INTERVALS of the probe's intervals, or than this, leave a gap."""


@dataclass(frozen=True, eq=False)
class Samples:
    """Good readings of one quantity. t int64 (n,), UTC ms, strictly increasing; value float64 (n,), finite.

    Raises ValueError for anything else; of() takes readings as they come.
    """

    t: Times
    value: Floats

    def __post_init__(self) -> None:
        if self.t.dtype != np.int64 or self.value.dtype != np.float64:
            raise ValueError(
                f"samples need int64 times and float64 values, not {self.t.dtype}, {self.value.dtype}"
            )
        if self.t.ndim != 1 or self.t.shape != self.value.shape:
            raise ValueError(
                f"times {self.t.shape} and values {self.value.shape} must be two lists of one length"
            )
        if np.any(np.diff(self.t) <= 0):
            raise ValueError("times must strictly increase; Samples.of() sorts and drops duplicates")
        if not np.all(np.isfinite(self.value)):
            raise ValueError("values must be finite; leave out readings that are not usable")

    def __len__(self) -> int:
        return len(self.t)

    @classmethod
    def of(cls, t: Times | list[int], value: Floats | list[float]) -> Samples:
        """From readings in any order with repeats. Different values at one time give the middle of the
        extremes.

        t (n,) UTC ms, value (n,). Raises ValueError for different lengths or values that are not finite.
        """
        times = np.asarray(t, dtype=np.int64)
        values = np.asarray(value, dtype=np.float64) + 0.0  # -0.0 and 0.0 are equal but not the same bits
        if times.ndim != 1 or times.shape != values.shape:
            raise ValueError(f"times {times.shape} and values {values.shape} must be two lists of one length")
        order = np.lexsort((values, times))
        times, values = times[order], values[order]
        if len(times) == 0:
            return cls(times, values)
        fresh = np.diff(times) != 0
        first = np.flatnonzero(np.concatenate([[True], fresh]))
        last = np.flatnonzero(np.concatenate([fresh, [True]]))
        return cls(times[first], 0.5 * values[first] + 0.5 * values[last])


def longest_join_ms(interval_s: float) -> int:
    """The longest time between two samples that is still no gap, ms: five intervals, at most 15 minutes.

    A logger slower than that is joined over one and a half of its own intervals: else it would be all gap.
    """
    if not interval_s > 0:
        raise ValueError(f"interval {interval_s!r} s: a probe's interval must be above 0")
    return int(max(min(GAP_INTERVALS * 1000.0 * interval_s, LONGEST_JOIN_MS), 1500.0 * interval_s))


def gaps(samples: Samples, interval_s: float, start: int, end: int) -> list[tuple[int, int]]:
    """Where [start, end] was not measured: (from, to) in UTC ms, in order, cut to the window.

    A gap lies between two good samples further apart than longest_join_ms(), or between an end of the
    window and the only neighbour if that is further away. Samples outside the window count as neighbours.
    Without any sample the whole window is one gap. Raises ValueError for an interval that is not above 0 or
    a window that ends before it starts.
    """
    limit = longest_join_ms(interval_s)
    _check_window(start, end)
    if len(samples) == 0:
        return [(start, end)] if end > start else []
    t, _ = _around(samples, start, end)
    first, last = t[:-1], t[1:]
    inside = (last - first > limit) & (first < end) & (last > start)
    return [(max(int(a), start), min(int(b), end)) for a, b in zip(first[inside], last[inside], strict=True)]


def minute_blocks(samples: Samples, interval_s: float, start: int, end: int, widening_K_h: float) -> Blocks:
    """The exact mean of the history in every whole UTC minute from floor(start) to floor(end).

    Between close samples the history is linear and cold = central = hot. In a gap central is interpolated
    (held where there is one neighbour only), and cold and hot are all that a panel can reach and return
    from if it moves no faster than widening_K_h, or twice the slope between the two neighbours where that
    is more: a gap is never a straight line. If no two samples differ by more than half of widening_K_h, a
    wider gap never narrows the bounds. A minute touched by a gap is not measured. Hand in the sample before
    `start` too, if there is one.

    Raises ValueError without a sample, for a window that ends before it starts, or for a negative widening.
    """
    if not widening_K_h >= 0:
        raise ValueError(f"widening {widening_K_h!r} K/h: it must not be below 0")
    lo, hi = start // MINUTE_MS * MINUTE_MS, end // MINUTE_MS * MINUTE_MS
    _check_window(start, end)
    if len(samples) == 0:
        raise ValueError("no sample at all: nothing bounds the temperature, so it is not known")
    edges = np.arange(lo, hi + 1, MINUTE_MS, dtype=np.int64)
    cold, central, hot = (
        _minute_means(t, value, edges)
        for t, value in _three_paths(samples, longest_join_ms(interval_s), lo, hi, widening_K_h)
    )
    return Blocks(
        start=lo,
        cold=cold,
        central=central,
        hot=hot,
        measured=_measured(gaps(samples, interval_s, lo, hi), lo, len(edges) - 1),
        spread=np.zeros(len(edges) - 1),
    )


def lagged(samples_air: Samples, tau_s: float, begin_C: float | None = None) -> Samples:
    """Panel temperature at the air samples' times, through a first-order lag of time constant tau_s.

    dT/dt = (T_air - T)/tau, solved exactly for air that is linear between samples, from a panel that starts
    at begin_C, degC, or, if that is None, at the temperature of the first air sample: what was unknown then fades as
    exp(-t/tau). tau_s = 0 gives the air back. Raises ValueError for a tau_s below 0.
    """
    if not tau_s >= 0:
        raise ValueError(f"time constant {tau_s!r} s: it must not be below 0")
    if tau_s == 0 or not len(samples_air):
        return samples_air
    x = np.diff(samples_air.t) / (1000.0 * tau_s)
    approach = -np.expm1(-x)
    air = samples_air.value
    carried = np.diff(air) * (1.0 - approach / x)
    panel = [float(air[0]) if begin_C is None else begin_C]
    for share, outside, rise in zip(approach.tolist(), air[:-1].tolist(), carried.tolist(), strict=True):
        panel.append(panel[-1] + share * (outside - panel[-1]) + rise)
    return Samples(samples_air.t, np.array(panel))


def _check_window(start: int, end: int) -> None:
    if end < start:
        raise ValueError(f"the window ends at {end}, before it starts at {start} (UTC ms)")


def _around(samples: Samples, lo: int, hi: int) -> tuple[Times, Floats]:
    """The samples that decide [lo, hi]: those inside, the neighbour on each side, or else the end held
    constant.
    """
    first = max(int(np.searchsorted(samples.t, lo, "right")) - 1, 0)
    last = int(np.searchsorted(samples.t, hi, "left")) + 1
    t, value = samples.t[first:last], samples.value[first:last]
    if t[0] > lo:
        t, value = np.insert(t, 0, lo), np.insert(value, 0, value[0])
    if t[-1] < hi:
        t, value = np.append(t, hi), np.append(value, value[-1])
    return t, value


def _three_paths(
    samples: Samples, limit_ms: int, lo: int, hi: int, widening_K_h: float
) -> tuple[tuple[Times, Floats], tuple[Times, Floats], tuple[Times, Floats]]:
    """Cold, central and hot as knots of piecewise-linear histories that cover [lo, hi]."""
    t, value = _around(samples, lo, hi)
    return (
        _bound(samples, t, value, limit_ms, widening_K_h, -1.0),
        (t, value),
        _bound(samples, t, value, limit_ms, widening_K_h, 1.0),
    )


def _bound(
    samples: Samples, t: Times, value: Floats, limit_ms: int, widening_K_h: float, side: float
) -> tuple[Times, Floats]:
    """One bound of the history as knots; side -1 is cold, +1 hot.

    Inside a gap the bound runs from each neighbour at the rate and turns where the two lines meet. The turn
    falls on the nearest whole ms, which moves the bound by less than the rate times 1 ms.
    """
    edge = value.copy()
    open_ = np.diff(t) > limit_ms
    per_ms = widening_K_h / HOUR_MS
    if len(t) > 1 and t[0] < samples.t[0] and open_[0]:
        edge[0] += side * per_ms * (t[1] - t[0])
        open_[0] = False
    if len(t) > 1 and t[-1] > samples.t[-1] and open_[-1]:
        edge[-1] += side * per_ms * (t[-1] - t[-2])
        open_[-1] = False
    at = np.flatnonzero(open_)
    length, rise = t[at + 1] - t[at], value[at + 1] - value[at]
    rate = np.maximum(per_ms, 2.0 * np.abs(rise) / length)
    shift = np.divide(side * rise, 2.0 * rate, out=np.zeros_like(rise), where=rate > 0.0)
    turn = np.rint(0.5 * length + shift).astype(np.int64)
    reach = _possible(value[at] + side * rate * turn, value[at], value[at + 1])
    edge = _possible(edge, value, value)
    return np.insert(t, at + 1, t[at] + turn), np.insert(edge, at + 1, reach)


def _possible(bound: Floats, one: Floats, other: Floats) -> Floats:
    """The bound of a gap of many days, kept where panels can be, unless they were measured beyond."""
    low, high = np.minimum(one, other), np.maximum(one, other)
    return np.clip(bound, np.minimum(low, COLDEST_C), np.maximum(high, HOTTEST_C))


def _minute_means(t: Times, value: Floats, edges: Times) -> Floats:
    """Mean of the piecewise-linear history with knots (t, value) between each two edges."""
    if len(edges) < 2:
        return np.zeros(0)
    inner = t[(t > edges[0]) & (t < edges[-1])]
    grid = np.sort(np.concatenate([edges, inner]), kind="stable")  # two sorted runs: merged in one pass
    grid = grid[np.concatenate([[True], grid[1:] != grid[:-1]])]
    left = np.clip(np.searchsorted(t, grid, "right") - 1, 0, len(t) - 2)
    share = (grid - t[left]) / (t[left + 1] - t[left])
    there = value[left] + (value[left + 1] - value[left]) * share
    there = np.where(grid == t[left + 1], value[left + 1], there)
    area = 0.5 * (there[1:] + there[:-1]) * np.diff(grid)
    return np.add.reduceat(area, np.searchsorted(grid, edges[:-1])) / MINUTE_MS


def _measured(holes: list[tuple[int, int]], lo: int, minutes: int) -> Bools:
    """True for the minutes no gap touches."""
    measured = np.ones(minutes, dtype=np.bool_)
    for first, last in holes:
        measured[(first - lo) // MINUTE_MS : -((lo - last) // MINUTE_MS)] = False
    return measured
