"""The chart's JSON: gaps stay gaps, the scale turns, nothing is an inline style, and the table says the same."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import trace, words
from dashboard.assessment import Assessment, Curve, Passing
from dashboard.chart_data import ChartData, chart_data
from dashboard.chart_layout import Did, on_scale, window
from dashboard.devices import ProbeLog, probe_logs
from dashboard.display import TIE, View
from dashboard.figures import figure
from dashboard.panel import Event
from model.resin_card import Milestone
from tests.browser.fake_shop import HOUR, MINUTE, NOW, ZONE, FakeShop, answer, stopped
from tests.dashboard.charted import put_together
from tests.dashboard.client import Client

ITEM = answer("plug-7", "Plug 7", stopped(NOW))
GAP = ITEM.gaps[0]


def view(unit: str = "degC", zone: str = ZONE) -> View:
    return View(ZoneInfo(zone), unit, NOW)


def drawn(item: Any = ITEM, unit: str = "degC") -> dict[str, Any]:
    return figure(item, of(item), [Did(NOW - 10 * HOUR, "1")], view(unit))


def of(item: Assessment) -> ChartData:
    assert item.curve is not None
    return chart_data(item, item.curve)


def lines(chart: dict[str, Any], colour: str) -> list[dict[str, Any]]:
    return [line for line in chart["data"] if line["yaxis"] == "y" and line["line"]["color"] == colour]


def test_no_measured_line_crosses_a_gap() -> None:
    chart = drawn()
    measured = [*lines(chart, "@air"), *lines(chart, "@dew"), lines(chart, "@ink")[-1]]
    assert len(measured) == 3
    for line in measured:
        points = list(zip(line["x"], line["y"], strict=True))
        assert not [y for x, y in points if GAP[0] <= x < GAP[1] and y is not None]
        across = [
            (a, b) for (a, y), (b, z) in itertools.pairwise(points)
            if a < GAP[0] + MINUTE and b > GAP[1] - MINUTE and None not in (y, z)
        ]  # fmt: skip
        assert across == []
        assert [x for x, y in points if x < GAP[0]]
        assert [x for x, y in points if x >= GAP[1]]
        assert line["connectgaps"] is False


def test_each_gap_is_a_hatched_band_of_its_own_length() -> None:
    bands = [line for line in drawn()["data"] if line.get("fillpattern", {}).get("shape") == "/"]
    assert [(min(band["x"]), max(band["x"])) for band in bands] == [GAP]
    assert drawn()["layout"]["yaxis4"]["domain"] == [0, 1]


@pytest.mark.parametrize("unit", ["degC", "degF"])
def test_the_lane_is_drawn_on_the_viewers_scale(unit: str) -> None:
    line = lines(drawn(unit=unit), "@ink")[-1]
    celsius = ITEM.curve.panel_C[0]
    assert line["y"][0] == pytest.approx(celsius if unit == "degC" else celsius * 1.8 + 32, abs=0.006)
    low, high = drawn(unit=unit)["layout"]["yaxis"]["range"]
    assert low <= min(y for y in line["y"] if y is not None)
    assert high >= max(y for y in line["y"] if y is not None)


def test_tg_is_drawn_only_where_the_panels_scale_has_room_for_it() -> None:
    (tg,) = lines(drawn(), "@tg")
    low, high = drawn()["layout"]["yaxis"]["range"]
    assert all(low <= y <= high for y in tg["y"] if y is not None)
    assert [note["text"] for note in drawn()["layout"]["annotations"] if "Tg" in note["text"]] == ["Tg ↑"], (
        "later on"
    )
    hot = replace(ITEM, curve=replace(ITEM.curve, glass_transition_C=(41.0,) * len(ITEM.curve.t)))
    notes = [note["text"] for note in drawn(hot)["layout"]["annotations"] if "Tg" in note["text"]]
    assert notes == [f"Tg 41{TIE}°C ↑"]


def test_the_chart_holds_no_markup_and_no_colour_of_its_own() -> None:
    text = json.dumps(drawn())
    assert "<" not in text
    assert "#" not in text
    assert json.loads(json.dumps(drawn(), allow_nan=False)) == drawn()


def test_the_now_line_stands_at_now_with_its_flag() -> None:
    layout = drawn()["layout"]
    assert any(shape["x0"] == NOW and shape["x1"] == NOW for shape in layout["shapes"])
    assert any(note["text"] == "now" and note["x"] == NOW for note in layout["annotations"])


def test_hours_are_named_in_the_shops_zone_and_stay_in_order_when_the_clocks_change() -> None:
    """EU summer time ends on the last Sunday of October at 01:00 UTC (Directive 2000/84/EC)."""
    change = 1792890000000  # 2026-10-25T01:00Z
    t = tuple(change - 4 * HOUR + i * 10 * MINUTE for i in range(48))
    n = len(t)
    curve = Curve(t, *[(0.1,) * n] * 3, (0.0,) * n, *[(10.0,) * n] * 4)
    item = replace(ITEM, curve=curve, gaps=(), milestones=(), good_until=change + HOUR)
    axis = figure(item, of(item), [], View(ZoneInfo(ZONE), "degC", change))["layout"]["xaxis"]
    assert axis["tickvals"] == sorted(axis["tickvals"])
    assert axis["ticktext"] == ["00", "02", "02", "04"]


def test_the_film_rail_is_highest_where_the_panel_was_wet() -> None:
    rails = [bars for bars in drawn()["data"] if bars["yaxis"] == "y3"]
    wet = next(bars for bars in rails if bars["marker"]["color"] == "@care")
    assert set(wet["y"]) == {1.0}
    margins = {
        at: panel - dew
        for at, panel, dew in zip(ITEM.curve.t, ITEM.curve.panel_C, ITEM.curve.dew_point_C, strict=True)
        if panel is not None and dew is not None
    }
    cell = 20 * MINUTE
    assert wet["width"] < cell
    under = {at // cell for at, margin in margins.items() if margin <= 0.3 and at <= NOW}
    assert {(x - cell // 2) / cell for x in wet["x"]} == under
    every = {(x - cell // 2) / cell for bars in rails for x in bars["x"]}
    assert every == {at // cell for at in margins if at <= NOW}


def test_the_cursor_says_the_numbers_of_the_chart() -> None:
    rows = trace.rows(ITEM, of(ITEM), view())
    first = rows[0].sentence.replace(TIE, " ")
    assert first == (
        "Sat 17:00: panel 16.8 °C, air 15.2 °C, dew point 4.0 °C, margin 12.8 °C, cure 0 % (0 to 2)."
    )
    missing = next(row for row in rows if GAP[0] <= row.at < GAP[1])
    assert ": no readings, cure" in missing.sentence
    ahead = rows[-1].sentence
    assert "outlook" in ahead
    assert "no readings" not in ahead


def test_the_table_ends_with_the_chart_and_is_short() -> None:
    rows = trace.rows(ITEM, of(ITEM), view())
    short = trace.table(ITEM, of(ITEM), view())
    assert short[-1] == rows[-1]
    assert len(short) <= 48
    assert set(short) <= set(rows)


def test_the_summary_names_the_hours_that_are_missing() -> None:
    assert trace.summary(ITEM, of(ITEM), view()).replace(TIE, " ") == (
        "Panel between 4.0 °C and 16.8 °C. 1 h 05 without readings."
    )


def test_milestones_of_the_model_are_named_in_words_and_the_minor_ones_left_out() -> None:
    assert words.MILESTONES.keys() <= {milestone.value for milestone in Milestone}
    texts = [note["text"] for note in drawn()["layout"]["annotations"]]
    assert [text for text in texts if text in words.MILESTONES.values()] == [
        "recoat from",
        "recoat until",
        "sand",
    ]
    assert not any("_" in text for text in texts)


def test_now_never_stands_further_left_than_the_middle_of_a_long_outlook() -> None:
    n = 72 * 6
    curve = Curve(
        tuple(NOW - 10 * HOUR + i * 10 * MINUTE for i in range(n)), *[(0.5,) * n] * 4, *[(None,) * n] * 4
    )
    data = of(replace(ITEM, curve=curve))
    assert window(data, NOW) == (NOW - 10 * HOUR, NOW + 10 * HOUR)
    assert window(data, NOW - 9 * HOUR) == (NOW - 10 * HOUR, NOW - HOUR)


def test_the_cursor_goes_as_far_as_the_chart(client: Client) -> None:
    told = put_together(client.get("/api/panels/plug-7/chart").json(), {})
    start, end = told["layout"]["xaxis"]["range"]
    assert told["cursor"][0]["at"] == start
    assert end - 10 * MINUTE < told["cursor"][-1]["at"] <= end


def boxes(chart: dict[str, Any], width: int, high: float) -> list[tuple[float, float, float]]:
    """Where each milestone's name lies in the cure lane of a plot that wide: left, right and foot, px."""
    layout, found = chart["layout"], []
    names = set(words.MILESTONES.values())
    for note in layout["annotations"]:
        if note["text"] in names:
            wide, shift = 7.5 * len(note["text"]), note["xshift"]
            left = width + shift - wide if note["xanchor"] == "right" else shift
            foot = note["y"] / layout["yaxis2"]["range"][1] * high - (14 if note["yanchor"] == "top" else 0)
            found.append((left, left + wide, foot))
    return found


