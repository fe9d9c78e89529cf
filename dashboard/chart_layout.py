"""What stands around a chart's traces: axes, hour marks, milestones, the now line with its flag, and names."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from dashboard.assessment import Assessment, Curve
from dashboard.display import HOUR, View
from dashboard.words import LABELS, STATES

Json = dict[str, Any]
UPPER, LOWER, FILM, DID = (0.53, 1.0), (0.2, 0.47), (0.1, 0.16), 0.055
"""Where each lane lies, from the bottom of the plot to its top, 0 to 1."""


@dataclass(frozen=True)
class Did:
    """Something that people did, for the rail: UTC ms and a short word."""

    at: int
    label: str


def layout(item: Assessment, curve: Curve, done: list[Did], view: View, span: tuple[float, float]) -> Json:
    """Plotly's layout; `span` is the temperature lane's range on the viewer's scale, sizes in px."""
    low, high = span
    start, end = curve.t[0], curve.t[-1]
    font = {"family": "system-ui, sans-serif", "size": 13, "color": "@ink", "weight": 600}
    fixed = {"fixedrange": True, "zeroline": False, "showgrid": False, "showticklabels": False}
    # A little air above the lane, so that its name does not lie on the highest line.
    return {
        "font": font,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 44, "r": 12, "t": 30, "b": 30},
        "showlegend": False,
        "dragmode": False,
        "hovermode": False,
        "xaxis": {
            "range": [start, end],
            "anchor": "free",
            "position": 0,
            "fixedrange": True,
            "zeroline": False,
            "showgrid": False,
            **_ticks(start, end, view),
        },
        "yaxis": {
            "domain": list(UPPER), "range": [low, high], "fixedrange": True, "gridcolor": "@grid",
            "zeroline": False, "nticks": 6,
        },
        "yaxis2": {**fixed, "domain": list(LOWER), "range": [0, _top(item, curve)]},
        "yaxis3": {**fixed, "domain": list(FILM), "range": [0, 1]},
        "yaxis4": {**fixed, "domain": [0, 1], "range": [0, 1], "overlaying": "y"},
        "shapes": [*_lines(item, low, high, view), *_now(view.now, start, end), *_marks(done, start, end)],
        "annotations": [*_names(item, curve, low, high, view), *_did(done, start, end), *_flag(view, start, end)],
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
        {
            "type": "line",
            "x0": did.at,
            "x1": did.at,
            "yref": "paper",
            "y0": DID - 0.02,
            "y1": DID + 0.02,
            "line": line,
        }
        for did in done
        if start <= did.at <= end
    ]


def _note(text: str, *, font: Json | None = None, **place: Any) -> Json:
    """A word in the chart. Bold by font weight: a <b> would be a style attribute, which the page forbids."""
    note = {"text": text, "showarrow": False, "xanchor": "left", "yanchor": "bottom", **place}
    return note | {"font": {"weight": 700, **(font or {})}}


def _on_line(text: str, **place: Any) -> Json:
    """A name that stands on its horizontal, on a ground of its own."""
    return _note(text, xref="paper", **{"yanchor": "middle", "bgcolor": "@strip", **place})


def _names(item: Assessment, curve: Curve, low: float, high: float, view: View) -> list[Json]:
    """The lanes' names, and each line's where it stands."""
    unit = "°C" if view.unit == "degC" else "°F"
    notes = [
        _note(unit, xref="paper", x=-0.01, xanchor="right", yref="paper", y=1.01),
        _note(LABELS["cure"], xref="paper", x=-0.01, xanchor="right", yref="y2 domain", y=1.0, yanchor="top"),
        _note(LABELS["did"], xref="paper", x=-0.01, xanchor="right", yref="paper", y=DID, yanchor="middle"),
        _note(LABELS["film"], xref="paper", x=-0.01, xanchor="right", yref="y3", y=0.5, yanchor="middle"),
    ]
    notes += _milestone_names(item, curve)
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


def _milestone_names(item: Assessment, curve: Curve) -> list[Json]:
    """On the left, where the range is still below; every second one further right if it would touch the last."""
    notes: list[Json] = []
    lowest, right = -1.0, False
    for level, name in sorted(item_levels(item)):
        right = not right if level - lowest < 0.13 * _top(item, curve) else False
        notes.append(_on_line(name, yref="y2", y=level, x=0.32 if right else 0.01))
        lowest = level
    return notes


def _top(item: Assessment, curve: Curve) -> float:
    """The cure lane's upper end: a little above all that stands in it, at most 1."""
    levels = [level for level, _ in item_levels(item)]
    return min(1.0, 1.15 * max([0.1, *curve.conversion_high, *levels]))


def _did(done: list[Did], start: int, end: int) -> list[Json]:
    """What was done, each at its mark; a word that would run into the last one is left to the mark alone."""
    notes: list[Json] = []
    free = start
    for did in sorted(done, key=lambda did: did.at):
        if max(start, free) <= did.at <= end:
            notes.append(_note(did.label, x=did.at, xshift=3, yref="paper", y=DID, yanchor="middle"))
            free = did.at + round((0.05 if len(did.label) < 3 else 0.25) * (end - start))
    return notes


def _flag(view: View, start: int, end: int) -> list[Json]:
    if not start <= view.now <= end:
        return []
    flag = {"bgcolor": "@ink", "borderpad": 3, "xanchor": "center"}
    return [_note(LABELS["now"], x=view.now, yref="paper", y=1.0, font={"color": "@strip"}, **flag)]
