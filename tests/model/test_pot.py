"""A pot of mixed resin: the sheet's life comes back, more of anything warm is never longer, and it warns in time."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from model.calibration import calibrate, card_central, card_members
from model.kinetics import DEFAULT_LAW, acceleration
from model.pot import CUP, TRAY, Caution, PotLife, PotModel, Vessel, adiabatic_limit, pot_model
from tests.resin import SHIPPED, shipped

PEAK_TOLERANCE_K = 0.02
TIME_TOLERANCE = 1.0 + 1e-4


def pot(name: str = "invented-25min", **changed: float) -> PotModel:
    card = shipped(name)
    card = replace(card, pot=replace(card.pot, **changed))
    return pot_model(calibrate(card, card_central(card)))


MEDIUM = pot()
masses = st.floats(5.0, 5000.0)
temperatures = st.floats(-5.0, 40.0)
depths = st.none() | st.floats(1.0, 60.0)


@pytest.mark.parametrize("name", SHIPPED)
def test_sheets_pot_life_comes_back_at_its_mass_and_temperature(name: str) -> None:
    sheet = shipped(name).pot
    life = pot(name).life(sheet.mass_g, CUP, sheet.temperature_C, sheet.temperature_C)
    assert 60.0 * life.usable_h == pytest.approx(sheet.life_min, rel=1e-5)


@pytest.mark.parametrize("name", SHIPPED)
def test_pot_and_film_of_shipped_cards_agree(name: str) -> None:
    model = pot(name)
    assert not model.disagrees
    assert Caution.POT_AND_FILM_DISAGREE not in model.life(100.0, CUP, 20.0, 20.0).cautions


@pytest.mark.parametrize(("life_min", "disagrees"), [(7.0, True), (25.0, False), (70.0, True)])
def test_a_pot_life_that_the_film_times_contradict_is_said(life_min: float, disagrees: bool) -> None:
    model = pot(life_min=life_min)
    assert model.disagrees is disagrees
    said = Caution.POT_AND_FILM_DISAGREE in model.life(100.0, CUP, 20.0, 20.0).cautions
    assert said is disagrees
    assert Caution.POT_AND_FILM_DISAGREE == "pot and film disagree"


@pytest.mark.parametrize("mass_g", [200.0, 500.0])
@pytest.mark.parametrize("T_C", [20.0, 22.5, 25.0])
@pytest.mark.parametrize("name", SHIPPED)
def test_a_big_cup_in_a_warm_room_is_called_in_before_it_smokes(name: str, T_C: float, mass_g: float) -> None:
    """It is warned of from the start, and the time to pour lies a tenth of its life or more before 80 degC."""
    life = pot(name).life(mass_g, CUP, T_C, T_C)
    assert Caution.RUNS_HOT_IF_LEFT in life.cautions
    assert life.pour_by_h < 0.9 * life.hot_h
    assert life.pour_by_h < life.usable_h


@pytest.mark.parametrize("T_C", [10.0, 15.0, 20.0, 30.0])
def test_every_cup_of_50_g_from_10_degC_on_runs_hot_at_a_time_that_is_told(T_C: float) -> None:
    life = MEDIUM.life(50.0, CUP, T_C, T_C)
    assert life.peak_C > 80.0
    assert math.isfinite(life.hot_h)


def test_a_shallow_tray_in_the_cold_never_runs_hot() -> None:
    life = MEDIUM.life(100.0, TRAY, 5.0, 5.0)
    assert math.isinf(life.hot_h)
    assert life.cautions == ()


def test_warm_bottles_in_a_cold_shed_count() -> None:
    """200 g from 25 degC bottles in an 8 degC shed live less than half as long as from bottles at 8 degC."""
    warm, cold = (MEDIUM.life(200.0, CUP, bottles, 8.0) for bottles in (25.0, 8.0))
    assert warm.usable_h < 0.5 * cold.usable_h
    assert warm.usable_h > MEDIUM.life(200.0, CUP, 25.0, 25.0).usable_h


def test_cold_bottles_buy_no_time_in_a_warm_room() -> None:
    assert MEDIUM.life(200.0, CUP, 5.0, 22.0) == MEDIUM.life(200.0, CUP, 22.0, 22.0)


@settings(max_examples=60, deadline=None)
@given(masses, st.floats(1.0, 10.0), depths, temperatures, temperatures)
def test_more_in_the_pot_never_lasts_longer(
    mass_g: float, times: float, depth_mm: float | None, bottles_C: float, air_C: float
) -> None:
    vessel = Vessel(depth_mm)
    no_later(
        MEDIUM.life(mass_g * times, vessel, bottles_C, air_C), MEDIUM.life(mass_g, vessel, bottles_C, air_C)
    )


@settings(max_examples=60, deadline=None)
@given(masses, depths, temperatures, st.floats(0.0, 20.0), temperatures, st.floats(0.0, 20.0))
def test_warmer_never_lasts_longer(
    mass_g: float, depth_mm: float | None, bottles_C: float, more: float, air_C: float, warmer: float
) -> None:
    vessel = Vessel(depth_mm)
    warm = MEDIUM.life(mass_g, vessel, bottles_C + more, air_C + warmer)
    no_later(warm, MEDIUM.life(mass_g, vessel, bottles_C, air_C))


@settings(max_examples=60, deadline=None)
@given(masses, st.floats(1.0, 60.0), st.floats(1.0, 10.0), temperatures, temperatures)
def test_a_tray_never_dies_before_a_cup_nor_a_shallow_one_before_a_deep_one(
    mass_g: float, depth_mm: float, times: float, bottles_C: float, air_C: float
) -> None:
    cup, deep, shallow = (
        MEDIUM.life(mass_g, vessel, bottles_C, air_C)
        for vessel in (CUP, Vessel(depth_mm * times), Vessel(depth_mm))
    )
    no_later(cup, deep)
    no_later(deep, shallow)


@settings(max_examples=40, deadline=None)
@given(masses, depths, temperatures, st.floats(0.2, 5.0), st.floats(1.0, 3.0))
def test_a_faster_pot_never_lasts_longer(
    mass_g: float, depth_mm: float | None, T_C: float, rate: float, times: float
) -> None:
    vessel = Vessel(depth_mm)
    no_later(MEDIUM.life(mass_g, vessel, T_C, T_C, rate * times), MEDIUM.life(mass_g, vessel, T_C, T_C, rate))


@settings(max_examples=60, deadline=None)
@given(masses, depths, temperatures, temperatures)
def test_no_pot_passes_its_adiabatic_limit(
    mass_g: float, depth_mm: float | None, bottles_C: float, air_C: float
) -> None:
    life = MEDIUM.life(mass_g, Vessel(depth_mm), bottles_C, air_C)
    assert max(bottles_C, air_C) <= life.peak_C <= life.adiabatic_C + PEAK_TOLERANCE_K


def no_later(sooner: PotLife, later: PotLife) -> None:
    """To the cells' own error, far below anything a clock on the wall shows."""
    assert sooner.usable_h <= later.usable_h * TIME_TOLERANCE
    assert sooner.hot_h <= later.hot_h * TIME_TOLERANCE
    assert sooner.pour_by_h <= later.pour_by_h * TIME_TOLERANCE
    assert sooner.peak_C >= later.peak_C - PEAK_TOLERANCE_K


