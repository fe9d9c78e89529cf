"""The panel page's one chart as Plotly JSON, built from plain dicts; colours are token names ("@ink").

One time axis, three lanes: temperatures above, cure below, then the film's rail and what was done. x is UTC
ms on a linear axis with labels made here, so that a clock-change night stays in order. Gaps are None in every
line and a hatched band through all lanes. The browser puts the theme's colours in place of the tokens.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from dashboard.assessment import Assessment, Curve
from dashboard.display import HOUR, View
from dashboard.words import LABELS, STATES

Json = dict[str, Any]
UPPER, LOWER, FILM = (0.46, 1.0), (0.12, 0.42), (0.04, 0.1)
WET_K, NEAR_K = 0.3, 3.0
"""Margins over the dew point, K, at which the film's rail changes height: wet, and ISO 8502-4's 3 K."""


@dataclass(frozen=True)
class Did:
    """Something that people did, for the rail: UTC ms and a short word."""

    at: int
    label: str


def figure(item: Assessment, curve: Curve, done: Iterable[Did], view: View) -> Json:
    """Plotly's `data` and `layout` for one panel. Heights are fractions of the plot, sizes px."""
    data = [*_temperatures(item, curve, view), *_cure(curve), *_film(curve, view.now), *_gaps(item, view)]
    return {"data": data, "layout": _layout(item, curve, list(done), view)}


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
    return [
        _line(curve.t, _scaled(curve.air_C, view), "y", color="@air", width=2),
        _line(curve.t, _scaled(curve.dew_point_C, view), "y", color="@dew", width=2, dash="dash"),
        _line(curve.t, tg, "y", color="@tg", width=2, dash="dashdot"),
        _line(curve.t, _scaled(curve.outlook_C, view), "y", color="@ink", width=2, dash="dot"),
        _line(curve.t, _scaled(curve.panel_C, view), "y", color="@ink", width=3.5),
    ]


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
        x, tops = _boxes(curve.t, y)
        rails.append(
            _line(x, tops, "y3", width=0) | {"fill": "toself", "fillcolor": colour, "connectgaps": False}
        )
    return rails


def _level(panel: float | None, dew: float | None) -> int | None:
    if panel is None or dew is None:
        return None
    margin = panel - dew
    return 2 if margin <= WET_K else 1 if margin < NEAR_K else 0


def _boxes(t: Sequence[int], heights: Sequence[float | None]) -> tuple[list[int], list[float | None]]:
    """One closed box for each point that has a height, parted by None so that each is filled by itself."""
    x: list[int] = []
    y: list[float | None] = []
    step = t[1] - t[0] if len(t) > 1 else 600_000
    for at, height in zip(t, heights, strict=True):
        if height is not None:
            x += [at, at, at + step, at + step, at]
            y += [0.0, height, height, 0.0, None]
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


def _layout(item: Assessment, curve: Curve, done: list[Did], view: View) -> Json:
    low, high = _span(item, curve, view)
    start, end = curve.t[0], curve.t[-1]
    font = {"family": "system-ui, sans-serif", "size": 13, "color": "@ink"}
    fixed = {"fixedrange": True, "zeroline": False, "showgrid": False, "showticklabels": False}
    # A little air above the lane, so that its name does not lie on the highest line.
    return {
        "font": font,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 40, "r": 12, "t": 30, "b": 30},
        "showlegend": False,
        "dragmode": False,
        "hovermode": False,
        "xaxis": {
            "range": [start, end],
            "anchor": "y3",
            "fixedrange": True,
            "zeroline": False,
            "showgrid": False,
            **_ticks(start, end, view),
        },
        "yaxis": {
            "domain": list(UPPER), "range": [low, high], "fixedrange": True, "gridcolor": "@grid",
            "zeroline": False, "nticks": 6,
        },
        "yaxis2": {**fixed, "domain": list(LOWER), "range": [0, 1]},
        "yaxis3": {**fixed, "domain": list(FILM), "range": [0, 1]},
        "yaxis4": {**fixed, "domain": [0, 1], "range": [0, 1], "overlaying": "y"},
        "shapes": [*_lines(item, low, high, view), *_now(view.now, start, end), *_marks(done, start, end)],
        "annotations": [*_names(item, low, high, view), *_did(done, start, end), *_flag(view, start, end)],
    }  # fmt: skip