@pytest.mark.parametrize("width", [246, 316, 880])
def test_no_milestones_name_lies_on_another_or_outside_the_chart(width: int) -> None:
    """7.5 px a letter and 14 px a line is the most that a 13 px system font was measured at; the lane is 79 px high."""
    near = replace(
        ITEM,
        milestones=tuple(
            replace(passing, likely=NOW + i * 5 * MINUTE) for i, passing in enumerate(ITEM.milestones)
        ),
    )
    for item in (ITEM, near):
        found = boxes(drawn(item), width, 79.0)
        assert len(found) == 3
        assert all(left >= 0 and right <= width and 0 <= foot <= 65.5 for left, right, foot in found)
        for one, other in itertools.combinations(found, 2):
            assert one[1] <= other[0] or other[1] <= one[0] or abs(one[2] - other[2]) >= 14


def test_a_milestones_line_crosses_the_likely_course_at_its_likely_time() -> None:
    chart = drawn()
    marks = next(trace for trace in chart["data"] if trace.get("mode") == "markers")
    assert marks["x"] == [NOW - 8 * HOUR, NOW - HOUR, NOW + 6 * HOUR]
    lines = [shape["y0"] for shape in chart["layout"]["shapes"] if shape["yref"] == "y2"]
    assert lines == marks["y"]
    curve = ITEM.curve
    assert marks["y"] == pytest.approx(np.interp(marks["x"], curve.t, curve.conversion).tolist(), abs=1e-4)


