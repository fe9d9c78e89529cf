"""The traces of a panel's chart, thinned to one value in ten minutes, in twenty past a week, and so on."""

from __future__ import annotations

import numpy as np

from dashboard.assessment import Curve
from dashboard.course import PanelCourse
from dashboard.settled import Columns
from model.blocks import Blocks, Floats
from model.coat import HOUR_MS, Course
from model.history import Times
from model.members import quantile
from model.resin_card import Milestone

STEP_MS = 10 * 60_000
MOST_STEPS = 7 * 24 * 6
"""A longer life is drawn in steps twice as long, and so on: else an answer would grow without end."""
AFTER_H = 1.0
LEAST_AHEAD_H, MOST_AHEAD_H = 6.0, 24.0
"""A longer outlook would press the night that was measured into a corner of the chart."""
UNKNOWN_AHEAD_H = 12.0
_TRACES = 7
_OF_ROWS = [0, 1, 2, 3, 6]
"""Traces that say what the minute before has led to; the others what the minute that begins is like."""


def curve(followed: PanelCourse, known: bool) -> Curve:
    """From the newest coat's start to an hour past the safe end of sanding, but at most a day ahead.

    Not `known`: the probe is silent, so the traces end with its last reading.
    """
    since = followed.begin if followed.settled is None else followed.settled.until
    t = _times(followed, since, _end(followed, known))
    settled = _settled(followed)
    whole = np.concatenate([settled.values, _columns(followed, t)], axis=1)
    low, middle, high, transition, panel, air, dew = whole
    central = followed.newest.paths["central"]
    rows = np.maximum(np.searchsorted(central.t_ms, t, "right") - 1, 0)
    ahead = np.where(t > followed.at, central.panel_C[rows], np.nan)
    return Curve(
        t=tuple(int(value) for value in (*settled.t, *t)),
        conversion_low=_numbers(low),
        conversion=_numbers(middle),
        conversion_high=_numbers(high),
        glass_transition_C=_numbers(transition, 1),
        panel_C=_optional(panel),
        air_C=_optional(air),
        dew_point_C=_optional(dew),
        outlook_C=_optional(np.concatenate([np.full(len(settled.t), np.nan), ahead])),
    )


def settled_columns(followed: PanelCourse, until: int) -> Columns:
    """Of the times before `until` (UTC ms), a full hour that lies behind."""
    before = _settled(followed)
    since = followed.begin if followed.settled is None else followed.settled.until
    t = _times(followed, since, until - 1)
    t = t[t < until]
    values = np.concatenate([before.values, _columns(followed, t)], axis=1)
    at_hour = _columns(followed, np.array([until], dtype=np.int64))[:, 0]
    return Columns(np.concatenate([before.t, t]), values, at_hour)


def _settled(followed: PanelCourse) -> Columns:
    """What is settled of the chart, in the step of now."""
    if followed.settled is None:
        return Columns(np.empty(0, dtype=np.int64), np.empty((_TRACES, 0)), np.empty(_TRACES))
    start, chart = followed.newest.paths["central"].start_ms, followed.settled.chart
    kept = (chart.t == start) | (chart.t % _step(followed) == 0)
    return Columns(chart.t[kept], chart.values[:, kept], chart.at_hour)


def _step(followed: PanelCourse) -> int:
    life, step = followed.at - followed.newest.paths["central"].start_ms, STEP_MS
    while life > MOST_STEPS * step:
        step *= 2
    return step


def _end(followed: PanelCourse, known: bool) -> int:
    at = followed.at
    safe = followed.newest.passings[Milestone.SAND].safe
    ahead = UNKNOWN_AHEAD_H * HOUR_MS if safe is None else safe - at + AFTER_H * HOUR_MS
    ahead = min(max(ahead, LEAST_AHEAD_H * HOUR_MS), MOST_AHEAD_H * HOUR_MS)
    return min(at + round(ahead), int(followed.newest.paths["central"].t_ms[-1])) if known else at


def _times(followed: PanelCourse, since: int, end: int) -> Times:
    """A grid from `since` or the coat's start on to `end`, with the start and now on it."""
    start, step = followed.newest.paths["central"].start_ms, _step(followed)
    first = -(-max(start, since) // step) * step
    grid = np.arange(first, end + 1, step, dtype=np.int64)
    also = [at for at in (start, followed.at) if since <= at]
    return np.unique(np.concatenate([np.array(also, dtype=np.int64), grid]))


def _columns(followed: PanelCourse, t: Times) -> Floats:
    """The traces at these times, (7, n): conversion of the slow end, the middle and the quick end, glass transition,
    panel, air, dew point; NaN where there is none.
    """
    newest, history = followed.newest, followed.history
    central = newest.paths["central"]
    if not len(central):
        return np.full((_TRACES, len(t)), np.nan)
    rows = np.searchsorted(central.t_ms, t, "right") - 1
    conversion = {path: _conversion(course, rows) for path, course in newest.paths.items()}
    past = t <= followed.at
    minute = np.clip((t - history.start) // 60_000, 0, max(len(history) - 1, 0))
    measured = past & _taken(history.measured, minute)
    dew = _taken(followed.dew, np.clip(rows, 0, max(len(followed.dew) - 1, 0)))
    found = np.stack(
        [
            conversion.get("cold", conversion["central"])[:, 0],
            conversion["central"][:, 1],
            conversion.get("hot", conversion["central"])[:, 2],
            _transition(newest.middle, rows),
            np.where(measured, _taken(history.central, minute), np.nan),
            _air(followed.air, t, past),
            np.where(past, dew, np.nan),
        ]
    )
    if followed.settled is not None and len(t) and t[0] == followed.settled.until:
        found[_OF_ROWS, 0] = followed.settled.chart.at_hour[_OF_ROWS]
    return found


def _conversion(course: Course, rows: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Floats:
    """Of the slow end, the middle and the quick end, (n, 3)."""
    answer = quantile(course.conversion[np.maximum(rows, 0)], (0.1, 0.5, 0.9))
    answer[rows < 0] = 0.0
    return answer


def _transition(course: Course, rows: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Floats:
    return course.calibration.glass_transition(course.conversion[np.maximum(rows, 0)])[:, 0]


def _air(air: Blocks | None, t: Times, past: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Floats:
    if air is None or not len(air):
        return np.full(len(t), np.nan)
    minute = (t - air.start) // 60_000
    inside = past & (minute >= 0) & (minute <= len(air))
    minute = np.clip(minute, 0, len(air) - 1)
    return np.where(inside & air.measured[minute], air.central[minute], np.nan)


def _taken(values: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """values[rows], or "nothing" in their type where there are no values at all."""
    if len(values):
        return np.asarray(values[rows])
    return np.full(len(rows), np.nan) if values.dtype == np.float64 else np.zeros(len(rows), values.dtype)


def _numbers(values: Floats, digits: int = 4) -> tuple[float, ...]:
    return tuple(round(float(value), digits) for value in values)


def _optional(values: Floats) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(value) else round(float(value), 2) for value in values)