def _ticks(start: int, end: int, view: View) -> Json:
    """Whole hours of the viewer's clock, about seven of them."""
    every = next((n for n in (1, 2, 3, 6, 12, 24) if (end - start) / HOUR / n <= 7), 48)
    at, values, texts = -(-start // HOUR) * HOUR, [], []
    while at <= end:
        local = datetime.fromtimestamp(at / 1000, UTC).astimezone(view.zone)
        if local.hour % min(every, 24) == 0 and local.minute == 0:
            values.append(at)
            texts.append(f"{local:%H}" if every < 24 else f"{local:%a}")
        at += HOUR
    return {"tickmode": "array", "tickvals": values, "ticktext": texts}


def _lines(item: Assessment, low: float, high: float, view: View) -> list[Json]:
    """Milestones across the cure lane, the card's minimum across the temperature lane."""
    shapes = [_across("y2", level, "@ink", "solid") for level, _ in item_levels(item)]
    if item.minimum_C is not None and low <= view.scale(item.minimum_C) <= high:
        shapes.append(_across("y", view.scale(item.minimum_C), "@ink", "dot"))
    return shapes


def item_levels(item: Assessment) -> list[tuple[float, str]]:
    """Where the middle of the range is at each milestone's likely time, 0 to 1, and the milestone's name."""
    curve, found = item.curve, []
    for passing in item.milestones:
        if curve and passing.likely is not None and curve.t[0] <= passing.likely <= curve.t[-1]:
            found.append((_at(curve, passing.likely), STATES.get(passing.name, passing.name)))
    return found


def _at(curve: Curve, when: int) -> float:
    """The middle of the range at `when`, linear between points."""
    for i in range(1, len(curve.t)):
        if curve.t[i] >= when:
            part = (when - curve.t[i - 1]) / (curve.t[i] - curve.t[i - 1])
            return curve.conversion[i - 1] + part * (curve.conversion[i] - curve.conversion[i - 1])
    return curve.conversion[-1]


def _across(axis: str, y: float, colour: str, dash: str) -> Json:
    line = {"color": colour, "width": 1.5, "dash": dash}
    return {
        "type": "line",
        "xref": "x domain",
        "x0": 0,
        "x1": 1,
        "yref": axis,
        "y0": y,
        "y1": y,
        "line": line,
    }


def _now(now: int, start: int, end: int) -> list[Json]:
    if not start <= now <= end:
        return []
    line = {"color": "@ink", "width": 3}
    return [{"type": "line", "x0": now, "x1": now, "yref": "paper", "y0": 0, "y1": 1.02, "line": line}]


def _marks(done: list[Did], start: int, end: int) -> list[Json]:
    line = {"color": "@ink", "width": 3}
    return [
        {"type": "line", "x0": did.at, "x1": did.at, "yref": "paper", "y0": 0, "y1": 0.03, "line": line}
        for did in done
        if start <= did.at <= end
    ]


def _note(text: str, **place: Any) -> Json:
    return {"text": f"<b>{text}</b>", "showarrow": False, "xanchor": "left", "yanchor": "bottom", **place}


def _names(item: Assessment, low: float, high: float, view: View) -> list[Json]:
    """The lanes' names, and each line's where it stands."""
    unit = "°C" if view.unit == "degC" else "°F"
    lane = f"{unit} {LABELS['panel']}, {LABELS['air']}, {LABELS['dew']}"
    notes = [
        _note(lane, xref="paper", x=0, yref="paper", y=1.01),
        _note(LABELS["cure"], xref="paper", x=0, yref="y2", y=1.0, yanchor="top"),
        _note(LABELS["film"], xref="paper", x=-0.01, xanchor="right", yref="y3", y=0.5, yanchor="middle"),
    ]
    notes += [_note(name, xref="paper", x=0.99, xanchor="right", yref="y2", y=level)
              for level, name in item_levels(item)]  # fmt: skip
    if item.minimum_C is not None and low <= view.scale(item.minimum_C) <= high:
        text = LABELS["card_minimum"].format(value=f"{view.scale(item.minimum_C):.0f}")
        notes.append(_note(text, xref="paper", x=1, xanchor="right", yref="y", y=view.scale(item.minimum_C)))
    tg = item.glass_transition_C
    if tg and view.scale(tg[1]) > high:
        text = f"Tg {view.temperature(tg[1], whole=True)} ↑"
        notes.append(
            _note(text, xref="paper", x=1, xanchor="right", yref="paper", y=1.01, font={"color": "@tg"})
        )
    return notes


def _did(done: list[Did], start: int, end: int) -> list[Json]:
    return [
        _note(did.label, x=did.at, xshift=3, yref="paper", y=-0.01, yanchor="bottom", font={"size": 12})
        for did in done
        if start <= did.at <= end
    ]


def _flag(view: View, start: int, end: int) -> list[Json]:
    if not start <= view.now <= end:
        return []
    flag = {"font": {"color": "@strip"}, "bgcolor": "@ink", "borderpad": 3, "xanchor": "center"}
    return [_note(LABELS["now"], x=view.now, yref="paper", y=1.0) | flag]