@pytest.mark.parametrize("hours", [0, 1, 6, 19.8])
def test_the_flag_covers_neither_the_axis_nor_the_name_of_tg(hours: float) -> None:
    now = ITEM.curve.t[0] + round(hours * HOUR)
    hot = replace(ITEM.curve, glass_transition_C=(41.0,) * len(ITEM.curve.t))
    item = replace(ITEM, at=now, good_until=now + 10 * MINUTE, curve=hot)
    layout = figure(item, of(item), [], replace(view(), now=now))["layout"]
    start, end = layout["xaxis"]["range"]
    flag = next(note for note in layout["annotations"] if note.get("name") == "now")
    tg = next(note for note in layout["annotations"] if note["text"].startswith("Tg "))
    x = 316 * (now - start) / (end - start)
    left = x - {"left": 0, "center": 20, "right": 40}[flag["xanchor"]]
    assert left >= 0
    assert left + 40 <= 316
    tg_left, tg_right = 316 * tg["x"], 316 * tg["x"] + 80
    assert 0 <= tg_left <= tg_right <= 316
    assert left >= tg_right or left + 40 <= tg_left


def test_the_minimums_name_keeps_away_from_the_outlook() -> None:
    """The outlook runs through the minimum at the right end, the panel well above it at the left."""
    n = len(ITEM.curve.t)
    ahead = tuple(10.5 if at > NOW else None for at in ITEM.curve.t)
    behind = tuple(16.0 if at <= NOW else None for at in ITEM.curve.t)
    curve = replace(ITEM.curve, outlook_C=ahead, panel_C=behind, air_C=(None,) * n, dew_point_C=(2.0,) * n)
    notes = figure(found := replace(ITEM, curve=curve), of(found), [], view())["layout"]["annotations"]
    name = next(note for note in notes if note["text"].startswith("min "))
    assert name["x"] + 0.2 <= (NOW - curve.t[0]) / (curve.t[-1] - curve.t[0])


