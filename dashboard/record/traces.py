"""What a record's chart draws: the panel's whole life, thinned."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dashboard.course import PanelCourse
from dashboard.film import first_minute
from dashboard.record.results import Three, Traces
from model.blocks import MINUTE_MS, Blocks, Floats

MOST_POINTS = 480
LEAST_STEP_MIN = 10


def traces(oldest: PanelCourse, coats: Sequence[PanelCourse | None]) -> Traces:
    """From the oldest coat's start to the end of what is known."""
    history = oldest.history
    step = max(LEAST_STEP_MIN, -(-len(history) // MOST_POINTS))
    minutes = np.arange(0, len(history), step)
    t = history.start + minutes * MINUTE_MS
    return Traces(
        step_min=step,
        t=tuple(int(at) for at in t),
        panel_C=_seen(history.central, history.measured, minutes),
        air_C=_air(oldest.air, t),
        dew_point_C=_dew(oldest, t),
        conversion=tuple(_conversion(course, t) for course in coats),
    )


def _seen(values: Floats, known: np.ndarray, rows: np.ndarray) -> tuple[float | None, ...]:
    return tuple(
        round(float(value), 2) if so else None for value, so in zip(values[rows], known[rows], strict=True)
    )


def _air(air: Blocks | None, t: np.ndarray) -> tuple[float | None, ...]:
    if air is None or not len(air):
        return (None,) * len(t)
    return _inside(air.central, air.measured, (t - air.start) // MINUTE_MS)


def _dew(oldest: PanelCourse, t: np.ndarray) -> tuple[float | None, ...]:
    if not len(oldest.dew):
        return (None,) * len(t)
    row = (t - first_minute(oldest.newest)) // MINUTE_MS
    return _inside(oldest.dew, np.isfinite(oldest.dew), row)


def _inside(values: Floats, known: np.ndarray, rows: np.ndarray) -> tuple[float | None, ...]:
    """None for rows that there are not."""
    there = (rows >= 0) & (rows < len(values))
    seen = _seen(values, known, np.clip(rows, 0, len(values) - 1))
    return tuple(value if so else None for value, so in zip(seen, there, strict=True))


def _conversion(course: PanelCourse | None, t: np.ndarray) -> tuple[Three | None, ...]:
    if course is None:
        return (None,) * len(t)
    newest = course.newest
    found = newest.paths["central"].conversion_quantiles(t, weights=newest.learned.weights.likely)
    begun = newest.paths["central"].start_ms
    return tuple(
        (round(float(low), 4), round(float(middle), 4), round(float(high), 4)) if at >= begun else None
        for at, (low, middle, high) in zip(t.tolist(), found, strict=True)
    )
