"""A laminate that heats itself: energy is kept, thick is hotter, a mould draws heat, cure is the film's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from model.calibration import calibrate, card_central, card_members
from model.conversion_time import ConversionTime
from model.kinetics import acceleration
from model.laminate_heat import (
    AIR_ABOVE_W_M2K,
    AIR_BELOW_W_M2K,
    Face,
    LaminateCourse,
    Layer,
    Slab,
    fresh_laminate,
    laminate_course,
)
from model.layup import stage_limit_mm
from model.material import FOAM, PLYWOOD, STEEL, Material, laminate
from tests.resin import medium_sheet, shipped

CARD = shipped()
CALIBRATION = calibrate(CARD, card_central(CARD))


def laid(
    mm: float, T_C: float, below: tuple[Layer, ...] = (), hours: float = 6.0, cells: int = 20
) -> LaminateCourse:
    """Half glass by weight, laid at once in still air at T_C."""
    slab = Slab(
        [*below, fresh_laminate(1e-3 * mm, 0.5)],
        Face(T_C, AIR_BELOW_W_M2K),
        Face(T_C, AIR_ABOVE_W_M2K),
        cells,
    )
    return laminate_course(CALIBRATION, slab, T_C, hours)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.0, 30.0), st.floats(0.0, 0.7), st.floats(2.0, 30.0))
def test_an_insulated_laminate_keeps_the_energy_of_its_cure(T_C: float, wf: float, mm: float) -> None:
    """Rise x cp = H x (1 - wf) x conversion, at every time; the adiabatic limit is never passed."""
    layer = fresh_laminate(1e-3 * mm, wf)
    run = laminate_course(CALIBRATION, Slab([layer], Face(0.0, 0.0), Face(0.0, 0.0), 5), T_C, 3.0)
    rise = 430e3 * (1.0 - wf) * run.conversion / layer.material.heat_capacity
    np.testing.assert_allclose(run.temperature_C - T_C, rise, rtol=1e-9, atol=1e-9)
    assert run.peak_C <= T_C + 430e3 * (1.0 - wf) / layer.material.heat_capacity


@pytest.mark.parametrize("wf", [0.0, 0.5])
def test_insulated_cure_agrees_with_scipys_integrator(wf: float) -> None:
    """SciPy's LSODA on da/dt with T = T0 + rise x a: times to conversions within 0.5 % through the run-away."""
    layer = fresh_laminate(0.02, wf)
    run = laminate_course(CALIBRATION, Slab([layer], Face(0.0, 0.0), Face(0.0, 0.0), 3), 20.0, 2.0)
    rise = 430e3 * (1.0 - wf) / layer.material.heat_capacity
    law, of = CALIBRATION.law, CALIBRATION.members

    def slope(_: float, a: np.ndarray) -> np.ndarray:
        T = 20.0 + rise * a
        k = CALIBRATION.k_per_h * acceleration(T, of.E_J_mol, CARD.reference_C)
        return law.rate(np.maximum(a, 0.0), k, law.critical(T, of.Tg_inf_C))

    exact = solve_ivp(slope, (0.0, 2.0), (0.0,), "LSODA", rtol=1e-8, atol=1e-10)
    for conversion in (0.05, 0.2, 0.5):
        expected = np.interp(conversion, exact.y[0], exact.t)
        assert np.interp(conversion, run.conversion[:, 0], run.hours) == pytest.approx(
            expected, rel=5e-3, abs=0.005
        )


def test_a_thin_skin_held_at_the_sheets_temperature_cures_as_the_sheet_says() -> None:
    """Both faces held: the conversion at "recoat from" is the gel point, at "sand" the calibration's."""
    slab = Slab([fresh_laminate(2e-4, 0.5)], Face(20.0, math.inf), Face(20.0, math.inf), 4)
    run = laminate_course(CALIBRATION, slab, 20.0, 17.0)
    at = np.searchsorted(run.hours, [2.7 - 1e-6, 17.0 - 1e-6])
    expected = [CALIBRATION.law.gel, CALIBRATION.conversion["sand"][0]]
    np.testing.assert_allclose(run.conversion[at, 1], expected, atol=3e-3)


@pytest.mark.parametrize("T_C", [20.0, 80.0, 200.0])
def test_a_hold_cures_as_the_quadrature_says_to_its_far_end(T_C: float) -> None:
    """model.conversion_time, an integral over conversion: what is left to react, within 1 % at every minute."""
    slab = Slab([fresh_laminate(2e-4, 0.5)], Face(T_C, math.inf), Face(T_C, math.inf), 2)
    run = laminate_course(CALIBRATION, slab, T_C, 1.0)
    of, law = CALIBRATION.members, CALIBRATION.law
    exact = ConversionTime(law, law.critical(T_C, of.Tg_inf_C))
    k = CALIBRATION.k_per_h * acceleration(T_C, of.E_J_mol, CARD.reference_C)
    expected = np.array([1.0 - exact.conversion(k * hours)[0] for hours in run.hours[1:]])
    # at 200 degC the skin is a few kelvin warmer than its faces for some seconds: it is over within the first minute
    np.testing.assert_allclose(1.0 - run.conversion[1:, 0], expected, rtol=0.01)


