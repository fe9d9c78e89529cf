"""The night as a drawing made here, without scripts: range, likely course, card's minimum, dew point, milestones.

Numbers are on a plane of WIDTH by HEIGHT; the page scales it. The table holds the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from dashboard.asked import night_end
from dashboard.assessment import Assessment, Night
from dashboard.display import HOUR, UNITS, View
from dashboard.suppose import ASKED as DRAWN
from dashboard.suppose import IfSo
from dashboard.tonight import is_past, passing
from dashboard.words import LABELS
from model.blocks import MINUTE_MS
from model.resin_card import CLOSING

WIDTH, HEIGHT = 360.0, 236.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 354.0, 46.0, 212.0
BEHIND_MS = 3 * HOUR
NEAR_K = 8.0
"""The card's minimum and the dew point are drawn if they lie no further than this from the panel's range."""
ROWS_Y = (12.0, 25.0, 38.0)
NAME_WIDTH = 62.0

Point = tuple[int, float]


@dataclass(frozen=True)
class Name:
    """A word at a place; anchor "start", "middle" or "end"."""

    x: float
    y: float
    text: str
    anchor: str = "start"


@dataclass(frozen=True)
class Upright:
    """A milestone: a line from its word down to the axis."""

    x: float
    y: float


@dataclass(frozen=True)
class Chart:
    """All parts; lines are SVG point lists, "" where there is none."""

    range: str
    likely: str
    measured: str
    dew: str
    supposed: str
    minimum_y: float | None
    minimum_text: str
    now_x: float
    uprights: tuple[Upright, ...]
    names: tuple[Name, ...]
    hours: tuple[Name, ...]
    degrees: tuple[Name, ...]
    unit: Name


@dataclass(frozen=True)
class Row:
    """One hour as text; supposed "" where nothing is supposed."""

    clock: str
    likely: str
    low: str
    high: str
    dew: str
    supposed: str


@dataclass(frozen=True)
class _Plane:
    start: int
    end: int
    low: float
    high: float

    def x(self, at: int) -> float:
        return LEFT + (at - self.start) / (self.end - self.start) * (RIGHT - LEFT)

    def y(self, celsius: float) -> float:
        return BOTTOM - (celsius - self.low) / (self.high - self.low) * (BOTTOM - TOP)

    def line(self, points: Iterable[Point]) -> str:
        return " ".join(f"{self.x(at):.1f},{self.y(value):.1f}" for at, value in points)


def chart(item: Assessment, view: View, supposed: IfSo | None = None) -> Chart | None:
    """None where there is no outlook. With something supposed, the milestones are those of that."""
    night = item.night
    if night is None or len(night.t) < 2:
        return None
    shown = [i for i, at in enumerate(night.t) if at <= night_end(view)]
    if len(shown) < 2:
        return None
    measured = _measured(item, night)
    warmed = _supposed(night, supposed, shown)
    plane = _plane(item, night, shown, measured, warmed)
    dew = [(night.t[i], night.dew_point_C[i]) for i in shown if night.dew_point_C]
    dew = [point for point in dew if plane.low <= point[1] <= plane.high]
    low, high = ([(night.t[i], of[i]) for i in shown] for of in (night.low_C, night.high_C))
    minimum = item.minimum_C
    drawn = minimum is not None and plane.low < minimum < plane.high
    uprights, names = _milestones(item, supposed, plane)
    text = ""
    if minimum is not None and drawn:
        text = LABELS["card_minimum"].format(value=f"{view.scale(minimum):.0f}")
    return Chart(
        range=plane.line([*high, *reversed(low)]),
        likely=plane.line((night.t[i], night.likely_C[i]) for i in shown),
        measured=plane.line(measured),
        dew=plane.line(dew) if len(dew) > 1 else "",
        supposed=plane.line(warmed),
        minimum_y=plane.y(minimum) if minimum is not None and drawn else None,
        minimum_text=text,
        now_x=plane.x(item.at),
        uprights=tuple(uprights),
        names=tuple(names),
        hours=tuple(_hours(plane, view)),
        degrees=tuple(_degrees(plane, view)),
        unit=Name(LEFT - 5.0, TOP - 11.0, UNITS[view.unit], "end"),
    )


def table(item: Assessment, view: View, supposed: IfSo | None = None) -> list[Row]:
    """The same numbers, one row an hour."""
    night = item.night
    if night is None:
        return []
    rows = []
    for i in range(0, len(night.t), 4):
        at = night.t[i]
        if at > night_end(view):
            break
        warmed = _supposed(night, supposed, [i])
        rows.append(
            Row(
                clock=view.clock(at),
                likely=view.temperature(night.likely_C[i]),
                low=view.temperature(night.low_C[i]),
                high=view.temperature(night.high_C[i]),
                dew=view.temperature(night.dew_point_C[i]) if night.dew_point_C else "",
                supposed=view.temperature(warmed[0][1]) if warmed else "",
            )
        )
    return rows


def _measured(item: Assessment, night: Night) -> list[Point]:
    """What was measured shortly before, up to the outlook's first value."""
    curve = item.curve
    if curve is None:
        return []
    points = [
        (at, value)
        for at, value in zip(curve.t, curve.panel_C, strict=True)
        if value is not None and item.at - BEHIND_MS <= at <= item.at
    ]
    return [*points, (night.t[0], night.likely_C[0])] if points and points[-1][0] < night.t[0] else points


