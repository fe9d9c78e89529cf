"""The hours to come of one panel, as watch stores them, for Tonight and the evening round to read."""

from __future__ import annotations

import numpy as np

from dashboard.assessment import Night
from dashboard.facts import Facts
from dashboard.follow import Trace
from dashboard.outlooks import dew_outlook, panel_outlook, panel_samples
from model.blocks import MINUTE_MS, Blocks, Bools
from model.blush import AIR_ONLY_K
from model.forecast import EIGHTY_PC_HALF_WIDTHS
from model.mix_now import LEAST_MARGIN_K
from model.verdict import Say

AHEAD_H = 26
"""From any hour of the evening round to the end of the next morning, and an hour to spare."""
QUARTER_MIN = 15
LASTING_MIN = 60
"""A dip below the card's minimum that is shorter than this makes no cold night."""


def bare_night(facts: Facts, trace: Trace, at: int) -> Night:
    """Of a panel without a coat, whose probe is heard at `at` (UTC ms)."""
    ahead, source = panel_outlook(facts, panel_samples(facts, trace, at), at)
    return night_of(facts, ahead, None, source)


def night_of(facts: Facts, ahead: Blocks, minimum_C: float | None, source: Say | None) -> Night:
    """From the panel's outlook, whose first minute is now. minimum_C: the card's, degC; None: no card yet."""
    minutes = min(AHEAD_H * 60, len(ahead))
    likely, half = ahead.central[:minutes], EIGHTY_PC_HALF_WIDTHS * ahead.spread[:minutes]
    quarters = slice(0, minutes, QUARTER_MIN)
    dew = dew_outlook(facts, ahead.start, AHEAD_H)
    point = dew.central[:minutes] if dew is not None else None
    off = AIR_ONLY_K if facts.surface is None else 0.0
    closes = {
        side: None if point is None else _first(ahead.start, ~(panel - off - point >= LEAST_MARGIN_K))
        for side, panel in (("by", likely - half), ("at", likely))
    }
    return Night(
        t=tuple(range(ahead.start, ahead.start + minutes * MINUTE_MS, QUARTER_MIN * MINUTE_MS)),
        likely_C=_two(likely[quarters]),
        low_C=_two((likely - half)[quarters]),
        high_C=_two((likely + half)[quarters]),
        dew_point_C=() if point is None else _two(point[quarters]),
        margin_K=LEAST_MARGIN_K,
        cold_at=None if minimum_C is None else _first(ahead.start, _lasting(likely < minimum_C)),
        closes_by=closes["by"],
        closes_at=closes["at"],
        source=source,
    )


def _lasting(so: Bools) -> Bools:
    """Where it goes on being so for LASTING_MIN minutes, or to the end of what is known."""
    ends = np.append(np.flatnonzero(~so), len(so))
    minute = np.arange(len(so))
    left = ends[np.searchsorted(ends, minute)] - minute
    return np.asarray(so & (left >= np.minimum(LASTING_MIN, len(so) - minute)))


def _first(start: int, so: Bools) -> int | None:
    """The first minute in which it is so, UTC ms."""
    there = np.flatnonzero(so)
    return start + int(there[0]) * MINUTE_MS if len(there) else None


def _two(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float, ...]:
    return tuple(round(float(value), 2) for value in values)
