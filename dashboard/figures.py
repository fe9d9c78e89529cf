"""The panel page's one chart as Plotly JSON, built from plain dicts; colours are token names ("@ink").

One time axis: temperatures above, cure below, then the film's rail and what was done. x is UTC ms on a linear
axis with labels made here, so that a clock-change night stays in order. Gaps are None in every line and a
hatched band through all lanes; what lies ahead is dotted. The browser puts the theme's colours in place of the
tokens.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dashboard.assessment import Assessment
from dashboard.chart_data import ChartData
from dashboard.chart_layout import Did, Json, cure_top, layout, levels, on_scale, window
from dashboard.display import View
from dashboard.thin_line import Bools, Floats, Line, Times
from dashboard.words import LABELS

WET_K, NEAR_K = 0.3, 3.0
"""Margins over the dew point, K, at which the film's rail changes height: wet, and ISO 8502-4's 3 K."""


@dataclass(frozen=True)
class Drawn:
    """How a line of the temperature lane is drawn: its word, its token, px, and Plotly's name of its dash."""

    name: str
    colour: str
    width: float
    dash: str = "solid"

    @property
    def pattern(self) -> str:
        """The dash as lengths in px, as Plotly draws it: multiples of the width, of 3 px at least."""
        step = max(self.width, 3)
        return ",".join(f"{n * step:g}" for n in _DASHES[self.dash])

    @property
    def style(self) -> Json:
        return {"color": f"@{self.colour}", "width": self.width, "dash": self.dash}


_DASHES = {"solid": (), "dot": (1, 1), "dash": (3, 3), "dashdot": (3, 1, 1, 1)}
LINES = {
    line.name: line
    for line in (
        Drawn("panel", "ink", 3.5), Drawn("air", "air", 2), Drawn("dew", "dew", 2, "dash"),
        Drawn("tg", "tg", 2, "dashdot"), Drawn("outlook", "ink", 2, "dot"),
    )
}  # fmt: skip
LEGEND = (*LINES.values(), Drawn("missing", "soft", 1))
"""What the legend names, drawn as the chart draws it."""
RAIL_CELLS = 48
CELLS_MIN = (10, 20, 30, 60, 120, 240, 360, 720, 1440)


def figure(item: Assessment, data: ChartData, done: Iterable[Did], view: View) -> Json:
    """Plotly's `data` and `layout` for one panel. Heights are fractions of the plot, sizes px.

    Past good_until the chart is that of the time it was worked out, and its flag says so.
    """
    flag, stale = LABELS["now"], item.is_old(view.now)
    if stale:
        flag, view = view.clock(item.at), replace(view, now=item.at)
    shown = window(data, view.now, stale)
    data = data.upto(shown[1])
    span = _span(item, data, view)
    return {
        "data": [
            *_temperatures(data, span, view), *_cure(item, data, shown), *_film(data),
            *_gaps(item, view), *_glassy(data),
        ],
        "layout": layout(item, data, list(done), view, span, shown, flag),
    }  # fmt: skip


def _line(x: Sequence[int], y: Sequence[float | None], axis: str, **line: Any) -> Json:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": list(x),
        "y": list(y),
        "yaxis": axis,
        "line": line,
        "hoverinfo": "skip",
        "showlegend": False,
        "connectgaps": False,
    }


def _scaled(values: Floats, view: View, digits: int = 2) -> list[float | None]:
    return [None if math.isnan(value) else round(value, digits) for value in on_scale(values, view).tolist()]


def _parts(line: Line, view: View) -> tuple[list[int], list[float | None]]:
    """x and y with a None in every gap, at the time of the point after it."""
    rows = np.flatnonzero(line.parted[1:]) + 1
    x = np.insert(line.t, rows, line.t[rows])
    y = np.insert(line.value, rows, np.nan)
    return x.tolist(), _scaled(y, view)


def _temperatures(data: ChartData, span: tuple[float, float], view: View) -> list[Json]:
    """Thin lines first, the panel's own on top of them all."""
    tg = [
        value if value is not None and span[0] <= value <= span[1] else None
        for value in _scaled(data.tg_C, view)
    ]
    return [
        _line(*_parts(data.lines.air, view), "y", **LINES["air"].style),
        _line(*_parts(data.lines.dew, view), "y", **LINES["dew"].style),
        _line(data.t.tolist(), tg, "y", **LINES["tg"].style),
        _line(data.t.tolist(), _from_now(data, view), "y", **LINES["outlook"].style),
        _line(*_parts(data.lines.panel, view), "y", **LINES["panel"].style),
    ]


def _from_now(data: ChartData, view: View) -> list[float | None]:
    """The outlook, begun where the panel's own line ends, if that is now."""
    here = np.where(data.t == data.at, data.panel_C, np.nan)
    return _scaled(np.where(np.isnan(data.outlook_C), here, data.outlook_C), view)


