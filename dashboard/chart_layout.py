"""What stands around a chart's traces: axes, hour marks, milestones, the now line with its flag, and names.

Names keep clear of one another on the narrowest phone; on anything wider there is more room between them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from dashboard.assessment import Assessment
from dashboard.chart_data import ChartData
from dashboard.display import HOUR, UNITS, View
from dashboard.thin_line import Floats
from dashboard.words import LABELS, MILESTONES

Json = dict[str, Any]
UPPER, LOWER, FILM, DID = (0.55, 1.0), (0.2, 0.51), (0.1, 0.16), 0.05
"""Where each lane lies, from the bottom of the plot to its top, 0 to 1."""
PLOT_PX = (244, 256)
"""The plot's width and height at 320 px, the narrowest page there is."""
LETTER_PX, ROW_PX = 7.6, 15
"""Room a letter takes at most in the chart's 13 px system font, measured; and a row of them."""


@dataclass(frozen=True)
class Did:
    """Something that people did, for the rail: UTC ms and a short word; `brief` where there is no room for that."""

    at: int
    label: str
    brief: str = ""


FLAG_ROOM = 0.06
"""Share of the past kept free right of now where nothing is told of what lies ahead."""


def layout(
    item: Assessment,
    data: ChartData,
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
        "yaxis2": {**fixed, "domain": list(LOWER), "range": [0, round(cure_top(data), 4)]},
        "yaxis3": {**fixed, "domain": list(FILM), "range": [0, 1]},
        "yaxis4": {**fixed, "domain": [0, 1], "range": [0, 1]},
        "shapes": [*_lines(item, data, span, view, start, end), *_now(view.now, start, end), *_marks(done, start, end)],
        "annotations": [
            *_names(item, data, span, view, start, end), *_did(done, start, end), *_flag(flag, view.now, start, end),
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


def _lines(
    item: Assessment, data: ChartData, span: tuple[float, float], view: View, start: int, end: int
) -> list[Json]:
    """The card's minimum across the temperature lane, each milestone across the cure lane."""
    shapes = [_across("y2", level, "@ink", "solid", 1) for _, level, _ in levels(item, data, start, end)]
    if item.minimum_C is not None and span[0] <= view.scale(item.minimum_C) <= span[1]:
        shapes.append(_across("y", view.scale(item.minimum_C), "@ink", "dot"))
    return shapes


def levels(item: Assessment, data: ChartData, start: int, end: int) -> list[tuple[int, float, str]]:
    """Milestones whose likely time stands in the chart, the least cured first: UTC ms, cure, and the name in words.

    A milestone is no fixed cure (model.milestones): its line lies where the likely course is when it passes, so the two
    cross at the likely time.
    """
    found = [
        (passing.likely, MILESTONES[passing.name])
        for passing in item.milestones
        if passing.name in MILESTONES and passing.likely is not None and start <= passing.likely <= end
    ]
    if not len(data):
        return []
    cure = np.interp([at for at, _ in found], data.t, data.middle).tolist() if found else []
    made = [(at, round(level, 4), name) for (at, name), level in zip(found, cure, strict=True)]
    return sorted(made, key=lambda one: (one[1], one[0]))


def window(data: ChartData, now: int, stale: bool = False) -> tuple[int, int]:
    """What the chart shows, UTC ms: from the first point to as far ahead of now as behind it, at least 8 h.

    A stale answer says nothing of what lies ahead: its chart ends at `now`. Where the traces end before now, because
    a probe is silent, the hatched gap is shown up to now, with room for the flag.
    """
    start, last = int(data.t[0]), int(data.t[-1])
    if stale:
        return start, max(now, start)
    ahead = min(last, max(now, start) + max(8 * HOUR, now - start))
    return start, max(ahead, now + round(FLAG_ROOM * (now - start)))


def on_scale(celsius: Floats, view: View) -> Floats:
    """Temperatures on the viewer's scale, to the last bit as View.scale() has each."""
    return celsius if view.unit == "degC" else celsius * 1.8 + 32.0


def _across(axis: str, y: float, colour: str, dash: str, width: float = 1.5) -> Json:
    line = {"color": colour, "width": width, "dash": dash}
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
    item: Assessment, data: ChartData, span: tuple[float, float], view: View, start: int, end: int
) -> list[Json]:
    """The lanes' names, and each line's where it stands."""
    low, high = span
    left: Json = {"xref": "paper", "x": -0.01, "xanchor": "right"}
    notes = [
        _note(UNITS[view.unit], **left, yref="paper", y=1.03),
        _note(LABELS["cure"], **left, yref="y2 domain", y=1.0, yanchor="top"),
        _note(LABELS["did"], **left, yref="paper", y=DID, yanchor="middle"),
        _note(LABELS["film"], **left, yref="y3", y=0.5, yanchor="middle"),
        *_milestone_names(item, data, view.now, start, end),
    ]
    if item.minimum_C is not None and low <= view.scale(item.minimum_C) <= high:
        minimum = view.scale(item.minimum_C)
        text = LABELS["card_minimum"].format(value=f"{minimum:.0f}".replace("-", "−"))
        notes.append(
            _note(
                text, yref="y", y=minimum, **_clear_place(data, item.gaps, minimum, span, view, (start, end))
            )
        )
    text = _tg_leaves(data, high, view)
    if text:
        place = _leaves(data, high, len(text), view, start, end)
        notes.append(_note(text, xref="paper", **place, yref="paper", y=1.01, font={"color": "@tg"}))
    return notes


def _tg_leaves(data: ChartData, high: float, view: View) -> str:
    """ "Tg 41 °C ↑" where Tg is above the lane now, "Tg ↑" where it only will be, "" where it stays inside."""
    here = float(np.interp(data.at, data.t, data.tg_C)) if len(data) else -np.inf
    if view.scale(here) > high:
        return f"Tg {view.temperature(here, whole=True)} ↑"
    return "Tg ↑" if np.any(on_scale(data.tg_C, view) > high) else ""


def _leaves(data: ChartData, high: float, letters: int, view: View, start: int, end: int) -> Json:
    """Above the point where Tg leaves the lane, or as near it as the edges and the flag of now let it."""
    wide = letters * LETTER_PX / PLOT_PX[0]
    above = data.t[on_scale(data.tg_C, view) > high]
    x = (int(above[0]) - start) / (end - start) if len(above) and end > start else 0.0
    flag, half = (view.now - start) / max(end - start, 1), 28 / PLOT_PX[0]
    taken = (flag - half, flag + half) if 0.1 <= flag <= 0.9 else (flag - 2 * half, flag + 2 * half)
    free: list[float] = [
        at
        for at in (x, x - wide, taken[0] - wide, taken[1], 0.0, 1.0 - wide)
        if at >= 0.0 and at + wide <= 1.0 and (at + wide <= taken[0] + 1e-9 or at >= taken[1] - 1e-9)
    ]
    nearest = min(free, key=lambda at: abs(at - x), default=0.0)
    return {"x": round(nearest, 4), "xanchor": "left"}


def _clear_place(
    data: ChartData,
    gaps: Iterable[tuple[int, int]],
    level: float,
    span: tuple[float, float],
    view: View,
    shown: tuple[int, int],
) -> Json:
    """Where a name along a level line is furthest from what is drawn: above it or below it, and how far along.

    A name takes a fifth of the plot's width and a seventh of the lane's height, as on the narrowest phone.
    """
    wide, high, (start, end) = 0.22, (span[1] - span[0]) / 7, shown
    traces = on_scale(np.array([data.panel_C, data.air_C, data.dew_C, data.outlook_C, data.tg_C]), view)
    best, place = -1.0, (1.0 - wide, "bottom")
    for x in (1.0 - wide, 0.0, *(step / 20 for step in range(1, 16))):
        t0, t1 = start + x * (end - start), start + (x + wide) * (end - start)
        here = traces[:, (data.t >= t0) & (data.t <= t1)]
        near = here[np.isfinite(here)]
        crossed = t0 <= view.now <= t1 or any(a < t1 and b > t0 for a, b in gaps)
        for yanchor, middle in (("bottom", level + high / 2), ("top", level - high / 2)):
            room = float(np.min(np.abs(near - middle), initial=high))
            outside = middle - high / 2 < span[0] or middle + high / 2 > span[1]
            room = 0.0 if outside or crossed else room
            if room > best:
                best, place = room, (x, yanchor)
    return {"xref": "paper", "x": place[0], "yanchor": place[1]}


def _milestone_names(item: Assessment, data: ChartData, now: int, start: int, end: int) -> list[Json]:
    """Each on its line at the clearer side, or below it where the course or the next line is close above it; close ones
    beside one another.

    On the lane's own ground: what runs behind a name does not strike it through.
    """
    found = levels(item, data, start, end)
    px = PLOT_PX[1] * (LOWER[1] - LOWER[0]) / cure_top(data)
    right = _right_is_clearer(found, data, now, start, end)
    notes: list[Json] = []
    placed: list[tuple[float, float]] = []
    course = np.interp(
        [end - 0.2 * (end - start) if right else start + 0.2 * (end - start)], data.t, data.middle
    )[0]
    for (_, level, name), above in zip(found, [*(level for _, level, _ in found), np.inf][1:], strict=True):
        wide = len(name) * LETTER_PX
        tight = (above - level) * px < 2 * ROW_PX <= 2 * level * px
        below = level <= course + 1e-3 and (tight or (course - level) * px < ROW_PX)
        foot = level * px - (ROW_PX if below else 0)
        shift = max((end_px for y, end_px in placed if abs(foot - y) < ROW_PX), default=4.0)
        placed.append((foot, shift + wide + 6.0))
        side = {"x": 1, "xanchor": "right", "xshift": -shift} if right else {"x": 0, "xshift": shift}
        place = {"yanchor": "top", "yshift": -1} if below else {"yshift": 1}
        notes.append(
            _note(name, xref="paper", **side, yref="y2", y=level, **place, bgcolor="@strip", borderpad=0)
        )
    return notes


def _right_is_clearer(
    found: list[tuple[int, float, str]], data: ChartData, now: int, start: int, end: int
) -> bool:
    """Whether names at the right end hide less of the course, of now and of the likely times than at the left."""
    wide = 0.4 * (end - start)
    px = cure_top(data) * ROW_PX / (PLOT_PX[1] * (LOWER[1] - LOWER[0]))

    def hidden(begin: float, until: float) -> int:
        inside = (data.t >= begin) & (data.t <= until)
        course = sum(
            int(np.any(inside & (np.abs(data.middle - level - px / 2) < px))) for _, level, _ in found
        )
        return course + sum(begin <= at <= until for at, _, _ in found) + int(begin <= now <= until)

    return hidden(end - wide, end) < hidden(start, start + wide)


def cure_top(data: ChartData) -> float:
    """The cure lane's upper end: a little above the range, with room for a name on the highest line."""
    highest = float(np.max(data.high)) if len(data) else 0.0
    middle = float(np.max(data.middle)) if len(data) else 0.0
    room = ROW_PX / (PLOT_PX[1] * (LOWER[1] - LOWER[0]))
    return max(0.1, 1.04 * highest, middle / (1.0 - room))


def _did(done: list[Did], start: int, end: int) -> list[Json]:
    """What was done, each at its mark; a word that would run into the next mark, or out, is left to the mark alone."""
    notes: list[Json] = []
    px = (end - start) / PLOT_PX[0]
    inside = sorted((did for did in done if start <= did.at <= end), key=lambda did: did.at)
    for n, did in enumerate(inside):
        free = inside[n + 1].at if n + 1 < len(inside) else end + 10 * px
        for text in (did.label, did.brief):
            if text and did.at + (len(text) * LETTER_PX + 6) * px <= free:
                notes.append(_note(text, x=did.at, xshift=3, yref="paper", y=DID, yanchor="middle"))
                break
    return notes


def _flag(text: str, now: int, start: int, end: int) -> list[Json]:
    """The now line's flag, inside the plot's width: it covers no number of the axis."""
    if not start <= now <= end:
        return []
    part = (now - start) / (end - start) if end > start else 0.0
    anchor = "left" if part < 0.1 else "right" if part > 0.9 else "center"
    flag = {"bgcolor": "@ink", "borderpad": 3, "xanchor": anchor, "name": "now"}
    return [_note(text, x=now, yref="paper", y=1.0, font={"color": "@strip"}, **flag)]
