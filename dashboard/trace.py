"""A curve as words: the chart's cursor, its table and its summary say the same numbers as the chart."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.assessment import Assessment
from dashboard.display import TIE, View
from dashboard.words import LABELS

TABLE_ROWS = 48


@dataclass(frozen=True)
class Row:
    """One moment of the curve, as text; "" where nothing was measured. `at` in UTC ms."""

    at: int
    clock: str
    panel: str
    air: str
    dew: str
    margin: str
    cure: str
    forecast: bool

    @property
    def sentence(self) -> str:
        """ "03:40: panel 5.2 °C, air 3.9 °C, dew point 4.4 °C, margin 0.8 °C, cure 45 % (38 to 52)." """
        parts = [
            f"{LABELS[name]} {value}"
            for name, value in (
                ("outlook" if self.forecast else "panel", self.panel),
                ("air", self.air),
                ("dew", self.dew),
                ("margin", self.margin),
                ("cure", self.cure),
            )
            if value
        ]
        if not self.panel:
            parts.insert(0, LABELS["missing"])
        return f"{self.clock}: {', '.join(parts)}."


def rows(item: Assessment, view: View) -> list[Row]:
    """Every point of the assessment's curve, of a stale one only those behind it; empty without a curve."""
    curve = item.curve
    if curve is None:
        return []
    last = item.at if item.is_old(view.now) else curve.t[-1]
    return [_row(item, i, view) for i, at in enumerate(curve.t) if at <= last]


def table(every: list[Row]) -> list[Row]:
    """At most about 48 of the rows, evenly taken, the last one among them."""
    step = -(-len(every) // TABLE_ROWS) if every else 1
    return every[::-1][::step][::-1]


def summary(item: Assessment, view: View) -> str:
    """The chart in one sentence: the panel's coldest and warmest, and hours without readings."""
    measured = [value for value in (item.curve.panel_C if item.curve else ()) if value is not None]
    if not measured:
        return LABELS["no_trace"]
    text = LABELS["summary"].format(low=view.temperature(min(measured)), high=view.temperature(max(measured)))
    if item.missing_h >= 1 / 6:
        text += " " + LABELS["summary_gap"].format(span=view.hours(item.missing_h))
    return text


def _row(item: Assessment, i: int, view: View) -> Row:
    curve = item.curve
    assert curve is not None
    panel, air, dew, outlook = curve.panel_C[i], curve.air_C[i], curve.dew_point_C[i], curve.outlook_C[i]
    forecast = panel is None and outlook is not None
    shown = outlook if forecast else panel
    low, middle, high = (
        round(100 * trace[i]) for trace in (curve.conversion_low, curve.conversion, curve.conversion_high)
    )
    return Row(
        at=curve.t[i],
        clock=view.clock(curve.t[i]),
        panel="" if shown is None else view.temperature(shown),
        air="" if air is None else view.temperature(air),
        dew="" if dew is None else view.temperature(dew),
        margin="" if panel is None or dew is None else view.difference(panel - dew),
        cure=f"{middle}{TIE}% ({low} {LABELS['to']} {high})",
        forecast=forecast,
    )