def _shares(values: Floats, where: Bools | None = None) -> list[float | None]:
    shown = [True] * len(values) if where is None else where.tolist()
    return [round(value, 4) if here else None for value, here in zip(values.tolist(), shown, strict=True)]


def _cure(item: Assessment, data: ChartData, shown: tuple[int, int]) -> list[Json]:
    """The range as a tint, its middle as a line, dotted ahead, with a mark at each milestone's likely time."""
    t = data.t.tolist()
    edge = _line(t, _shares(data.high), "y2", width=0)
    tint = _line(t, _shares(data.low), "y2", width=0) | {"fill": "tonexty", "fillcolor": "@tint"}
    style = {"color": "@go", "width": 2.5}
    found = levels(item, data, *shown)
    marks = _line([at for at, _, _ in found], [level for _, level, _ in found], "y2") | {
        "mode": "markers",
        "marker": {"symbol": "diamond", "size": 9, "color": "@go", "line": {"color": "@ink", "width": 1.5}},
        "meta": "whole",
    }
    return [
        edge,
        tint,
        _line(t, _shares(data.middle, data.t <= data.at), "y2", **style),
        _line(t, _shares(data.middle, data.t >= data.at), "y2", **style, dash="dot"),
        marks,
    ]


def _film(data: ChartData) -> list[Json]:
    """How near the surface came to the dew point in each stretch, by height and by fill: dry, under 3 K, wet."""
    margin = data.lines.margin
    span_min = (data.at - int(data.t[0])) / 60_000
    cell = 60_000 * next(
        (n for n in CELLS_MIN if span_min / n <= RAIL_CELLS and 60_000 * n >= data.step_ms), 2880
    )
    cells = margin.t // cell
    starts = np.flatnonzero(np.diff(cells, prepend=-1))
    least = np.minimum.reduceat(margin.value, starts) if len(starts) else np.empty(0)
    level = np.where(least <= WET_K, 2, np.where(least < NEAR_K, 1, 0))
    bars = []
    for n, (height, colour) in enumerate([(0.15, "@soft"), (0.55, "@soft"), (1.0, "@care")]):
        middles = cells[starts][level == n] * cell + cell // 2
        bars.append(
            {
                "type": "bar", "x": middles.tolist(), "y": [height] * len(middles), "yaxis": "y3",
                "width": round(0.86 * cell), "marker": {"color": colour, "line": {"width": 0}},
                "hoverinfo": "skip", "showlegend": False,
            }
        )  # fmt: skip
    return bars


def _band(a: int, b: int, axis: str, shape: str, top: float = 1.0, **pattern: Any) -> Json:
    """A patterned box from a to b, UTC ms."""
    fill = {"shape": shape, "fgcolor": "@soft", "bgcolor": "rgba(0,0,0,0)", **pattern}
    return _line([a, a, b, b, a], [0.0, top, top, 0.0, 0.0], axis, width=0) | {
        "fill": "toself",
        "fillcolor": "rgba(0,0,0,0)",
        "fillpattern": fill,
        "meta": "whole",
    }


def _glassy(data: ChartData) -> list[Json]:
    """Dots in the cure lane where the resin is glassy: its Tg above the panel's temperature."""
    here = np.where(np.isnan(data.outlook_C), data.panel_C, data.outlook_C)
    glassy = np.isfinite(here) & (data.tg_C > here)
    return [
        _band(a, b, "y2", ".", cure_top(data), fgcolor="@line", size=7, solidity=0.12)
        for a, b in _stretches(data.t, glassy)
    ]


def _stretches(t: Times, so: Bools) -> list[tuple[int, int]]:
    """From the first to the last of the times that follow one another and are so."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], so, [False]]).astype(np.int8)))
    pairs = zip(edges[::2], edges[1::2] - 1, strict=True)
    return [(int(t[a]), int(t[b])) for a, b in pairs if b > a]


def _gaps(item: Assessment, view: View) -> list[Json]:
    """A hatched band through all lanes for each stretch without readings."""
    cut = ((max(start, item.mixed_at or start), min(end, view.now)) for start, end in item.gaps)
    return [_band(a, b, "y4", "/", size=8, solidity=0.15) for a, b in cut if b > a]


def _span(item: Assessment, data: ChartData, view: View) -> tuple[float, float]:
    """The temperature lane's range, viewer's scale: panel, air, dew point, outlook, card's minimum."""
    traces = [data.lines.panel.value, data.lines.air.value, data.lines.dew.value, data.outlook_C]
    known = np.concatenate(traces)
    seen = on_scale(known[np.isfinite(known)], view).tolist()
    if item.minimum_C is not None:
        seen.append(view.scale(item.minimum_C))
    if not seen:
        seen = [view.scale(0.0), view.scale(20.0)]
    step = 5.0 if view.unit == "degC" else 10.0
    low, high = min(seen) // step * step, -(-max(seen) // step) * step
    return low, max(high, low + step)
