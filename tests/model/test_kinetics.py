"""The stepper: against references aligned to the samples, and to the bit however a history is cut."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from model.calibration import Calibration, calibrate, card_central, card_members
from model.coat import course
from model.conversion_time import ConversionTime
from model.kinetics import DEFAULT_LAW, RateLaw, acceleration, advance
from tests.resin import blocks, medium_sheet, shipped

CENTRAL = calibrate(medium_sheet(), card_central(medium_sheet()))
RANGE = calibrate(shipped(), card_members(shipped(), 16))


def noisy_night(minutes: int, seed: int = 7) -> np.ndarray:
    """19 degC at six in the evening, 4 at dawn, 0.1 K of noise, in steps of 1/16 K."""
    hours = np.arange(minutes) / 60.0
    panel = 11.5 + 7.5 * np.cos(np.pi * hours / 12.0) + np.random.default_rng(seed).normal(0.0, 0.1, minutes)
    return np.round(panel * 16.0) / 16.0


def slope(calibration: Calibration, a: float, panel_C: float) -> float:
    """da/dt, 1/h, of the central member, written out again for the references."""
    k = calibration.k_per_h[0] * np.exp(
        -57e3 / 8.314462618 * (1.0 / (panel_C + 273.15) - 1.0 / (calibration.card.reference_C + 273.15))
    )
    x = (panel_C + 8.0 + 40.0) / 125.0
    critical = x / (0.4 + 0.6 * x)
    return k * (0.13 + max(a, 0.0) ** 0.8) * (1.0 - a) ** 2 / (1.0 + np.exp(28.0 * (a - critical)))


def test_noisy_night_against_sixteenfold_runge_kutta() -> None:
    """Within 1e-4 in conversion over 24 h, at every minute: RK4 with 16 steps inside each minute."""
    panel = noisy_night(1440)
    got = course(CENTRAL, blocks(panel), 0).conversion[:, 0]
    a, h = 0.0, 1.0 / 960.0
    worst = 0.0
    for minute, T in enumerate(panel):
        for _ in range(16):
            k1 = slope(CENTRAL, a, T)
            k2 = slope(CENTRAL, a + 0.5 * h * k1, T)
            k3 = slope(CENTRAL, a + 0.5 * h * k2, T)
            k4 = slope(CENTRAL, a + h * k3, T)
            a += h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
        worst = max(worst, abs(got[minute] - a))
    assert 0.5 < a < 0.95
    assert worst < 1e-4


def test_noisy_hours_against_scipy_restarted_at_every_minute() -> None:
    """LSODA restarted at each sample, 4 h: run freely across noise it is itself wrong by up to 3e-5."""
    panel = noisy_night(240)
    got = course(CENTRAL, blocks(panel), 0).conversion[:, 0]
    a = 0.0
    for minute, T in enumerate(panel):
        found = solve_ivp(
            lambda _, y, T=T: [slope(CENTRAL, y[0], T)],
            (0.0, 1.0 / 60.0),
            [a],
            method="LSODA",
            rtol=1e-9,
            atol=1e-12,
        )
        a = float(found.y[0, -1])
        assert got[minute] == pytest.approx(a, abs=1e-4)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(-30.0, 220.0), min_size=1, max_size=40),
    st.floats(1.0, 300.0),
    st.floats(0.0, 1.0),
)
def test_conversion_never_falls_and_stays_between_0_and_1(
    panel: list[float], seconds: float, start: float
) -> None:
    T = np.array(panel)[:, np.newaxis]
    k = CENTRAL.k_per_h * acceleration(T, 57e3, 21.0)
    u = advance(
        DEFAULT_LAW,
        np.array([start]),
        k,
        DEFAULT_LAW.critical(T, 85.0),
        np.full(len(panel), seconds / 3600.0),
    )
    whole = np.concatenate([[start], u[:, 0]])
    assert np.all(np.diff(whole) <= 0.0)
    assert np.all((whole >= 0.0) & (whole <= 1.0))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(-10.0, 60.0), min_size=2, max_size=400),
    st.data(),
    st.integers(0, 59_999),
)
def test_cutting_a_history_anywhere_gives_the_same_bits(
    panel: list[float], data: st.DataObject, late_ms: int
) -> None:
    """One course, and two with the state carried over, from part of a first minute on: the same bits."""
    cut = data.draw(st.integers(1, len(panel) - 1))
    whole = course(RANGE, blocks(panel), late_ms)
    first = course(RANGE, blocks(panel[:cut]), late_ms)
    rest = course(RANGE, blocks(panel[cut:], start=cut * 60_000), late_ms, resume=first.state(cut * 60_000))
    np.testing.assert_array_equal(np.concatenate([first.conversion, rest.conversion]), whole.conversion)
    np.testing.assert_array_equal(np.concatenate([first.age_h, rest.age_h]), whole.age_h)


def test_cutting_a_night_at_each_of_its_minutes_gives_the_same_bits() -> None:
    """Also past half conversion, where 1 - (1 - u) is no longer u to the last bit."""
    panel = list(noisy_night(240) + 20.0)
    whole = course(RANGE, blocks(panel), 0)
    assert whole.conversion[-1].min() > 0.5
    for cut in range(1, 240):
        rest = course(RANGE, blocks(panel[cut:], start=cut * 60_000), 0, resume=whole.state(cut * 60_000))
        np.testing.assert_array_equal(rest.remaining, whole.remaining[cut:])


def test_members_do_not_see_each_other() -> None:
    """A member alone cures to the same bits as among the others, on cures that need no sub-steps."""
    T = noisy_night(300)[:, np.newaxis] + RANGE.members.probe_offset_K
    k = np.ascontiguousarray(RANGE.speed(T) * RANGE.k_per_h)
    critical = DEFAULT_LAW.critical(T, RANGE.members.Tg_inf_C)
    hours = np.full(300, 1.0 / 60.0)
    whole = advance(DEFAULT_LAW, np.ones(16), k, critical, hours)
    for member in (0, 7, 15):
        alone = advance(DEFAULT_LAW, np.ones(1), k[:, [member]].copy(), critical[:, [member]].copy(), hours)
        np.testing.assert_array_equal(alone[:, 0], whole[:, member])


def test_one_activation_energy_without_diffusion_depends_on_history_only_through_equivalent_age() -> None:
    """An exact property of the rate law with f_d = 1: warm-then-cold equals cold-then-warm."""
    free = RateLaw(diffusion=False)
    calibration = calibrate(medium_sheet(), card_central(medium_sheet()), free)
    panel = noisy_night(900)
    forth, back = (course(calibration, blocks(p), 0) for p in (panel, panel[::-1]))
    assert forth.age_h[-1, 0] == pytest.approx(back.age_h[-1, 0], rel=1e-12)
    assert forth.conversion[-1, 0] == pytest.approx(back.conversion[-1, 0], abs=2e-5)
    assert abs(forth.conversion[450, 0] - back.conversion[450, 0]) > 0.05


def test_diffusion_only_ever_slows() -> None:
    a = np.linspace(0.0, 0.99, 50)
    with_it = DEFAULT_LAW.rate(a, 1.0, DEFAULT_LAW.critical(10.0, 85.0))
    without = RateLaw(diffusion=False).rate(a, 1.0, 0.0)
    assert np.all(with_it < without)
    assert with_it[0] == pytest.approx(without[0], rel=1e-6)


def test_transition_and_conversion_invert_each_other_far_outside_a_shop() -> None:
    """Exact from -70 degC to full cure, finite and never falling below that, where the curve has a pole."""
    transition = np.array([-70.0, -40.0, 0.0, 60.0, 85.0])
    np.testing.assert_allclose(
        DEFAULT_LAW.glass_transition(DEFAULT_LAW.conversion_at(transition, 85.0), 85.0), transition, atol=1e-9
    )
    deep = DEFAULT_LAW.conversion_at(np.arange(-400.0, 100.0), 85.0)
    assert np.all(np.isfinite(deep))
    assert np.all(np.diff(deep) >= 0.0)


def test_time_and_conversion_invert_each_other_from_the_first_trace_of_cure() -> None:
    time = ConversionTime(DEFAULT_LAW, DEFAULT_LAW.critical(20.0, np.array([70.0, 85.0, 100.0])))
    for conversion in (1e-14, 1e-9, 0.01, 0.5, 0.9, 0.999):
        np.testing.assert_allclose(time.conversion(time.to(conversion)), conversion, rtol=1e-3, atol=1e-15)
    assert np.all(np.isinf(time.to(1.0)))
    np.testing.assert_array_equal(time.to(0.0), 0.0)


@settings(max_examples=40, deadline=None)
@given(st.floats(20.0, 220.0), st.floats(1.0, 300.0), st.floats(0.0, 1.0))
def test_a_single_step_of_any_length_stays_between_0_and_1(T_C: float, seconds: float, start: float) -> None:
    """Without sub-steps, as the outlook takes its long rows."""
    T = np.array([[T_C]])
    k = CENTRAL.k_per_h * acceleration(T, 57e3, 21.0)
    hours = np.array([seconds / 3600.0])
    end = advance(DEFAULT_LAW, np.array([start]), k, DEFAULT_LAW.critical(T, 85.0), hours, whole=True)[0, 0]
    assert 0.0 <= end <= start


def test_the_fastest_rate_still_to_come_is_never_exceeded() -> None:
    """At one temperature, against the rate at every later conversion."""
    later = np.linspace(0.0, 1.0, 400)
    critical = DEFAULT_LAW.critical(12.0, 85.0)
    for start in (0.0, 0.1, 0.3, 0.6, 0.8):
        bound = float(DEFAULT_LAW.fastest(start, 2.0, critical))
        assert bound >= float(np.max(DEFAULT_LAW.rate(later[later >= start], 2.0, critical))) - 1e-6
