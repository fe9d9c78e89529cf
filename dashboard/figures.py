"""The panel page's one chart as Plotly JSON, built from plain dicts; colours are token names ("@ink").

One time axis, three lanes: temperatures above, cure below, then the film's rail and what was done. x is UTC
ms on a linear axis with labels made here, so that a clock-change night stays in order. Gaps are None in every
line and a hatched band through all lanes. The browser puts the theme's colours in place of the tokens.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dashboard.assessment import Assessment, Curve
from dashboard.chart_layout import Did, Json, layout, window
from dashboard.display import View
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


def figure(item: Assessment, curve: Curve, done: Iterable[Did], view: View) -> Json:
    """Plotly's `data` and `layout` for one panel. Heights are fractions of the plot, sizes px.

    Past good_until the chart is that of the time it was worked out, and its flag says so.
    """
    flag, stale = LABELS["now"], item.is_old(view.now)
    if stale:
        flag, view = view.clock(item.at), replace(view, now=item.at)
    data = [*_temperatures(item, curve, view), *_cure(curve), *_film(curve, view.now), *_gaps(item, view)]
    shown = window(curve, view.now, stale)
    return {
        "data": data,
        "layout": layout(item, curve, list(done), view, _span(item, curve, view), shown, flag),
    }


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


def _scaled(values: Iterable[float | None], view: View) -> list[float | None]:
    return [None if value is None else round(view.scale(value), 2) for value in values]


def _temperatures(item: Assessment, curve: Curve, view: View) -> list[Json]:
    low, high = _span(item, curve, view)
    tg = [value if value is not None and low <= value <= high else None
          for value in _scaled(curve.glass_transition_C, view)]  # fmt: skip
    traces = {"air": _scaled(curve.air_C, view), "dew": _scaled(curve.dew_point_C, view), "tg": tg,
              "outlook": _scaled(curve.outlook_C, view), "panel": _scaled(curve.panel_C, view)}  # fmt: skip
    return [_line(curve.t, values, "y", **LINES[name].style) for name, values in traces.items()]


def _cure(curve: Curve) -> list[Json]:
    """The range as a tint, its middle as a line; 0 to 1."""
    edge = _line(curve.t, curve.conversion_high, "y2", width=0)
    tint = _line(curve.t, curve.conversion_low, "y2", width=0) | {"fill": "tonexty", "fillcolor": "@tint"}
    return [edge, tint, _line(curve.t, curve.conversion, "y2", color="@go", width=2.5)]


def _film(curve: Curve, now: int) -> list[Json]:
    """How near the surface came to the dew point, by height and by fill: dry, under 3 K, wet."""
    rails = []
    for level, (height, colour) in enumerate([(0.15, "@soft"), (0.55, "@soft"), (1.0, "@care")]):
        y = [
            height if at <= now and _level(panel, dew) == level else None
            for at, panel, dew in zip(curve.t, curve.panel_C, curve.dew_point_C, strict=True)
        ]
        x, tops = _boxes(curve.t, y, now)
        rails.append(
            _line(x, tops, "y3", width=0) | {"fill": "toself", "fillcolor": colour, "connectgaps": False}
        )
    return rails


def _level(panel: float | None, dew: float | None) -> int | None:
    if panel is None or dew is None:
        return None
    margin = panel - dew
    return 2 if margin <= WET_K else 1 if margin < NEAR_K else 0


def _boxes(
    t: Sequence[int], heights: Sequence[float | None], now: int
) -> tuple[list[int], list[float | None]]:
    """One closed box for each run of points that have a height, parted by None so that each is filled by itself."""
    x: list[int] = []
    y: list[float | None] = []
    step = t[1] - t[0] if len(t) > 1 else 600_000
    start = None
    for i, height in enumerate(heights):
        if height is None:
            continue
        start = t[i] if start is None else start
        if i + 1 == len(heights) or heights[i + 1] is None:
            end = min(t[i] + step, now)
            x += [start, start, end, end, start]
            y += [0.0, height, height, 0.0, None]
            start = None
    return x, y


def _gaps(item: Assessment, view: View) -> list[Json]:
    """A hatched band through all lanes for each stretch without readings."""
    return [
        _line([a, a, b, b, a], [0.0, 1.0, 1.0, 0.0, 0.0], "y4", width=0)
        | {
            "fill": "toself",
            "fillcolor": "rgba(0,0,0,0)",
            "fillpattern": {
                "shape": "/",
                "fgcolor": "@soft",
                "bgcolor": "rgba(0,0,0,0)",
                "size": 8,
                "solidity": 0.15,
            },
        }
        for a, b in ((max(start, item.mixed_at or start), min(end, view.now)) for start, end in item.gaps)
        if b > a
    ]


def _span(item: Assessment, curve: Curve, view: View) -> tuple[float, float]:
    """The temperature lane's range, viewer's scale: panel, air, dew point, outlook, card's minimum."""
    seen = [
        value
        for trace in (curve.panel_C, curve.air_C, curve.dew_point_C, curve.outlook_C)
        for value in _scaled(trace, view)
        if value is not None
    ]
    if item.minimum_C is not None:
        seen.append(view.scale(item.minimum_C))
    if not seen:
        seen = [view.scale(0.0), view.scale(20.0)]
    step = 5.0 if view.unit == "degC" else 10.0
    low, high = min(seen) // step * step, -(-max(seen) // step) * step
    return low, max(high, low + step)
