"""A chart as words: its cursor, its table and its summary say the numbers that it draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.assessment import Assessment
from dashboard.chart_data import ChartData
from dashboard.display import TIE, View
from dashboard.words import LABELS

TABLE_ROWS = 48


@dataclass(frozen=True)
class Row:
    """One moment of the chart, as text; "" where nothing was measured. `at` in UTC ms."""

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


def rows(item: Assessment, data: ChartData, view: View) -> list[Row]:
    """Each of the cursor's times; of a stale answer only those behind it."""
    return [_row(data, i, view) for i in _shown(item, data, view)]


def table(item: Assessment, data: ChartData, view: View) -> list[Row]:
    """At most about 48 of the rows, evenly taken, the last one among them."""
    every = _shown(item, data, view)
    step = max(1, -(-len(every) // TABLE_ROWS))
    return [_row(data, i, view) for i in every[::-1][::step][::-1]]


def _shown(item: Assessment, data: ChartData, view: View) -> range:
    last = item.at if item.is_old(view.now) else data.t[-1]
    return range(int(np.searchsorted(data.t, last, "right")))


def summary(item: Assessment, data: ChartData, view: View) -> str:
    """The chart in one sentence: the panel's coldest and warmest, and hours without readings."""
    measured = data.lines.panel.value
    if not len(measured):
        return LABELS["no_trace"]
    low, high = float(np.min(measured)), float(np.max(measured))
    text = LABELS["summary"].format(low=view.temperature(low), high=view.temperature(high))
    if item.missing_h >= 1 / 6:
        text += " " + LABELS["summary_gap"].format(span=view.hours(item.missing_h))
    return text


def _row(data: ChartData, i: int, view: View) -> Row:
    at = int(data.t[i])
    forecast = bool(at > data.at and np.isfinite(data.outlook_C[i]))
    shown = data.outlook_C[i] if forecast else data.panel_C[i]
    low, middle, high = (round(100 * float(trace[i])) for trace in (data.low, data.middle, data.high))

    def warm(value: float) -> str:
        return "" if np.isnan(value) else view.temperature(float(value))

    margin = data.margin_K[i]
    return Row(
        at=at,
        clock=view.clock(at),
        panel=warm(shown),
        air=warm(data.air_C[i]),
        dew=warm(data.dew_C[i]),
        margin="" if np.isnan(margin) else view.difference(float(margin)),
        cure=f"{middle}{TIE}% ({low} {LABELS['to']} {high})",
        forecast=forecast,
    )
