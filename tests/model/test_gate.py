"""What every shipped card must do from 0 to 35 degC, and the trap of the cold: "hard but not cured"."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from model.calibration import Calibration, calibrate, card_central, card_members
from model.coat import course, courses
from model.hold import (
    hard_not_cured,
    hold,
    hours_to,
    hours_to_conversion,
    lowest_moving_temperature,
    stopped_by_cold,
)
from model.kinetics import DEFAULT_LAW, RateLaw
from model.milestones import passings
from model.resin_card import Milestone
from tests.resin import HOUR_MS, SHIPPED, medium_sheet, shipped, steady

OPENINGS = (Milestone.RECOAT_FROM, Milestone.SAND, Milestone.DEMOULD)


def central(name: str) -> Calibration:
    card = shipped(name)
    return calibrate(card, card_central(card))


@pytest.mark.parametrize("name", SHIPPED)
def test_every_sheet_time_comes_back_at_the_sheets_temperature(name: str) -> None:
    """Within 0.5 %, by quadrature and, to the minute, by the stepper."""
    calibration = central(name)
    card = calibration.card
    held = hold(calibration, card.reference_C)
    last = card.film.cured.high
    run = course(calibration, steady(card.reference_C, last * 1.02), 0)
    stepped = passings({"central": run}, 0)
    assert len(held) == 8, "all that a sheet usually gives"
    for milestone in held:
        sheet = card.film.hours(milestone)
        assert sheet is not None
        assert held[milestone] == pytest.approx(sheet, rel=5e-3)
        likely = stepped[milestone].likely
        assert likely is not None
        assert likely / HOUR_MS == pytest.approx(sheet, rel=5e-3, abs=0.017)


@pytest.mark.parametrize("name", SHIPPED)
def test_ten_degrees_less_take_two_to_four_times_as_long(name: str) -> None:
    """Common practice, no source: at 11 degC 1.8 to 4 times the hours at 21 degC."""
    cold, warm = hold(central(name), 11.0), hold(central(name), 21.0)
    for milestone in OPENINGS:
        assert 1.8 < cold[milestone] / warm[milestone] < 4.0


@pytest.mark.parametrize("name", SHIPPED)
def test_recoat_window_at_5_degC_is_shut_within_a_day(name: str) -> None:
    """Common practice, no source: for nine tenths of the range too."""
    card = shipped(name)
    found = passings(courses(calibrate(card, card_members(card, 32)), steady(5.0, 30), 0), 24 * HOUR_MS)
    assert found[Milestone.RECOAT_UNTIL].passed == 1.0


def test_medium_card_sands_at_10_degC_in_one_and_a_half_to_three_days() -> None:
    """Common practice, no source."""
    assert 36.0 < hold(central("invented-25min"), 10.0)[Milestone.SAND] < 72.0


@pytest.mark.parametrize("name", SHIPPED)
def test_hotter_is_never_slower(name: str) -> None:
    """From 0 to 35 degC every milestone's time falls with temperature."""
    table = [hold(central(name), float(T)) for T in range(36)]
    for colder, warmer in itertools.pairwise(table):
        for milestone in colder:
            assert warmer[milestone] < colder[milestone]


def flagged(calibration: Calibration, panel_C: float, hours: float) -> bool:
    """Whether a cure held at panel_C is called hard but not cured after so many hours."""
    run = course(calibration, steady(panel_C, hours), 0)
    a = float(run.conversion[-1, 0])
    target = float(calibration.conversion[Milestone.SAND][0])
    return hard_not_cured(
        float(run.glass_transition()[-1, 0]),
        panel_C,
        a,
        target,
        hours_to_conversion(calibration, target, panel_C, a),
        hours_to_conversion(calibration, target, calibration.card.reference_C, a),
    )


def trap(law: RateLaw) -> bool:
    """The medium card after 36 h at 5 degC: hard, not cured, its window shut."""
    card = shipped()
    calibration = calibrate(card, card_central(card), law)
    shut = passings(courses(calibration, steady(5.0, 36), 0), 36 * HOUR_MS)[Milestone.RECOAT_UNTIL]
    return flagged(calibration, 5.0, 36.0) and shut.passed == 1.0


def test_36_hours_at_5_degC_are_hard_but_not_cured() -> None:
    assert trap(DEFAULT_LAW)


def test_without_diffusion_the_trap_is_missed() -> None:
    """f_d = 1 claims a cure that never comes: the test above would be red."""
    assert not trap(RateLaw(diffusion=False))


@pytest.mark.parametrize("card", [shipped(), medium_sheet()], ids=lambda card: f"{card.reference_C:g} degC")
def test_36_hours_at_21_degC_are_sandable_and_never_flagged(card: object) -> None:
    calibration = calibrate(card, card_central(card))
    assert not any(flagged(calibration, 21.0, float(hours)) for hours in range(1, 37))
    found = passings(courses(calibration, steady(21.0, 36), 0), 36 * HOUR_MS)
    assert found[Milestone.SAND].passed == 1.0


