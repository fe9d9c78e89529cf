"""How one probe answers another: over a window with its slow course taken off, whatever level they stand at.

A laminate answers its air late and little; a probe that hangs in the air answers it at once and whole. The slow
course (a parabola over the window) is taken off because on a long slope everything follows everything.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from collector.suspicion.grid import Floats

WINDOW = 21
"""Bins: 42 minutes, so that what begins now is found within the hour."""
NOISE_K2 = 0.0028
"""Variance of one reading of a cheap thermometer (noise 0.05 K, digit 1/16 K)."""


@dataclass(frozen=True)
class Response:
    """For the window that ends with each bin; NaN where it has a gap.

    lively, answer   root mean square of the reference and of the probe, K, noise taken off
    gain             by how much the probe moves when the reference moves by 1, at once
    apart            0: they move as one; 1: they have nothing in common
    """

    lively: Floats
    answer: Floats
    gain: Floats
    apart: Floats


@cache
def _slow(window: int) -> Floats:
    return np.linalg.qr(np.vander(np.linspace(-1.0, 1.0, window), 3))[0]


def quick(value: Floats, window: int = WINDOW) -> Floats:
    """(windows, window): each window without its slow course."""
    slow = _slow(window)
    views = sliding_window_view(value, window)
    return np.asarray(views - (views @ slow) @ slow.T)


def respond(probe: Floats, reference: Floats, noise: float, window: int = WINDOW) -> Response:
    """noise: variance of one bin's mean, of either."""
    if len(probe) < window:
        nothing = np.full(len(probe), np.nan)
        return Response(nothing, nothing, nothing, nothing)
    x, y = quick(reference, window), quick(probe, window)
    free = window - 3
    xx, yy, xy = ((a * b).sum(1) / free for a, b in ((x, x), (y, y), (x, y)))
    both = ((y - x) ** 2).sum(1) / free
    lively, answer = np.maximum(xx - noise, 1e-6), np.maximum(yy - noise, 0.0)
    found = (
        np.sqrt(lively),
        np.sqrt(answer),
        xy / lively,
        np.maximum(both - 2 * noise, 0.0) / (lively + answer),
    )
    lead = np.full(window - 1, np.nan)
    return Response(*(np.concatenate([lead, part]) for part in found))
