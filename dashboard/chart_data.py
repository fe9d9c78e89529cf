"""What a panel's chart draws, its cursor says and its table shows: the same numbers, thinned once.

Measured lines come from the readings' roll-ups, so a peak of ten seconds is in them; cure, Tg and outlook from the
answer that watch worked out. Nothing lies past the answer's own time but what the answer says of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol

import numpy as np

from dashboard.assessment import Assessment, Curve
from dashboard.panel import Panel
from dashboard.roll_ups import COARSE_MS, FINE_MS, LogOf, Measured, Spot, joined
from dashboard.thin_line import Floats, Line, Times, drawn, rolled

MOST_POINTS = 2000
"""Of one trace."""
STEPS_MIN = (1, 2, 5, 10, 20, 30, 60, 120, 240, 360, 720, 1440, 2880)
SPLIT = 600
"""A chart is divided in at most so many steps, each of which may need three points."""
CURSOR_MS = 600_000
"""The cursor's least step; people name times by ten minutes."""
CURVE_STEP_MS = 600_000


class Lines(Protocol):
    """What RollUps.of() gives."""

    def __call__(self, spot: Spot, start: int, end: int, step_ms: int, logs: LogOf) -> Measured: ...


@dataclass(frozen=True, eq=False)
class ChartData:
    """Temperatures in degC, shares 0 to 1, times UTC ms; NaN where nothing is known.

    at       up to when it was measured: the answer's own time
    step_ms  the stretches of which the least and the greatest value are in the lines
    t        (n,) the cursor's times: start, end, `at`, and whole steps between; all of it further down is (n,)
    panel_C, air_C, dew_C   the lines' values at t
    outlook_C   of the panel, after `at` alone
    """

    at: int
    step_ms: int
    lines: Measured
    t: Times
    panel_C: Floats
    air_C: Floats
    dew_C: Floats
    outlook_C: Floats
    low: Floats
    middle: Floats
    high: Floats
    tg_C: Floats

    def __len__(self) -> int:
        return len(self.t)

    @property
    def margin_K(self) -> Floats:
        """The panel over the air's dew point."""
        return self.panel_C - self.dew_C

    def upto(self, end: int) -> ChartData:
        """Without what lies after `end` (UTC ms)."""
        n = int(np.searchsorted(self.t, end, "right"))
        return ChartData(
            self.at, self.step_ms, self.lines.between(-(2**62), end + 1), self.t[:n],
            *(
                values[:n]
                for values in (
                    self.panel_C, self.air_C, self.dew_C, self.outlook_C, self.low, self.middle, self.high, self.tg_C,
                )
            ),
        )  # fmt: skip


def chart_data(
    item: Assessment,
    curve: Curve,
    panel: Panel | None = None,
    lines: Lines | None = None,
    logs: LogOf | None = None,
) -> ChartData:
    """Of one answer. Without `lines` the measured ones are those the answer brought along, of each ten minutes.

    lines   the readings' roll-ups; logs   by probe, how readings count
    """
    at, start, end = item.at, curve.t[0], max(curve.t[-1], curve.t[0])
    finest = next((n for n, step in enumerate(STEPS_MIN) if (end - start) / (60_000 * step) <= SPLIT), -1)
    brought = _brought(curve, at)
    for step in STEPS_MIN[finest:]:
        step_ms = 60_000 * step
        found = (
            brought
            if panel is None or lines is None
            else _asked(panel, start, at, step_ms, lines, logs or {}, brought)
        )
        made = _made(found, curve, at, step_ms)
        if max(_drawn_points(line) for line in made.lines.lines) <= MOST_POINTS:
            break
    return made


