"""The record's history chart as SVG, drawn here: legible in black alone, without a script or a style attribute."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from markupsafe import Markup, escape

from dashboard.display import HOUR, View
from dashboard.record.results import Results, Traces
from dashboard.words import RECORD

WIDE, LEFT, RIGHT = 700, 70, 10
UPPER, LOWER, DID = (28, 184), (212, 304), 324
HIGH = 380
ROWS, ROW_PX, MARK_PX = 3, 16, 20
"""Numbers of entries that would run into each other are set in rows below one another."""
TICKS = 9


@dataclass(frozen=True)
class Mark:
    """Something that was done: UTC ms, and its number among the entries."""

    at: int
    label: str


@dataclass(frozen=True)
class _Scale:
    """Where a value lies, in px."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)


def chart(
    results: Results, minimum_C: Iterable[float], marks: Sequence[Mark], view: View, title: str
) -> Markup:
    """Nothing without traces. minimum_C: of the cards, degC."""
    traces = results.traces
    if traces is None or len(traces.t) < 2:
        return Markup("")
    least = sorted(set(minimum_C))
    x = _Scale(traces.t[0], max(results.until, traces.t[-1]), LEFT, WIDE - RIGHT)
    low, high = _span(traces, least, view)
    y = _Scale(low, high, UPPER[1], UPPER[0])
    cure = _Scale(0.0, 100.0, LOWER[1], LOWER[0])
    parts = [
        _gaps(results, x),
        _frame(x, y, cure, view),
        *(
            _line("min", [(LEFT, y(view.scale(value))), (WIDE - RIGHT, y(view.scale(value)))])
            for value in least
        ),
        *_trace("air", traces.t, traces.air_C, x, y, view),
        *_trace("dew", traces.t, traces.dew_point_C, x, y, view),
        *_trace("panel", traces.t, traces.panel_C, x, y, view),
        *_cures(traces, x, cure),
        *_marks(marks, x),
    ]
    head = (
        f'<svg class="history" viewBox="0 0 {WIDE} {HIGH}" role="img" '
        f'aria-label="{escape(title)}" xmlns="http://www.w3.org/2000/svg">'
    )
    return Markup(head + _HATCH + "".join(parts) + "</svg>")


_HATCH = (
    '<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V7" class="hatch"/></pattern></defs>'
)


def _span(traces: Traces, least: Sequence[float], view: View) -> tuple[float, float]:
    values = [
        view.scale(value)
        for values in (traces.panel_C, traces.air_C, traces.dew_point_C, least)
        for value in values
        if value is not None
    ] or [view.scale(0.0), view.scale(20.0)]
    step = 5.0 if view.unit == "degC" else 10.0
    low, high = min(values) // step * step, -(-max(values) // step) * step
    return low, max(high, low + step)


def _text(kind: str, x: float, y: float, text: str) -> str:
    return f'<text class="{kind}" x="{x}" y="{y}">{escape(text)}</text>'


def _line(kind: str, points: Iterable[tuple[float, float]]) -> str:
    return f'<path class="{kind}" d="M{" L".join(f"{x} {y}" for x, y in points)}"/>'


def _trace(
    kind: str, t: Sequence[int], values: Sequence[float | None], x: _Scale, y: _Scale, view: View
) -> list[str]:
    """A line for each run of values; a hole is not drawn over."""
    runs: list[list[tuple[float, float]]] = [[]]
    for at, value in zip(t, values, strict=True):
        if value is None:
            runs.append([])
        else:
            runs[-1].append((x(at), y(view.scale(value))))
    return [_line(kind, run) for run in runs if len(run) > 1]


def _gaps(results: Results, x: _Scale) -> str:
    boxes = [(x(max(a, x.low)), x(b)) for a, b in results.gaps if b > x.low]
    return "".join(
        f'<rect class="gap" x="{a}" y="{UPPER[0]}" width="{max(round(b - a, 1), 1.0)}" height="{LOWER[1] - UPPER[0]}"/>'
        for a, b in boxes
    )


def _frame(x: _Scale, y: _Scale, cure: _Scale, view: View) -> str:
    unit = "°C" if view.unit == "degC" else "°F"
    parts = [
        _text("name", LEFT, UPPER[0] - 9, RECORD["lane_temperature"].format(unit=unit)),
        _text("name", LEFT, LOWER[0] - 7, RECORD["lane_cure"]),
    ]
    step = 5.0 if view.unit == "degC" else 10.0
    step *= max(1, round((y.high - y.low) / step / 5))
    value = y.low
    while value <= y.high + 1e-9:
        parts.append(_line("grid", [(LEFT, y(value)), (WIDE - RIGHT, y(value))]))
        parts.append(_text("left", LEFT - 5, y(value) + 5, f"{value:.0f}".replace("-", "−")))
        value += step
    for value in (0.0, 50.0, 100.0):
        parts.append(_line("grid", [(LEFT, cure(value)), (WIDE - RIGHT, cure(value))]))
        parts.append(_text("left", LEFT - 5, cure(value) + 5, f"{value:.0f}"))
    for at, text in _hours(int(x.low), int(x.high), view):
        parts.append(_line("tick", [(x(at), LOWER[1]), (x(at), LOWER[1] + 5)]))
        parts.append(_text("hour", x(at), LOWER[1] + 18, text))
    return "".join(parts)


def _hours(start: int, end: int, view: View) -> list[tuple[int, str]]:
    """Whole hours of the shop's clock, or days, about nine of them."""
    every = next((n for n in (1, 2, 3, 6, 12, 24, 48, 96, 168) if (end - start) / HOUR / n <= TICKS), 336)
    found, at = [], -(-start // HOUR) * HOUR
    while at <= end:
        local = datetime.fromtimestamp(at / 1000, UTC).astimezone(view.zone)
        on_grid = local.hour % min(every, 24) == 0 and local.toordinal() % max(every // 24, 1) == 0
        if local.minute == 0 and on_grid:
            found.append((at, f"{local:%H}:00" if local.hour else f"{local.day} {local:%b}"))
        at += HOUR
    return found


def _cures(traces: Traces, x: _Scale, cure: _Scale) -> list[str]:
    parts = []
    for number, values in enumerate(traces.conversion, start=1):
        known = [(at, value) for at, value in zip(traces.t, values, strict=True) if value is not None]
        if len(known) < 2:
            continue
        top = [(x(at), cure(100 * high)) for at, (_, _, high) in known]
        bottom = [(x(at), cure(100 * low)) for at, (low, _, _) in known]
        parts.append(_line("range", [*top, *bottom[::-1]]))
        middle = [(x(at), cure(100 * value)) for at, (_, value, _) in known]
        parts.append(_line("cure", middle))
        parts.append(_text("coat", middle[0][0] + 3, LOWER[1] - 4, str(number)))
    return parts


def _marks(marks: Sequence[Mark], x: _Scale) -> list[str]:
    """Each entry's number under the chart, in the first row that has room for it."""
    parts, free = [_text("name", 0, DID + 20, RECORD["lane_did"])], [0.0] * ROWS
    inside = sorted((mark for mark in marks if x.low <= mark.at <= x.high), key=lambda mark: mark.at)
    for mark in inside:
        at = x(mark.at)
        row = next((index for index, end in enumerate(free) if at >= end), free.index(min(free)))
        free[row] = at + MARK_PX
        parts.append(_line("did", [(at, LOWER[1]), (at, LOWER[1] + 6)]))
        parts.append(_text("number", at, DID + 20 + row * ROW_PX, mark.label))
    return parts