def test_a_stale_chart_ends_where_it_was_worked_out_and_its_flag_says_when() -> None:
    late = replace(view(), now=ITEM.good_until)
    layout = figure(ITEM, of(ITEM), [], late)["layout"]
    assert layout["xaxis"]["range"][1] == NOW
    assert [note["text"] for note in layout["annotations"] if note.get("name") == "now"] == ["06:10"]
    assert "likely sand" not in [note["text"] for note in layout["annotations"]]
    assert not any(row.forecast for row in trace.rows(ITEM, of(ITEM), late))
    assert any(row.forecast for row in trace.rows(ITEM, of(ITEM), view()))


def test_the_milestones_names_stand_at_the_end_that_the_course_leaves_free() -> None:
    """A quick resin runs up at the left and lies flat at the right, above the lines of its milestones."""
    n = len(ITEM.curve.t)
    quick = tuple(1.0 - math.exp(-i / 6.0) for i in range(n))
    curve = replace(ITEM.curve, conversion=quick, conversion_low=quick, conversion_high=quick)
    passed = [
        (name, ITEM.curve.t[0] + minutes * MINUTE) for name, minutes in (("recoat_from", 30), ("sand", 120))
    ]
    item = replace(ITEM, curve=curve, milestones=tuple(Passing(name, at, at, at, 1.0) for name, at in passed))
    notes = [
        note for note in drawn(item)["layout"]["annotations"] if note["text"] in words.MILESTONES.values()
    ]
    assert [(note["text"], note["xanchor"], note["bgcolor"]) for note in notes] == [
        ("recoat from", "right", "@strip"), ("sand", "right", "@strip"),
    ]  # fmt: skip
    assert {note["xanchor"] for note in drawn()["layout"]["annotations"] if note["text"] == "sand"} == {
        "left"
    }


def test_a_silent_probes_chart_reaches_now_with_room_for_the_flag() -> None:
    """Traces that end hours ago are followed by the hatched gap, up to now and no further than the flag needs."""
    assert ITEM.curve is not None
    cut = sum(at <= NOW - 3 * HOUR for at in ITEM.curve.t)
    ended = Curve(**{name: value[:cut] for name, value in vars(ITEM.curve).items()})
    start, end = window(of(replace(ITEM, curve=ended)), NOW)
    assert start == ended.t[0]
    assert NOW < end < NOW + (NOW - start) / 10


def test_the_probes_log_is_gone_through_once_for_a_chart(
    shop: FakeShop, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its lines and its rail take the same."""
    gone_through: list[int] = []

    def counted(events: list[Event], probes: list[str]) -> dict[str, ProbeLog]:
        gone_through.append(len(events))
        return probe_logs(events, probes)

    monkeypatch.setattr("dashboard.desk.probe_logs", counted)
    assert client.get("/api/panels/plug-7/chart").status_code == 200
    assert gone_through == [len(shop.logbook.events())]


@given(st.lists(st.floats(-60.0, 300.0), max_size=20), st.sampled_from(["degC", "degF"]))
def test_many_temperatures_are_scaled_as_each_of_them(celsius: list[float], unit: str) -> None:
    """To the last bit: the chart's lines, its cursor and its names say the same numbers."""
    look = view(unit)
    assert on_scale(np.array(celsius), look).tolist() == [look.scale(value) for value in celsius]
