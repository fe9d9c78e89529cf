"""What-if: heat inside its limits, the least that does it, and the last hour at which a pot can still be mixed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from model.blocks import Blocks
from model.calibration import calibrate, card_central, card_members
from model.hold import hours_to
from model.milestones import SAFE_SHARE
from model.resin_card import Milestone
from model.what_if import Heat, cap_C, held, latest_mixing, least_temperature, passed_if
from tests.resin import HOUR_MS, medium_sheet, shipped

CARD = shipped()
RANGE = calibrate(CARD, card_members(CARD, 64))
CENTRAL = calibrate(medium_sheet(), card_central(medium_sheet()))
NOW = 6 * HOUR_MS


def outlook(panel: np.ndarray, measured_h: float = 6.0, spread_K: float = 1.5) -> Blocks:
    ahead = np.arange(len(panel)) >= measured_h * 60
    return Blocks(0, panel, panel, panel, ~ahead, np.where(ahead, spread_K, 0.0))


def cold_night(hours: int = 48) -> Blocks:
    """12 degC for six measured hours, then falling by 0.5 K/h to 7 degC."""
    minute = np.arange(hours * 60)
    return outlook(np.clip(12.0 - np.maximum(minute / 60.0 - 6.0, 0.0) * 0.5, 7.0, 12.0))


def test_a_hold_ramps_stays_and_falls_back_and_the_past_is_left_alone() -> None:
    night = cold_night()
    heat = Heat(25.0, 8 * HOUR_MS, 14 * HOUR_MS, ramp_K_h=8.0, cooling_s=3600.0)
    warmed = held(night, heat)
    panel = warmed.central
    np.testing.assert_array_equal(panel[: 8 * 60], night.central[: 8 * 60])
    assert np.max(np.diff(panel[8 * 60 : 14 * 60])) <= 8.0 / 60.0 + 1e-12
    assert panel[10 * 60] == 25.0
    assert panel[14 * 60 - 1] == 25.0
    assert panel[15 * 60] - night.central[15 * 60] == pytest.approx(
        (25.0 - night.central[14 * 60]) * np.exp(-1), abs=0.3
    )
    np.testing.assert_array_equal(warmed.cold[480:], warmed.hot[480:])
    assert warmed.spread[10 * 60] < night.spread[10 * 60]
    np.testing.assert_array_equal(warmed.spread[: 8 * 60], night.spread[: 8 * 60])


def test_a_heater_never_cools() -> None:
    night = outlook(np.full(24 * 60, 22.0))
    np.testing.assert_array_equal(held(night, Heat(15.0, NOW, 20 * HOUR_MS)).central, night.central)


@pytest.mark.parametrize(
    ("heat", "match"),
    [
        (Heat(20.0, 5 * HOUR_MS, 9 * HOUR_MS), "still to come"),
        (Heat(20.0, -HOUR_MS, 9 * HOUR_MS), "still to come"),
        (Heat(20.0, 9 * HOUR_MS, 8 * HOUR_MS), "before it begins"),
        (Heat(20.0, 8 * HOUR_MS, 9 * HOUR_MS, ramp_K_h=0.0), "above 0"),
    ],
)
def test_impossible_plans_are_refused(heat: Heat, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        held(cold_night(), heat)


def test_the_cap_is_the_least_of_card_substrate_and_film() -> None:
    """Common practice, no source: 40 on waxed tooling, 50 on polystyrene foam, 10 K above the low end of Tg."""
    warm = calibrate(replace(CARD, maximum_C=70.0), card_members(CARD, 1))
    assert cap_C(RANGE, "wood") == CARD.maximum_C
    assert [cap_C(warm, of) for of in ("waxed tooling", "foam", "PVC foam", "floor")] == [
        40.0,
        50.0,
        60.0,
        70.0,
    ]
    assert cap_C(warm, "foam", soften_C=31.0) == 41.0


def test_heat_brings_sanding_forward_and_a_later_start_puts_it_back() -> None:
    night = cold_night(72)
    as_it_is = passed_if(RANGE, night, 0, NOW)[Milestone.SAND]
    heated = passed_if(RANGE, night, 0, NOW, Heat(25.0, 7 * HOUR_MS, 20 * HOUR_MS))[Milestone.SAND]
    later = passed_if(RANGE, night, 8 * HOUR_MS, NOW, Heat(25.0, 7 * HOUR_MS, 30 * HOUR_MS))[Milestone.SAND]
    assert as_it_is.likely is not None
    assert heated.likely is not None
    assert later.likely is not None
    assert heated.likely < as_it_is.likely - 12 * HOUR_MS
    assert later.likely > heated.likely


def test_another_card_is_another_answer() -> None:
    fast = shipped("invented-15min")
    night = cold_night(72)
    quick = passed_if(calibrate(fast, card_members(fast, 64)), night, NOW, NOW)[Milestone.RECOAT_FROM]
    usual = passed_if(RANGE, night, NOW, NOW)[Milestone.RECOAT_FROM]
    assert quick.likely is not None
    assert usual.likely is not None
    assert quick.likely < usual.likely


def test_the_least_temperature_does_it_and_a_degree_less_does_not() -> None:
    night, by = cold_night(), 20 * HOUR_MS
    plan = Heat(0.0, 7 * HOUR_MS, 20 * HOUR_MS)
    least = least_temperature(RANGE, night, 0, Milestone.SAND, by, plan, 30.0)
    assert least is not None
    share = [
        passed_if(RANGE, night, 0, by, replace(plan, hold_C=float(degree)))[Milestone.SAND].passed
        for degree in (least - 1, least)
    ]
    assert share[0] < SAFE_SHARE[Milestone.SAND] <= share[1]
    earlier = least_temperature(RANGE, night, 0, Milestone.SAND, by - 2 * HOUR_MS, plan, 40.0)
    assert earlier is None or earlier > least


def test_not_by_then_is_an_answer() -> None:
    """Two hours of heat do not make a film of eight hours sandable, whatever is held."""
    plan = Heat(0.0, 7 * HOUR_MS, 9 * HOUR_MS)
    assert least_temperature(RANGE, cold_night(), 0, Milestone.SAND, 9 * HOUR_MS, plan, 30.0) is None


@pytest.mark.parametrize("hours", [10.0, 12.0, 16.05, 24.0])
def test_stepping_finds_the_temperature_that_the_quadrature_finds(hours: float) -> None:
    """From mixing on, without a ramp: the least whole degree whose hours to sanding by quadrature are few enough."""
    night = outlook(np.full(40 * 60, 5.0), 0.0, 1e-9)
    expected = next(T for T in range(6, 60) if hours_to(CENTRAL, Milestone.SAND, float(T)) <= hours)
    by = round(hours * HOUR_MS)
    plan = Heat(0.0, 0, by, ramp_K_h=1e6)
    assert least_temperature(CENTRAL, night, 0, Milestone.SAND, by, plan, 60.0) == expected


def falling_margin(spread_K: float = 0.0001) -> tuple[Blocks, np.ndarray]:
    """18 degC falling 0.5 K/h from now on over a dew point of 8: 3 K are left after 14 h."""
    panel = 18.0 - np.arange(40 * 60) / 120.0
    return Blocks(0, panel, panel, panel, np.zeros(2400, dtype=bool), np.full(2400, spread_K)), np.full(
        2400, 8.0
    )


def test_the_latest_mixing_time_is_the_last_that_is_tack_free_in_time() -> None:
    night, dew = falling_margin()
    found = latest_mixing(RANGE, night, dew, 3.0)
    assert found.closes_ms is not None
    assert found.closes_ms / HOUR_MS == pytest.approx(14.0, abs=0.05)
    assert found.latest_ms is not None
    assert found.tack_free_ms is not None
    assert found.tack_free_ms <= found.closes_ms
    assert found.tack_free_ms > found.closes_ms - 5 * 60_000
    minute_later = passed_if(RANGE, night, found.latest_ms + 5 * 60_000, 0)[Milestone.TACK_FREE].safe
    assert minute_later is None or minute_later > found.closes_ms


def test_doubt_and_air_only_make_it_earlier_and_a_moist_evening_leaves_none() -> None:
    sure, dew = falling_margin()
    unsure, _ = falling_margin(1.0)
    latest = latest_mixing(RANGE, sure, dew, 3.0).latest_ms
    assert latest is not None
    doubtful = latest_mixing(RANGE, unsure, dew, 3.0)
    assert doubtful.latest_ms is None or doubtful.latest_ms < latest
    assert doubtful.closes_ms is not None
    assert doubtful.likely_closes_ms is not None
    assert doubtful.closes_ms < doubtful.likely_closes_ms
    air_only = latest_mixing(RANGE, sure, dew, 3.0, air_only_K=2.0).latest_ms
    assert air_only is None or air_only < latest
    moist = latest_mixing(RANGE, sure, dew + 6.0, 3.0)
    assert moist.latest_ms is None
    assert moist.closes_ms is not None
    assert moist.tack_free_ms is not None
    assert moist.tack_free_ms > moist.closes_ms


def test_a_margin_that_never_closes_sets_no_hour_and_an_unknown_one_is_closed() -> None:
    night, dew = falling_margin()
    dry = latest_mixing(RANGE, night, dew - 30.0, 3.0)
    assert (dry.latest_ms, dry.closes_ms) == (None, None)
    unknown = np.where(np.arange(2400) < 600, dew, np.nan)
    assert latest_mixing(RANGE, night, unknown, 3.0).closes_ms == 10 * HOUR_MS
    with pytest.raises(ValueError, match="one value a minute"):
        latest_mixing(RANGE, night, dew[:-1], 3.0)
