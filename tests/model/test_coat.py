"""A coat's course, and the shares and times of its milestones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.blocks import Blocks
from model.calibration import Calibration, calibrate, card_central, card_members
from model.coat import course, courses
from model.members import Weights, quantile
from model.milestones import SAFE_SHARE, passings
from model.resin_card import CLOSING, Milestone
from tests.resin import HOUR_MS, blocks, medium_sheet, shipped, steady

CARD = shipped()
CENTRAL = calibrate(CARD, card_central(CARD))
RANGE = calibrate(CARD, card_members(CARD, 64))


def with_gap(panel: np.ndarray, first: int, last: int, width_K: float) -> Blocks:
    """A history whose minutes first..last were not measured, bounded by width_K on either side."""
    cold, hot, measured = panel.copy(), panel.copy(), np.ones(len(panel), dtype=bool)
    cold[first:last] -= width_K
    hot[first:last] += width_K
    measured[first:last] = False
    return Blocks(0, cold, panel.copy(), hot, measured, np.zeros(len(panel)))


def at(calibration: Calibration, history: Blocks, hours: float) -> dict[Milestone, float]:
    """Share passed after so many hours."""
    found = passings(courses(calibration, history, 0), round(hours * HOUR_MS))
    return {milestone: passing.passed for milestone, passing in found.items()}


def test_a_coat_that_starts_inside_a_minute_gets_only_the_rest_of_it() -> None:
    late = course(CENTRAL, steady(20.0, 2), 45_000)
    assert late.t_ms[0] == 60_000
    assert late.age_h[0, 0] == pytest.approx(15.0 / 3600.0, rel=1e-12)
    assert late.age_h[-1, 0] == pytest.approx(2.0 - 45.0 / 3600.0, rel=1e-12)


def test_a_coat_that_starts_after_the_history_has_no_course_and_passes_nothing() -> None:
    run = course(CENTRAL, steady(20.0, 1), 2 * HOUR_MS)
    assert len(run) == 0
    assert all(p.passed == 0.0 and p.likely is None for p in passings({"central": run}, 0).values())


def test_a_history_that_begins_after_the_coat_is_refused() -> None:
    with pytest.raises(ValueError, match="ask for blocks from the coat's start"):
        course(CENTRAL, steady(20.0, 1, start=60_000), 0)


def test_resuming_inside_a_minute_is_refused() -> None:
    state = replace(course(CENTRAL, steady(20.0, 1), 0).state(HOUR_MS), at_ms=HOUR_MS + 1)
    with pytest.raises(ValueError, match="end of a whole minute"):
        course(CENTRAL, steady(20.0, 2), 0, resume=state)


def test_equivalent_age_runs_at_the_members_own_speed() -> None:
    """At the sheet's temperature, with a true probe, a member's age is time x its rate."""
    true = replace(RANGE.members, probe_offset_K=np.zeros(64))
    run = course(calibrate(CARD, true), steady(20.0, 3), 0)
    np.testing.assert_allclose(run.age_h[-1], 3.0 * np.exp(true.ln_rate), rtol=1e-12)


def test_early_likely_and_late_are_10_50_and_90_percent_of_the_range() -> None:
    """Ages are lognormal at the sheet's temperature: trimming closes at t / rate, by each member's rate."""
    true = replace(RANGE.members, probe_offset_K=np.zeros(64))
    found = passings(courses(calibrate(CARD, true), steady(20.0, 30), 0), 5 * HOUR_MS)
    trim = found[Milestone.TRIM_UNTIL]
    hours = CARD.film.hours(Milestone.TRIM_UNTIL) / np.exp(true.ln_rate)
    for got, q in ((trim.early, 0.1), (trim.likely, 0.5), (trim.late, 0.9)):
        assert got is not None
        assert got / HOUR_MS == pytest.approx(float(quantile(hours, q)), rel=0.02)
    assert trim.passed == pytest.approx(np.mean(hours <= 5.0 + 1.0 / 60.0))


def test_what_opens_is_promised_late_and_what_closes_early() -> None:
    found = passings(courses(RANGE, steady(20.0, 96), 0), HOUR_MS)
    for milestone, passing in found.items():
        if passing.safe is None:
            continue
        if milestone in CLOSING:
            assert passing.early is not None
            assert passing.safe <= passing.early
        else:
            assert passing.late is not None
            assert passing.safe >= passing.late


def test_the_promised_time_is_the_time_it_flips() -> None:
    """With a perfect forecast, is_past turns true at `safe`, not a minute before (opening) or after (closing)."""
    runs = courses(RANGE, steady(18.0, 120), 17_000)
    for milestone, promised in passings(runs, HOUR_MS).items():
        if promised.safe is None:
            assert SAFE_SHARE[milestone] >= 0.9
            continue
        assert passings(runs, promised.safe)[milestone].is_past, milestone
        assert not passings(runs, promised.safe - 1)[milestone].is_past, milestone


def test_recoat_window_never_outlives_a_day() -> None:
    """Common practice, no source: however cold, the window is shut 24 h after the start."""
    until = passings(courses(RANGE, steady(0.0, 60), 0), HOUR_MS)[Milestone.RECOAT_UNTIL]
    assert until.late == until.likely == 24 * HOUR_MS - 60_000
    assert until.safe is not None
    assert until.safe <= until.late


def test_warm_then_cold_is_not_sandable_when_the_heater_goes_off() -> None:
    """6 h at 21 degC, then 4 degC: glassy at once, but too young."""
    calibration = calibrate(medium_sheet(), card_central(medium_sheet()))
    night = blocks([21.0] * 360 + [4.0] * 720)
    run = course(calibration, night, 0)
    assert np.all(run.glass_transition()[-1] > 4.0 + calibration.lead_K[Milestone.SAND])
    assert at(calibration, night, 6.1)[Milestone.SAND] == 0.0
    assert at(calibration, night, 18.0)[Milestone.SAND] == 0.0


def test_sanding_is_lost_by_warming_and_counts_from_when_it_was_last_gained() -> None:
    """70 h at 5 degC is sandable there; warmed to 24 degC it gums until it has cured further."""
    panel = [5.0] * 70 * 60 + [24.0] * 20 * 60
    runs = courses(CENTRAL, blocks(panel), 0)
    cold = passings(runs, 69 * HOUR_MS)[Milestone.SAND]
    warmed = passings(runs, 70 * HOUR_MS + 10 * 60_000)[Milestone.SAND]
    after = passings(runs, 89 * HOUR_MS)[Milestone.SAND]
    assert cold.passed == 1.0
    assert cold.likely is not None
    assert cold.likely < 69 * HOUR_MS
    assert warmed.passed == 0.0
    assert warmed.likely is not None
    assert warmed.likely > 70 * HOUR_MS + 10 * 60_000
    assert after.likely == warmed.likely


def test_demoulding_waits_for_the_hottest_hour_ahead() -> None:
    """Fit at 5 degC now is not fit at tomorrow's 25: the outlook's heat inside 48 h holds demoulding back."""
    cool = blocks([5.0] * 140 * 60)
    heat = blocks([5.0] * 110 * 60 + [25.0] * 5 * 60 + [5.0] * 25 * 60)
    assert at(CENTRAL, cool, 100)[Milestone.DEMOULD] == 1.0
    assert at(CENTRAL, heat, 100)[Milestone.DEMOULD] == 0.0
    far = blocks([5.0] * 139 * 60 + [25.0] * 5 * 60)
    assert at(CENTRAL, far, 88)[Milestone.DEMOULD] == 1.0


def test_latched_milestones_never_open_again() -> None:
    run = courses(CENTRAL, blocks([20.0] * 9 * 60 + [-5.0] * 10 * 60), 0)
    for hour in (9, 12, 18):
        assert passings(run, hour * HOUR_MS)[Milestone.RECOAT_UNTIL].passed == 1.0


def test_working_and_tack_free_follow_the_sheet() -> None:
    found = passings(courses(CENTRAL, steady(20.0, 10), 0), HOUR_MS)
    for milestone in (Milestone.WORKING, Milestone.TACK_FREE):
        likely = found[milestone].likely
        assert likely is not None
        assert likely / HOUR_MS == pytest.approx(CARD.film.hours(milestone), abs=0.02)


@settings(max_examples=12, deadline=None)
@given(st.integers(30, 200), st.integers(10, 600), st.floats(0.5, 6.0), st.floats(0.1, 4.0))
def test_widening_a_gap_never_narrows_a_range(first: int, length: int, width: float, more: float) -> None:
    panel = 14.0 - 6.0 * np.sin(np.pi * np.arange(40 * 60) / 720.0)
    narrow, wide = (
        passings(courses(RANGE, with_gap(panel, first, first + length, w), 0), 6 * HOUR_MS)
        for w in (width, width + more)
    )
    for milestone in (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL, Milestone.TRIM_UNTIL, Milestone.CURED):
        a, b = narrow[milestone], wide[milestone]
        assert (b.early or 0) <= (a.early or 1e18)
        assert (b.late or 1e18) >= (a.late or 0)
        if milestone in CLOSING:
            assert b.passed >= a.passed
        else:
            assert b.passed <= a.passed


def test_weights_count_as_members() -> None:
    weights = np.zeros(64)
    weights[5] = 2.0
    runs = courses(RANGE, steady(20.0, 20), 0)
    trim = passings(runs, HOUR_MS, Weights.same(weights))[Milestone.TRIM_UNTIL]
    assert trim.early == trim.late
    one = int(np.searchsorted(runs["central"].age_h[:, 5], 5.0))
    assert trim.likely == runs["central"].t_ms[one - 1]


def test_conversion_quantiles_rise_with_q_and_start_at_nothing() -> None:
    run = course(RANGE, steady(15.0, 10), 30 * 60_000)
    got = run.conversion_quantiles(np.array([0, HOUR_MS, 5 * HOUR_MS, 10 * HOUR_MS]))
    assert got.shape == (4, 3)
    np.testing.assert_array_equal(got[0], 0.0)
    assert np.all(np.diff(got[1:], axis=1) > 0.0)
    assert np.all(np.diff(got, axis=0) > 0.0)


def test_forecast_error_enters_through_its_own_dimension() -> None:
    certain = steady(10.0, 12)
    unsure = replace(certain, spread=np.full(len(certain), 3.0))
    low, _, high = course(RANGE, certain, 0).conversion_quantiles(np.array([12 * HOUR_MS]))[0]
    wider_low, _, wider_high = course(RANGE, unsure, 0).conversion_quantiles(np.array([12 * HOUR_MS]))[0]
    assert wider_high - wider_low > high - low


def tonight(panel: np.ndarray, now_h: float, spread_K: float = 0.5) -> Blocks:
    """A history measured up to now_h, with a forecast of that standard deviation behind it."""
    ahead = np.arange(len(panel)) >= now_h * 60
    return Blocks(0, panel, panel, panel, ~ahead, np.where(ahead, spread_K, 0.0))


@pytest.mark.parametrize(("panel_C", "start_h"), [(2.0, 0), (10.0, 10), (18.0, 11), (28.0, 12)])
def test_longer_rows_of_the_outlook_change_nothing(
    panel_C: float, start_h: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Conversion within 1e-4, age within 1e-4 of itself, milestones within a quarter of an hour."""
    panel = panel_C - 4.0 * np.sin(np.pi * np.arange(70 * 60) / 720.0)
    history = tonight(panel, 12.3)
    coarse = courses(RANGE, history, start_h * HOUR_MS)
    monkeypatch.setattr("model.coat._LONGEST_STRIDE", 0.0)
    fine = courses(RANGE, history, start_h * HOUR_MS)
    run, every = coarse["central"], fine["central"]
    same = np.searchsorted(every.t_ms, run.t_ms)
    assert len(run) < 0.5 * len(every)
    assert run.t_ms[-1] == every.t_ms[-1]
    np.testing.assert_allclose(run.conversion, every.conversion[same], atol=1e-4)
    np.testing.assert_allclose(run.age_h, every.age_h[same], rtol=1e-4)
    exact = passings(fine, round(12.3 * HOUR_MS))
    for milestone, got in passings(coarse, round(12.3 * HOUR_MS)).items():
        for when in ("early", "likely", "late", "safe"):
            there, expected = getattr(got, when), getattr(exact[milestone], when)
            assert (there is None) == (expected is None), (milestone, when)
            assert abs((there or 0) - (expected or 0)) <= 15 * 60_000, (milestone, when)


def test_what_is_measured_and_the_next_two_hours_keep_every_minute() -> None:
    run = course(RANGE, tonight(np.full(40 * 60, 12.0), 12.3), 0)
    step = np.diff(run.t_ms) // 60_000
    near = round(14.3 * 60) - 1
    assert np.all(step[:near] == 1)
    assert set(step[near:].tolist()) <= {1, 3, 5, 15}
    assert step.max() == 15


def test_the_outlooks_heat_counts_in_longer_rows_as_in_minutes() -> None:
    """Demoulding looks 48 h ahead, not a number of rows."""
    panel = np.full(170 * 60, 5.0)
    panel[150 * 60 : 155 * 60] = 25.0
    run = courses(CENTRAL, tonight(panel, 100.0, 1e-6), 0)
    assert len(run["central"]) < 8000
    at_hour = {hour: passings(run, hour * HOUR_MS)[Milestone.DEMOULD].passed for hour in (100, 101, 103)}
    assert at_hour == {100: 1.0, 101: 1.0, 103: 0.0}