def test_hard_but_not_cured_is_finished_by_warmth_in_hours() -> None:
    calibration = central("invented-25min")
    run = course(calibration, steady(5.0, 36), 0)
    a, age = float(run.conversion[-1, 0]), float(run.age_h[-1, 0])
    hours = [hours_to(calibration, Milestone.SAND, T, a, age) for T in (5.0, 21.0, 25.0, 30.0)]
    assert hours == sorted(hours, reverse=True)
    assert 1.0 < hours[-1] < hours[1] < 17.0 < hours[0]


@pytest.mark.parametrize("name", SHIPPED)
def test_stopped_by_cold_is_never_raised_at_the_sheets_temperature(name: str) -> None:
    calibration = central(name)
    card = calibration.card
    run = course(calibration, steady(card.reference_C, card.film.demould.high + 2), 0)
    for row in range(0, len(run), 60):
        a, age = float(run.conversion[row, 0]), float(run.age_h[row, 0])
        for milestone in OPENINGS:
            hours = hours_to(calibration, milestone, card.reference_C, a, age)
            assert not stopped_by_cold(hours, hours, card.reference_C, card.minimum_C)


def test_stopped_by_cold_asks_for_both_far_and_much_slower() -> None:
    assert stopped_by_cold(60.0, 15.0, 12.0, 10.0)
    assert stopped_by_cold(math.inf, 15.0, 12.0, 10.0)
    assert not stopped_by_cold(47.0, 10.0, 12.0, 10.0)
    assert not stopped_by_cold(60.0, 25.0, 12.0, 10.0)
    assert stopped_by_cold(1.0, 1.0, 9.9, 10.0)


def test_holding_agrees_with_stepping_from_any_state() -> None:
    """After 20 h at 8 degC, warmed to 22: the quadrature's hours to sand are the stepper's."""
    calibration = central("invented-25min")
    cold = course(calibration, steady(8.0, 20), 0)
    a, age = float(cold.conversion[-1, 0]), float(cold.age_h[-1, 0])
    history = steady(8.0, 20).joined(steady(22.0, 40, start=20 * HOUR_MS))
    found = passings(courses(calibration, history, 0), 20 * HOUR_MS)[Milestone.SAND]
    assert found.likely is not None
    expected = hours_to(calibration, Milestone.SAND, 22.0, a, age)
    assert found.likely / HOUR_MS - 20.0 == pytest.approx(expected, rel=5e-3)


def test_lowest_moving_temperature_is_the_first_degree_in_time() -> None:
    calibration = central("invented-25min")
    degree = lowest_moving_temperature(calibration, Milestone.SAND)
    assert degree is not None
    assert hours_to(calibration, Milestone.SAND, degree) <= 24.0
    assert hours_to(calibration, Milestone.SAND, degree - 1) > 24.0
    assert lowest_moving_temperature(calibration, Milestone.SAND, within_h=1.0) is None
    assert lowest_moving_temperature(calibration, Milestone.RECOAT_FROM) == calibration.card.minimum_C


def test_passed_milestones_need_no_more_hours_and_unreachable_ones_never_come() -> None:
    calibration = central("invented-25min")
    assert hours_to(calibration, Milestone.SAND, 20.0, 0.95, 40.0) == 0.0
    assert hours_to(calibration, Milestone.RECOAT_UNTIL, 20.0, 0.9, 9.0) == 0.0
    assert hours_to(calibration, Milestone.TACK_FREE, 150.0) == math.inf


def test_a_hold_is_refused_for_a_whole_range() -> None:
    card = shipped()
    with pytest.raises(ValueError, match="central member alone; got 8"):
        hold(calibrate(card, card_members(card, 8)), 20.0)


def test_every_member_meets_the_sheet_at_the_sheets_temperature() -> None:
    """Calibrated one by one: at the sheet's rate, 30 K of Tg_inf between members move no time by 1 %."""
    card = shipped()
    of = card_members(card, 32)
    level = replace(of, ln_rate=np.zeros(32), probe_offset_K=np.zeros(32))
    assert np.ptp(level.Tg_inf_C) > 30.0
    found = passings(courses(calibrate(card, level), steady(20.0, 40), 0), 0)
    for milestone in (Milestone.RECOAT_FROM, Milestone.TACK_FREE, Milestone.SAND, Milestone.DEMOULD):
        hours = card.film.hours(milestone)
        for time in (found[milestone].early, found[milestone].late):
            assert time is not None
            assert time / HOUR_MS == pytest.approx(hours, rel=0.01)
