"""What stands around a chart's traces: axes, hour marks, milestones, the now line with its flag, and names."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from dashboard.assessment import Assessment, Curve
from dashboard.display import HOUR, View
from dashboard.words import LABELS, MILESTONES

Json = dict[str, Any]
UPPER, LOWER, FILM, DID = (0.53, 1.0), (0.2, 0.47), (0.1, 0.16), 0.055
"""Where each lane lies, from the bottom of the plot to its top, 0 to 1."""


@dataclass(frozen=True)
class Did:
    """Something that people did, for the rail: UTC ms and a short word."""

    at: int
    label: str


FLAG_ROOM = 0.06
"""Share of the past kept free right of now where nothing is told of what lies ahead."""


def layout(
    item: Assessment,
    curve: Curve,
    done: list[Did],
    view: View,
    span: tuple[float, float],
    shown: tuple[int, int],
    flag: str,
) -> Json:
    """Plotly's layout; `span` is the temperature lane's range on the viewer's scale, sizes in px.

    shown  the time axis, UTC ms
    flag   what the now line's flag says
    """
    low, high = span
    start, end = shown
    font = {"family": "system-ui, sans-serif", "size": 13, "color": "@ink", "weight": 600}
    fixed = {"fixedrange": True, "zeroline": False, "showgrid": False, "showticklabels": False}
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
        "yaxis2": {**fixed, "domain": list(LOWER), "range": [0, _top(curve)]},
        "yaxis3": {**fixed, "domain": list(FILM), "range": [0, 1]},
        "yaxis4": {**fixed, "domain": [0, 1], "range": [0, 1], "overlaying": "y"},
        "shapes": [*_lines(item, low, high, view, start, end), *_now(view.now, start, end), *_marks(done, start, end)],
        "annotations": [
            *_names(item, curve, span, view, start, end), *_did(done, start, end), *_flag(flag, view.now, start, end),
        ],
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


def _lines(item: Assessment, low: float, high: float, view: View, start: int, end: int) -> list[Json]:
    """The card's minimum across the temperature lane, each milestone's likely time down the cure lane."""
    shapes = [
        {"type": "line", "x0": at, "x1": at, "yref": "y2 domain", "y0": 0, "y1": 1,
         "line": {"color": "@ink", "width": 1.5, "dash": "dot" if at > view.now else "solid"}}
        for at, _ in likely(item, start, end)
    ]  # fmt: skip
    if item.minimum_C is not None and low <= view.scale(item.minimum_C) <= high:
        shapes.append(_across("y", view.scale(item.minimum_C), "@ink", "dot"))
    return shapes


def likely(item: Assessment, start: int, end: int) -> list[tuple[int, str]]:
    """Milestones whose likely time stands in the chart, in order: UTC ms and the name in words."""
    found = [
        (passing.likely, MILESTONES[passing.name])
        for passing in item.milestones
        if passing.name in MILESTONES and passing.likely is not None and start <= passing.likely <= end
    ]
    return sorted(found)


def window(curve: Curve, now: int, stale: bool = False) -> tuple[int, int]:
    """What the chart shows, UTC ms: from the first point to as far ahead of now as behind it, at least 8 h.

    A stale answer says nothing of what lies ahead: its chart ends at `now`. Where the traces end before now, because
    a probe is silent, the hatched gap is shown up to now, with room for the flag.
    """
    start = curve.t[0]
    if stale:
        return start, max(now, start)
    ahead = min(curve.t[-1], max(now, start) + max(8 * HOUR, now - start))
    return start, max(ahead, now + round(FLAG_ROOM * (now - start)))


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


def _names(
    item: Assessment, curve: Curve, span: tuple[float, float], view: View, start: int, end: int
) -> list[Json]:
    """The lanes' names, and each line's where it stands."""
    low, high = span
    unit = "°C" if view.unit == "degC" else "°F"
    notes = [
        _note(unit, xref="paper", x=-0.01, xanchor="right", yref="paper", y=1.03),
        _note(LABELS["cure"], xref="paper", x=-0.01, xanchor="right", yref="y2 domain", y=1.0, yanchor="top"),
        _note(LABELS["did"], xref="paper", x=-0.01, xanchor="right", yref="paper", y=DID, yanchor="middle"),
        _note(LABELS["film"], xref="paper", x=-0.01, xanchor="right", yref="y3", y=0.5, yanchor="middle"),
    ]
    notes += _milestone_names(item, view.now, start, end)
    if item.minimum_C is not None and low <= view.scale(item.minimum_C) <= high:
        minimum = view.scale(item.minimum_C)
        text = LABELS["card_minimum"].format(value=f"{minimum:.0f}")
        notes.append(_note(text, yref="y", y=minimum, **_clear_place(curve, minimum, span, view, start, end)))
    tg = item.glass_transition_C
    if tg and view.scale(tg[1]) > high:
        text = f"Tg {view.temperature(tg[1], whole=True)} ↑"
        side = {"x": 0, "xanchor": "left"} if 2 * view.now > start + end else {"x": 1, "xanchor": "right"}
        notes.append(_note(text, xref="paper", **side, yref="paper", y=1.01, font={"color": "@tg"}))
    return notes


def _clear_place(
    curve: Curve, level: float, span: tuple[float, float], view: View, start: int, end: int
) -> Json:
    """Where a name along a level line is furthest from what is drawn: above it or below it, and how far along.

    A name takes a fifth of the plot's width and a seventh of the lane's height, as on the narrowest phone.
    """
    wide, high = 0.2, (span[1] - span[0]) / 7
    traces = (curve.panel_C, curve.air_C, curve.dew_point_C, curve.outlook_C, curve.glass_transition_C)
    points = [
        (at, view.scale(value))
        for trace in traces
        for at, value in zip(curve.t, trace, strict=True)
        if value is not None
    ]
    best, place = -1.0, (1.0 - wide, "bottom")
    for x in (1.0 - wide, 0.0, *(step / 20 for step in range(1, 16))):
        t0, t1 = start + x * (end - start), start + (x + wide) * (end - start)
        for yanchor, middle in (("bottom", level + high / 2), ("top", level - high / 2)):
            room = min((abs(y - middle) for at, y in points if t0 <= at <= t1), default=high)
            outside = middle - high / 2 < span[0] or middle + high / 2 > span[1]
            room = 0.0 if outside or t0 <= view.now <= t1 else min(room, high)
            if room > best:
                best, place = room, (x, yanchor)
    return {"xref": "paper", "x": place[0], "yanchor": place[1]}


def _milestone_names(item: Assessment, now: int, start: int, end: int) -> list[Json]:
    """Each beside its line on a row of its own, so that on no width one lies on another; later ones higher.

    On the lane's own ground: a line that runs behind a name does not strike it through.
    """
    notes: list[Json] = []
    for row, (at, name) in enumerate(likely(item, start, end)):
        wide = round(0.42 * (end - start))
        right_fits, left_fits = at + wide <= end, at - wide >= start
        left = left_fits and (not right_fits or (at <= now <= at + wide and not at - wide <= now <= at))
        side = {"xanchor": "right", "xshift": -3} if left else {"xshift": 3}
        place: Json = {
            "x": at,
            "yref": "y2 domain",
            "y": 0.02 + 0.245 * row,
            "bgcolor": "@strip",
            "borderpad": 0,
        }
        notes.append(_note(name, **place, **side))
    return notes


def _top(curve: Curve) -> float:
    """The cure lane's upper end: a little above the range, at most 1."""
    return min(1.0, 1.1 * max([0.1, *curve.conversion_high]))


def _did(done: list[Did], start: int, end: int) -> list[Json]:
    """What was done, each at its mark; a word that would run into the last one is left to the mark alone."""
    notes: list[Json] = []
    free = start
    for did in sorted(done, key=lambda did: did.at):
        if max(start, free) <= did.at <= end:
            notes.append(_note(did.label, x=did.at, xshift=3, yref="paper", y=DID, yanchor="middle"))
            free = did.at + round((0.05 if len(did.label) < 3 else 0.25) * (end - start))
    return notes


def _flag(text: str, now: int, start: int, end: int) -> list[Json]:
    """The now line's flag, inside the plot's width: it covers no number of the axis."""
    if not start <= now <= end:
        return []
    part = (now - start) / (end - start) if end > start else 0.0
    anchor = "left" if part < 0.1 else "right" if part > 0.9 else "center"
    flag = {"bgcolor": "@ink", "borderpad": 3, "xanchor": anchor, "name": "now"}
    return [_note(text, x=now, yref="paper", y=1.0, font={"color": "@strip"}, **flag)]
