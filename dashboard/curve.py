"""The traces of a panel's chart, thinned to one value in ten minutes."""

from __future__ import annotations

import numpy as np

from dashboard.assessment import Curve
from dashboard.course import PanelCourse
from model.blocks import Blocks, Floats
from model.coat import HOUR_MS, Course
from model.members import quantile
from model.resin_card import Milestone

STEP_MS = 10 * 60_000
AFTER_H = 1.0
LEAST_AHEAD_H, MOST_AHEAD_H = 6.0, 24.0
"""A longer outlook would press the night that was measured into a corner of the chart."""
UNKNOWN_AHEAD_H = 12.0


def curve(followed: PanelCourse, known: bool) -> Curve:
    """From the newest coat's start to an hour past the safe end of sanding, but at most a day ahead.

    Not `known`: the probe is silent, so the traces end with its last reading.
    """
    newest = followed.newest
    central = newest.paths["central"]
    at = followed.at
    t = _times(followed, known)
    rows = np.searchsorted(central.t_ms, t, "right") - 1
    low, high = newest.paths.get("cold", central), newest.paths.get("hot", central)
    past = t <= at
    minute = np.clip((t - followed.history.start) // 60_000, 0, max(len(followed.history) - 1, 0))
    measured = past & _taken(followed.history.measured, minute)
    dew_row = np.clip(rows, 0, max(len(followed.dew) - 1, 0))
    return Curve(
        t=tuple(int(value) for value in t),
        conversion_low=_numbers(_conversion(low, rows, 0.1)),
        conversion=_numbers(_conversion(central, rows, 0.5)),
        conversion_high=_numbers(_conversion(high, rows, 0.9)),
        glass_transition_C=_numbers(_transition(newest.middle, rows), 1),
        panel_C=_optional(_taken(followed.history.central, minute), measured),
        air_C=_air(followed.air, t, past),
        dew_point_C=_optional(
            _taken(followed.dew, dew_row), past & np.isfinite(_taken(followed.dew, dew_row))
        ),
        outlook_C=_optional(central.panel_C[np.maximum(rows, 0)], ~past),
    )


def _times(followed: PanelCourse, known: bool) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """A grid from the coat's start over now to the chart's end, with both of them on it."""
    at = followed.at
    central = followed.newest.paths["central"]
    safe = followed.newest.passings[Milestone.SAND].safe
    ahead = UNKNOWN_AHEAD_H * HOUR_MS if safe is None else safe - at + AFTER_H * HOUR_MS
    ahead = min(max(ahead, LEAST_AHEAD_H * HOUR_MS), MOST_AHEAD_H * HOUR_MS)
    end = min(at + round(ahead), int(central.t_ms[-1])) if known else at
    first = -(-central.start_ms // STEP_MS) * STEP_MS
    grid = np.arange(first, end + 1, STEP_MS, dtype=np.int64)
    return np.unique(np.concatenate([[central.start_ms], grid, [at]]))


def _conversion(course: Course, rows: np.ndarray[tuple[int], np.dtype[np.int64]], q: float) -> Floats:
    answer = quantile(course.conversion[np.maximum(rows, 0)], q)
    answer[rows < 0] = 0.0
    return answer


def _transition(course: Course, rows: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Floats:
    return course.calibration.glass_transition(course.conversion[np.maximum(rows, 0)])[:, 0]


def _air(
    air: Blocks | None,
    t: np.ndarray[tuple[int], np.dtype[np.int64]],
    past: np.ndarray[tuple[int], np.dtype[np.bool_]],
) -> tuple[float | None, ...]:
    if air is None or not len(air):
        return (None,) * len(t)
    minute = (t - air.start) // 60_000
    inside = past & (minute >= 0) & (minute <= len(air))
    minute = np.clip(minute, 0, len(air) - 1)
    return _optional(air.central[minute], inside & air.measured[minute])


def _taken(values: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """values[rows], or "nothing" in their type where there are no values at all."""
    if len(values):
        return np.asarray(values[rows])
    return np.full(len(rows), np.nan) if values.dtype == np.float64 else np.zeros(len(rows), values.dtype)


def _numbers(values: Floats, digits: int = 4) -> tuple[float, ...]:
    return tuple(round(float(value), digits) for value in values)


def _optional(values: Floats, known: np.ndarray) -> tuple[float | None, ...]:
    return tuple(
        round(float(value), 2) if there else None for value, there in zip(values, known, strict=True)
    )