def _asked(
    panel: Panel, start: int, at: int, step_ms: int, lines: Lines, logs: LogOf, brought: Measured
) -> Measured:
    """Of each spot the panel was at, for its time; where nothing measures it itself, what the answer took for it."""
    base = COARSE_MS if step_ms >= COARSE_MS else FINE_MS
    parts = []
    for spot, since, until in _stays(panel):
        begin, end = max(since, start), min(until, at + 1)
        if begin < end:
            found = lines(spot, begin - CURVE_STEP_MS, end, base, logs)
            parts.append(found.begun_at(begin).between(begin, end))
    whole = joined(_parted(part) if n else part for n, part in enumerate(parts))
    if panel.surface_probe is None:
        whole = replace(whole, panel=brought.panel, margin=brought.margin)
    return whole


def _stays(panel: Panel) -> list[tuple[Spot, int, int]]:
    """Where it was measured, from when until when."""
    if not panel.stays:
        return [(Spot(panel.surface_probe, panel.air_probe), -(2**62), 2**62)]
    ends = [following.since for _, following in pairwise(panel.stays)] + [2**62]
    return [
        (Spot(stay.surface_probe, stay.air_probe), stay.since, end)
        for stay, end in zip(panel.stays, ends, strict=True)
    ]


def _parted(part: Measured) -> Measured:
    """With a gap before it: another probe measures from here on."""

    def first(line: Line) -> Line:
        return replace(line, parted=np.concatenate([np.ones(min(1, len(line)), np.bool_), line.parted[1:]]))

    return part.each(first)


def _brought(curve: Curve, at: int) -> Measured:
    """The lines of the answer itself: a value each ten minutes, none where there was no reading."""
    t = np.array(curve.t, np.int64)
    past = t <= at

    def line(values: tuple[float | None, ...]) -> Line:
        value = np.array([np.nan if item is None else item for item in values])
        known = past & np.isfinite(value)
        rows = np.flatnonzero(known)
        parted = np.diff(rows, prepend=-2) > 1
        return Line(t[rows], value[rows], parted)

    panel, air, dew = line(curve.panel_C), line(curve.air_C), line(curve.dew_point_C)
    over = panel.at(dew.t) - dew.value
    known = np.isfinite(over)
    margin = dew.kept(np.flatnonzero(known))
    return Measured(panel, air, dew, Line(margin.t, over[known], margin.parted), CURVE_STEP_MS)


def _made(found: Measured, curve: Curve, at: int, step_ms: int) -> ChartData:
    t = _times(curve, at, max(step_ms, CURSOR_MS))
    past = t[t <= at]
    held = found.each(lambda line: rolled(line, step_ms).held_to(at, found.join_ms))

    def shown(line: Line) -> Floats:
        return np.concatenate([line.at(past), np.full(len(t) - len(past), np.nan)])

    known = np.array(curve.t, np.int64)
    outlook = np.array([np.nan if item is None else item for item in curve.outlook_C])
    return ChartData(
        at=at,
        step_ms=step_ms,
        lines=held.each(lambda line: drawn(line, step_ms).through(past, line.at(past))),
        t=t,
        panel_C=shown(held.panel),
        air_C=shown(held.air),
        dew_C=shown(held.dew),
        outlook_C=np.where(t > at, _between(t, known, outlook), np.nan),
        low=np.interp(t, known, curve.conversion_low),
        middle=np.interp(t, known, curve.conversion),
        high=np.interp(t, known, curve.conversion_high),
        tg_C=np.interp(t, known, curve.glass_transition_C),
    )


def _between(t: Times, known: Times, value: Floats) -> Floats:
    """By straight lines between the values that are there; held before the first of them."""
    there = np.isfinite(value)
    return np.interp(t, known[there], value[there]) if np.any(there) else np.full(len(t), np.nan)


def _times(curve: Curve, at: int, step_ms: int) -> Times:
    start, end = curve.t[0], curve.t[-1]
    grid = np.arange(-(-start // step_ms) * step_ms, end + 1, step_ms, dtype=np.int64)
    return np.unique(np.concatenate([[start], grid, [min(max(at, start), end)], [end]]).astype(np.int64))


def _drawn_points(line: Line) -> int:
    """With the breaks between its parts."""
    return len(line) + int(np.count_nonzero(line.parted[1:]))
