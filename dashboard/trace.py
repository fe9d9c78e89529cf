"""A chart as words: its cursor, its table and its summary say the numbers that it draws."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dashboard.assessment import Assessment
from dashboard.chart_data import ChartData
from dashboard.display import TIE, View
from dashboard.thin_line import Times
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
    return _rows(data, np.arange(_count(item, data, view)), view)


def table(item: Assessment, data: ChartData, view: View) -> list[Row]:
    """At most about 48 of the rows, evenly taken, the last one among them."""
    every = np.arange(_count(item, data, view))
    step = max(1, -(-len(every) // TABLE_ROWS))
    return _rows(data, every[::-1][::step][::-1], view)


def _count(item: Assessment, data: ChartData, view: View) -> int:
    last = item.at if item.is_old(view.now) else data.t[-1]
    return int(np.searchsorted(data.t, last, "right"))


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


def _rows(data: ChartData, which: Times, view: View) -> list[Row]:
    """Of the cursor's times with these numbers."""
    ahead = (data.t > data.at) & np.isfinite(data.outlook_C)
    warm = np.where(ahead, data.outlook_C, data.panel_C)
    shares = (np.rint(100.0 * share) for share in (data.low, data.middle, data.high))
    columns = (data.t, ahead, warm, data.air_C, data.dew_C, data.margin_K, *shares)
    return [
        _row(view, *values) for values in zip(*(column[which].tolist() for column in columns), strict=True)
    ]


def _row(
    view: View, at: int, forecast: bool, panel_C: float, air_C: float, dew_C: float, margin_K: float,
    low: float, middle: float, high: float,
) -> Row:  # fmt: skip
    """One moment, NaN where nothing was measured; shares in whole per cent."""

    def warm(value: float) -> str:
        return "" if math.isnan(value) else view.temperature(value)

    return Row(
        at=at,
        clock=view.clock(at),
        panel=warm(panel_C),
        air=warm(air_C),
        dew=warm(dew_C),
        margin="" if math.isnan(margin_K) else view.difference(margin_K),
        cure=f"{int(middle)}{TIE}% ({int(low)} {LABELS['to']} {int(high)})",
        forecast=forecast,
    )