@pytest.mark.parametrize(
    ("mass_g", "vessel", "bottles_C", "air_C"),
    [
        (100.0, CUP, 20.0, 20.0),
        (500.0, CUP, 25.0, 10.0),
        (300.0, Vessel(10.0), 20.0, 20.0),
        (50.0, TRAY, 8.0, 2.0),
    ],
)
def test_cells_agree_with_scipys_integrator(
    mass_g: float, vessel: Vessel, bottles_C: float, air_C: float
) -> None:
    """SciPy's LSODA on the same two equations in time, written out anew here: times 0.1 %, peak 0.2 K."""
    calibration, mass = MEDIUM.calibration, 1e-3 * mass_g
    area = vessel.cooling_area_m2(mass / 1100.0)

    def slope(_: float, state: np.ndarray) -> tuple[float, float]:
        a, T = max(state[0], 0.0), state[1]
        k = calibration.k_per_h * MEDIUM.factor * acceleration(T, calibration.members.E_J_mol, 20.0)
        da = float(DEFAULT_LAW.rate(a, k, DEFAULT_LAW.critical(T, calibration.members.Tg_inf_C))[0])
        h = 2.0 * abs(T - air_C) ** 0.25 + 0.9 * 4.0 * 5.670374419e-8 * ((T + air_C) / 2.0 + 273.15) ** 3
        lost = area * (T - air_C) / (1.0 / h + 0.01) * 3600.0
        return da, (430e3 * mass * da - lost) / (mass * (1800.0 + 3.0 * (T - 25.0)))

    def usable(_: float, state: np.ndarray) -> float:
        return float(state[0] - 0.25)

    def hot(_: float, state: np.ndarray) -> float:
        return float(state[1] - 80.0)

    run = solve_ivp(slope, (0.0, 48.0), (0.0, bottles_C), "LSODA", events=(usable, hot), rtol=1e-9, atol=1e-9)
    life = MEDIUM.life(mass_g, vessel, bottles_C, air_C)
    assert life.usable_h == pytest.approx(run.t_events[0][0], rel=1e-3)
    assert life.hot_h == pytest.approx(run.t_events[1][0] if len(run.t_events[1]) else math.inf, rel=1e-3)
    assert life.peak_C == pytest.approx(run.y[1].max(), abs=0.2)