def _supposed(night: Night, found: IfSo | None, shown: Sequence[int]) -> list[Point]:
    if found is None or found.hold_C is None:
        return []
    minutes = [(night.t[i] - found.begins_ms) // MINUTE_MS for i in shown]
    return [
        (night.t[i], found.likely_C[minute])
        for i, minute in zip(shown, minutes, strict=True)
        if 0 <= minute < len(found.likely_C)
    ]


def _plane(
    item: Assessment, night: Night, shown: Sequence[int], measured: Sequence[Point], warmed: Sequence[Point]
) -> _Plane:
    seen = [of[i] for of in (night.low_C, night.high_C) for i in shown]
    seen += [value for _, value in (*measured, *warmed)]
    low, high = min(seen), max(seen)
    near = [item.minimum_C] if item.minimum_C is not None else []
    near += [night.dew_point_C[i] for i in shown] if night.dew_point_C else []
    for value in near:
        if low - NEAR_K <= value <= high + NEAR_K:
            seen.append(value)
    start = min([night.t[0], *(at for at, _ in measured)])
    return _Plane(start, night.t[shown[-1]], math.floor(min(seen) - 0.5), math.ceil(max(seen) + 0.5))


def _milestones(item: Assessment, supposed: IfSo | None, plane: _Plane) -> tuple[list[Upright], list[Name]]:
    """From the safe side; each word on a row of its own where it would run into the one before."""
    found = []
    for milestone in DRAWN:
        if supposed is not None:
            then = supposed.then.get(milestone)
            at = None if then is None or then.is_past else then.safe
        else:
            one = passing(item, milestone)
            at = None if one is None or is_past(one) else one.early if milestone in CLOSING else one.late
        if at is not None and max(item.at, plane.start) <= at <= plane.end:
            found.append((at, LABELS[f"mark_{milestone.value}"]))
    uprights, names = [], []
    free = [-1.0] * len(ROWS_Y)
    for at, text in sorted(found):
        x = plane.x(at)
        left = x + NAME_WIDTH > WIDTH
        begin = x - NAME_WIDTH if left else x
        row = next((row for row, end in enumerate(free) if begin >= end), len(ROWS_Y) - 1)
        free[row] = begin + NAME_WIDTH
        uprights.append(Upright(x, ROWS_Y[row] - 9.0))
        names.append(Name(x - 3.0 if left else x + 3.0, ROWS_Y[row], text, "end" if left else "start"))
    return uprights, names


def _hours(plane: _Plane, view: View) -> Iterable[Name]:
    every = next(n for n in (1, 2, 3, 6, 12) if (plane.end - plane.start) / HOUR / n <= 7 or n == 12)
    at = -(-plane.start // HOUR) * HOUR
    while at <= plane.end:
        local = datetime.fromtimestamp(at / 1000, UTC).astimezone(view.zone)
        if local.minute == 0 and local.hour % every == 0:
            yield Name(plane.x(at), HEIGHT - 8.0, f"{local:%H}", "middle")
        at += HOUR


def _degrees(plane: _Plane, view: View) -> Iterable[Name]:
    """Whole degrees of the viewer's scale, about five of them."""
    low, high = view.scale(plane.low), view.scale(plane.high)
    every = next(n for n in (1, 2, 5, 10, 20, 50) if (high - low) / n <= 5 or n == 50)
    value = math.ceil(low / every) * every
    while value <= high:
        celsius = value if view.unit == "degC" else (value - 32.0) / 1.8
        yield Name(LEFT - 5.0, plane.y(celsius) + 4.0, f"{value}".replace("-", "−"), "end")
        value += every
