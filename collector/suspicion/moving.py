"""Means, slopes and spreads over the last bins, by sliding windows; NaN where a window has a gap or is not full yet.

`back`: how many bins before the present one the window ends.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from collector.suspicion.grid import Floats


def mean(value: Floats, n: int, back: int = 0) -> Floats:
    """By shifted sums: most windows here are short."""
    out = np.full(len(value), np.nan)
    first, size = n - 1 + back, len(value) - (n - 1 + back)
    if size > 0:
        total = value[:size].copy()
        for i in range(1, n):
            total += value[i : i + size]
        out[first:] = total / n
    return out


def spread(value: Floats, n: int) -> Floats:
    """Standard deviation."""
    return _placed(value, n, 0, lambda windows: windows.std(1))


def lowest(value: Floats, n: int, back: int = 0) -> Floats:
    return _placed(value, n, back, lambda windows: windows.min(1))


def highest(value: Floats, n: int, back: int = 0) -> Floats:
    return _placed(value, n, back, lambda windows: windows.max(1))


def climb(value: Floats, n: int) -> Floats:
    """By how much a straight line through the window climbs from its first to its last bin."""
    t = np.arange(n) - (n - 1) / 2
    return _placed(value, n, 0, lambda windows: windows @ t / (t @ t) * (n - 1))


def _placed(value: Floats, n: int, back: int, of: Callable[[Floats], Floats]) -> Floats:
    out = np.full(len(value), np.nan)
    if len(value) >= n + back:
        out[n - 1 + back :] = of(sliding_window_view(value, n))[: len(value) - (n - 1 + back)]
    return out
