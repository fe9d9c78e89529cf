"""Numbers and times as text. Kelvin-to-Fahrenheit factors: 1.8 by definition (BIPM SI Brochure, 9th ed., 2.3.1)."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.display import HOUR, MINUTE, TIE, View, grid
from model.verdict import Say
from tests.browser.fake_shop import utc

OSLO = ZoneInfo("Europe/Oslo")
NOW = utc("2026-01-11 05:10")


def view(now: int = NOW, unit: str = "degC", zone: str = "Europe/Oslo") -> View:
    return View(ZoneInfo(zone), unit, now)


def plain(text: str) -> str:
    return text.replace(TIE, " ")


@pytest.mark.parametrize(
    ("minutes", "before", "wait"),
    [
        (7, "06:17", "06:17"),
        (42, "06:50", "06:55"),
        (179, "09:05", "09:10"),
        (187, "09:15", "09:30"),
        (11 * 60 + 8, "17:15", "17:30"),
        (13 * 60 + 8, "19:00", "20:00"),
    ],
)
def test_a_before_is_rounded_down_and_a_from_up(minutes: int, before: str, wait: str) -> None:
    at = NOW + minutes * MINUTE
    assert plain(view().sentence(Say("recoatable", {"shut_by": at}))) == f"Recoat before {before}"
    assert plain(view().sentence(Say("setting", {"open_from": at}))) == f"Wait until {wait}, then recoat"


@given(
    st.integers(NOW, NOW + 47 * HOUR), st.sampled_from(["Europe/Oslo", "Asia/Kathmandu", "America/St_Johns"])
)
def test_rounding_never_leaves_the_safe_side_nor_goes_further_than_its_step(at: int, zone: str) -> None:
    look = view(zone=zone)
    down, up = look.rounded(at, "shut_by"), look.rounded(at, "open_from")
    assert at - grid(at - NOW) < down <= at <= up < at + grid(at - NOW)


def test_a_limit_that_is_met_exactly_is_not_moved() -> None:
    assert view().rounded(NOW + 40 * MINUTE, "shut_by") == NOW + 40 * MINUTE
    assert view().rounded(NOW + 40 * MINUTE, "open_from") == NOW + 40 * MINUTE


def test_facts_are_told_to_the_minute_and_likely_times_on_the_grid() -> None:
    assert (
        view().sentence(Say("why_sandable", {"passed_at": NOW - 33 * MINUTE})) == "Slow end passed at 05:37."
    )
    later = Say("why_firm", {"sand_at": NOW + 93 * MINUTE})
    assert view().sentence(later) == "Too late to bond, too soft to sand. Likely 07:45."


def test_another_day_is_named_and_a_far_one_has_its_date() -> None:
    assert plain(view().clock(utc("2026-01-12 06:30"))) == "Mon 07:30"
    assert plain(view().clock(utc("2026-01-31 06:30"))) == "31 Jan 07:30"


def test_times_on_the_night_the_clocks_go_forward_say_which_time_they_are() -> None:
    """EU summer time begins on the last Sunday of March at 01:00 UTC (Directive 2000/84/EC): 29 March 2026."""
    before = view(utc("2026-03-28 23:30"))
    assert plain(before.clock(utc("2026-03-29 00:59"))) == "01:59"
    assert plain(before.clock(utc("2026-03-29 01:00"))) == "03:00 (new time)"
    after = view(utc("2026-03-29 05:00"))
    assert plain(after.clock(utc("2026-03-29 00:30"))) == "01:30 (old time)"
    assert plain(after.clock(utc("2026-03-29 06:00"))) == "08:00"


def test_the_hour_that_comes_twice_in_autumn_is_told_apart() -> None:
    """EU summer time ends on the last Sunday of October at 01:00 UTC (Directive 2000/84/EC): 25 October 2026."""
    look = view(utc("2026-10-24 23:30"))
    assert plain(look.clock(utc("2026-10-25 00:30"))) == "02:30"
    assert plain(look.clock(utc("2026-10-25 01:30"))) == "02:30 (new time)"


def test_an_hours_rounding_across_the_change_stays_on_the_safe_side() -> None:
    look = view(utc("2026-10-24 10:00"))
    for minute in range(0, 180, 7):
        at = utc("2026-10-25 00:00") + minute * MINUTE
        assert at - HOUR < look.rounded(at, "shut_by") <= at <= look.rounded(at, "open_from") < at + HOUR


def test_headlines_have_whole_degrees_and_whys_have_tenths() -> None:
    assert plain(view().sentence(Say("probe_suspect", {"probe": "S2", "read_C": 85.04}))).endswith(
        "reads 85 °C"
    )
    assert plain(
        view().sentence(Say("why_stopped_by_cold", {"panel_C": 4.84, "minimum_C": 10.0, "since_at": NOW}))
    ).startswith("4.8 °C")


def test_fahrenheit_has_its_offset_and_a_difference_has_none() -> None:
    look = view(unit="degF")
    assert plain(look.temperature(-40.0)) == "−40.0 °F"
    assert plain(look.temperature(100.0, whole=True)) == "212 °F"
    assert plain(look.difference(3.0)) == "5.4 °F"
    assert plain(view().difference(3.0)) == "3.0 °C"


@pytest.mark.parametrize("unit", ["degC", "degF"])
def test_heat_is_asked_for_upwards_and_a_softening_point_is_told_downwards(unit: str) -> None:
    look = view(unit=unit)
    for tenth in range(100, 200, 3):
        celsius = tenth / 10
        exact = celsius if unit == "degC" else celsius * 1.8 + 32
        asked = look.temperature(celsius, "move_C", whole=True).split(TIE)[0]
        told = look.temperature(celsius, "soften_C", whole=True).split(TIE)[0]
        assert float(told) <= exact <= float(asked)


def test_a_panel_just_below_the_cards_range_never_reads_as_its_limit() -> None:
    text = view().sentence(Say("outside_card", {"panel_C": 9.6}))
    assert plain(text) == "Not known: 9 °C is below this card's range"


def test_there_is_no_minus_zero() -> None:
    assert plain(view().temperature(-0.04)) == "0.0 °C"
    assert plain(view().temperature(-0.4, whole=True)) == "0 °C"


@pytest.mark.parametrize(
    ("hours", "text"),
    [(0.5, "30 min"), (1.0, "1 h"), (1.84, "1 h 50"), (3.34, "3 h 20"), (13.4, "13 h"), (59.6 / 60, "1 h")],
)
def test_durations_are_hours_and_minutes(hours: float, text: str) -> None:
    assert plain(view().hours(hours)) == text


def test_number_and_unit_are_never_parted() -> None:
    text = view().sentence(Say("why_wash_heavy", {"surface_pc": 85, "exposed_h": 3.33}))
    assert f"85{TIE}%" in text
    assert f"3{TIE}h{TIE}20" in text


@pytest.mark.parametrize(
    ("minutes", "left", "wait"),
    [
        (0.5, "now", "in 1 min"),
        (7, "7 min left", "in 7 min"),
        (40, "40 min left", "in 40 min"),
        (140, "2 h 20 left", "in 2 h 20"),
        (8 * 60 + 7, "8 h left", "in 8 h 30"),
    ],
)
def test_what_is_left_of_a_latest_time_never_reads_like_when_to_begin(
    minutes: float, left: str, wait: str
) -> None:
    """ "In 40 min" is for an earliest time alone: of a latest one it was read as "do it in 40 minutes"."""
    at = NOW + round(minutes * MINUTE)
    assert plain(view().ahead(Say("recoatable", {"shut_by": at})) or "") == left
    assert plain(view().ahead(Say("setting", {"open_from": at})) or "") == wait


def test_a_limit_that_has_passed_has_no_time_left() -> None:
    assert view().ahead(Say("recoatable", {"shut_by": NOW - MINUTE})) is None


def test_a_decimal_comma_is_everywhere_a_number_is_shown_and_nowhere_in_a_time() -> None:
    look = View(OSLO, "degC", NOW, "US", "comma")
    assert plain(look.temperature(5.2)) == "5,2 °C"
    assert plain(look.difference(-0.84)) == "−0,8 °C"
    assert plain(look.sentence(Say("pot_cool", {"pot_g": 270.0, "vessel": "cup"}))).startswith(
        "9,5 oz in a cup"
    )
    said = look.sentence(Say("why_setting", {"open_at": NOW + HOUR, "panel_C": 18.04, "trend": "falling"}))
    assert plain(said) == "Likely from 07:10. Panel 18,0 °C, falling."


def test_what_was_chosen_makes_the_view_and_nothing_chosen_the_first_of_each() -> None:
    assert View.chosen(lambda key: None, OSLO, NOW) == View(OSLO, "degC", NOW, "metric", "point")
    told = {"unit": "degF", "measures": "US", "decimal": "comma"}
    assert View.chosen(told.get, OSLO, NOW) == View(OSLO, "degF", NOW, "US", "comma")


def test_a_sentence_that_is_kept_is_told_to_each_viewer_in_their_own_way() -> None:
    """What tells no time is worded once; another unit, sign or kind of number is another sentence."""
    stopped = Say("why_stopped_by_cold", {"panel_C": 8.5, "minimum_C": 10.0, "since_at": NOW})
    bare = Say("stopped_by_cold", {"move_C": 10.0})
    for look in (view(), view(NOW + HOUR), view(unit="degF"), replace(view(), decimal="comma"), view()):
        assert look.sentence(bare) == look._worded(bare.key, bare.values)
        assert look.sentence(stopped) == look._worded(stopped.key, stopped.values)
    assert view().sentence(bare) is view(NOW + HOUR).sentence(bare)
    assert view().sentence(bare) != view(unit="degF").sentence(bare)
    assert view().sentence(stopped) != view(NOW + 48 * HOUR).sentence(stopped)
    whole, point = (view().sentence(Say("leave_peel", {"coat": value})) for value in (1, 1.0))
    assert whole != point, "typed: 1 and 1.0 are equal and read differently"
