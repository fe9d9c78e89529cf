"""How much a course trembles within minutes. Air does; a laminate smooths that away."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from collector.suspicion.finding import HOUR_BINS, Bools, held, usual
from collector.suspicion.grid import Floats

LEAST_K = 0.004
"""Added to a roughness: less is the rounding of the mean."""
TO_DEVIATION = 0.6745
"""Median of the size of a normal deviate."""
STRIDE = 3
"""Bins: what a course does within six minutes is its tremble."""
CALM_BINS, CALM_FOR, CALM = 30, 20, 0.5
"""A laminate trembles at most so much against its air, for so many bins on end."""
AS_USUAL = 1.2


def roughness(value: Floats, bins: int, stride: int = 2) -> Floats:
    """How far a value stands from the middle between those so many bins before and after it: the standard deviation
    of that over a window of so many, by medians, so that neither a corner nor an even bend counts. Not to be written
    to: the same series is asked for again and again within one look."""
    return _roughness(value.tobytes(), bins, stride)


@lru_cache(maxsize=256)
def _roughness(series: bytes, bins: int, stride: int) -> Floats:
    value = np.frombuffer(series)
    bend = np.full(len(value), np.nan)
    if len(value) > 2 * stride:
        bend[2 * stride :] = value[stride:-stride] - (value[: -2 * stride] + value[2 * stride :]) / 2
    out = np.full(len(value), np.nan)
    if len(value) >= bins:
        bends = sliding_window_view(bend, bins)
        away = np.abs(bends - np.median(bends, axis=1, keepdims=True))
        out[bins - 1 :] = np.median(away, axis=1) / TO_DEVIATION
    out.setflags(write=False)
    return out


def tremble(value: Floats, bins: int) -> Floats:
    """Roughness over so many bins, K; never less than the rounding of the mean."""
    return roughness(value, bins, STRIDE) + LEAST_K


def lies_still(surface: Floats, air: Floats) -> Bools:
    """For most of an hour the probe has been as calm, beside its air, as only one that lies on a panel is."""
    return held(tremble(surface, CALM_BINS) < CALM * tremble(air, CALM_BINS), CALM_FOR)


def as_it_used(surface: Floats, air: Floats) -> Bools:
    """The same, or as calm beside its air as it used to be: a thin skin never lies still."""
    to_air = tremble(surface, CALM_BINS) / tremble(air, CALM_BINS)
    used = AS_USUAL * usual(to_air, 0.5, least=6, since=HOUR_BINS + CALM_BINS // 2)
    return held(to_air < np.fmax(CALM, used), CALM_FOR)