@pytest.mark.parametrize("T_C", [10.0, 20.0])
def test_thicker_at_once_is_hotter_and_sooner(T_C: float) -> None:
    runs = [laid(mm, T_C) for mm in (2.0, 5.0, 10.0, 20.0)]
    peaks = [run.peak_C for run in runs]
    assert peaks == sorted(peaks)
    assert [run.peak_h for run in runs] == sorted((run.peak_h for run in runs), reverse=True)
    assert peaks[0] < T_C + 6.0


@pytest.mark.parametrize("name", ["invented-15min", "invented-25min", "invented-45min"])
def test_the_trades_stages_and_the_heat_agree(name: str) -> None:
    """Common practice, no source: at the stage limit, on 18 mm ply at 20 degC, a layup stays below 50 degC; five
    thirds of it at once passes 80 degC."""
    card = shipped(name)
    of = calibrate(card, card_central(card))
    peaks = []
    for share in (1.0, 5.0 / 3.0):
        layers = [Layer(0.018, PLYWOOD), fresh_laminate(1e-3 * stage_limit_mm(card) * share, 0.5)]
        slab = Slab(layers, Face(20.0, AIR_BELOW_W_M2K), Face(20.0, AIR_ABOVE_W_M2K), 15)
        peaks.append(laminate_course(of, slab, 20.0, 4.0).peak_C)
    assert peaks[0] < 50.0
    assert peaks[1] > 80.0


def test_a_mould_of_steel_draws_heat_and_foam_keeps_it() -> None:
    steel, ply, foam = (
        laid(8.0, 20.0, (Layer(1e-3 * mm, of),)).peak_C
        for mm, of in ((6.0, STEEL), (18.0, PLYWOOD), (30.0, FOAM))
    )
    assert steel < ply < foam


def test_only_what_cures_has_a_conversion() -> None:
    run = laid(4.0, 20.0, (Layer(0.018, PLYWOOD),), hours=0.5)
    assert np.isnan(run.conversion[:, :20]).all()
    assert (np.diff(run.conversion[:, 20:], axis=0) >= 0.0).all()
    assert ((run.conversion[:, 20:] >= 0.0) & (run.conversion[:, 20:] <= 1.0)).all()


def test_alike_faces_give_a_symmetric_course() -> None:
    slab = Slab([fresh_laminate(0.01, 0.5)], Face(15.0, 8.0), Face(15.0, 8.0), 20)
    run = laminate_course(CALIBRATION, slab, 15.0, 3.0)
    np.testing.assert_allclose(run.temperature_C, run.temperature_C[:, ::-1], atol=1e-8)
    np.testing.assert_allclose(run.below_C, run.above_C, atol=1e-8)


def test_half_the_step_and_twice_the_cells_change_little() -> None:
    """Through a run-away of 10 mm at 20 degC, which the coarse run must not miss."""

    def run(cells: int, step_h: float) -> LaminateCourse:
        slab = Slab(
            [fresh_laminate(0.01, 0.5)], Face(20.0, AIR_BELOW_W_M2K), Face(20.0, AIR_ABOVE_W_M2K), cells
        )
        return laminate_course(CALIBRATION, slab, 20.0, 2.0, step_h)

    coarse, fine = run(10, 1.0 / 60.0), run(40, 1.0 / 240.0)
    assert coarse.peak_C == pytest.approx(fine.peak_C, abs=1.5)  # of a rise by 136 K
    assert coarse.peak_h == pytest.approx(fine.peak_h, rel=0.02)
    assert coarse.conversion[-1].min() == pytest.approx(fine.conversion[-1].min(), abs=2e-3)


def test_wet_laminates_heat_is_the_resins_alone() -> None:
    of = laminate(0.4, resin=Material(0.2, 1150.0, 1800.0))
    assert fresh_laminate(0.01, 0.4).heat_J_m3 == pytest.approx(of.density * 0.6 * 430e3)


def test_wrong_questions_are_refused() -> None:
    skin = fresh_laminate(0.003, 0.5)
    slab = Slab([skin], Face(20.0, 0.0), Face(20.0, 0.0))
    with pytest.raises(ValueError, match="thickness above 0"):
        Layer(0.0, PLYWOOD)
    with pytest.raises(ValueError, match="0 \\(insulated\\) up to inf"):
        Face(20.0, -1.0)
    with pytest.raises(ValueError, match="needs a layer"):
        Slab([], Face(20.0, 0.0), Face(20.0, 0.0))
    with pytest.raises(ValueError, match="comes to no rest"):
        slab.steady(np.zeros(40))
    with pytest.raises(ValueError, match="0 < step <= hours"):
        laminate_course(CALIBRATION, slab, 20.0, 0.0)
    sheet = medium_sheet()
    with pytest.raises(ValueError, match="central member alone; got 8"):
        laminate_course(calibrate(sheet, card_members(sheet, 8)), slab, 20.0, 1.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        laminate(1.2)
    with pytest.raises(ValueError, match="density must be above 0"):
        Material(0.2, 0.0, 1000.0)