def test_cooling_area_of_a_cup_as_high_as_wide() -> None:
    """100 cm3: the cylinder's own formulas, top and side whole, bottom half."""
    width = (4.0 * 1e-4 / math.pi) ** (1.0 / 3.0)
    assert CUP.cooling_area_m2(1e-4) == pytest.approx(1.5 * math.pi / 4.0 * width**2 + math.pi * width**2)
    assert Vessel(10.0).cooling_area_m2(1e-4) == pytest.approx(1.5 * 1e-2 + 2.0 * math.sqrt(math.pi * 1e-6))


def test_wrong_questions_are_refused() -> None:
    with pytest.raises(ValueError, match="mass and rate must be above 0"):
        MEDIUM.life(0.0, CUP, 20.0, 20.0)
    with pytest.raises(ValueError, match="mass and rate must be above 0"):
        MEDIUM.life(100.0, CUP, 20.0, 20.0, rate=0.0)
    with pytest.raises(ValueError, match="filled to more than 0 mm"):
        Vessel(0.0)
    card = shipped()
    with pytest.raises(ValueError, match="central member alone; got 8"):
        pot_model(calibrate(card, card_members(card, 8)))


def test_lives_fall_steadily_over_a_table_of_masses_and_temperatures() -> None:
    for vessel in (CUP, TRAY):
        lives = [
            [MEDIUM.life(g, vessel, T, T).usable_h for g in (50, 100, 200, 500)] for T in (10, 15, 20, 25, 30)
        ]
        assert all(a > b for row in lives for a, b in itertools.pairwise(row))
        assert all(a > b for column in zip(*lives, strict=True) for a, b in itertools.pairwise(column))


def test_adiabatic_limit_conserves_energy() -> None:
    """The rise integrates cp = 1800 + 3 (T - 25) J/kg/K back to the heat that made it."""
    end = adiabatic_limit(12.0, 430.0, 0.6)
    T = np.linspace(12.0, end, 10_001)
    assert np.trapezoid(1800.0 + 3.0 * (T - 25.0), T) == pytest.approx(0.6 * 430e3, rel=1e-9)
