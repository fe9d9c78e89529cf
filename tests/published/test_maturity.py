"""Degree-hours and equivalent age against published steps, tabulated histories and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.special

from model.degree_hours import (
    R_J_MOL_K,
    arrhenius_factor,
    en1992_adjusted_age,
    equivalent_age_h,
    equivalent_age_interval_mean_h,
    temperature_time_factor_Ch,
    temperature_time_factor_interval_mean_Ch,
)

HISTORY = [  # t h, T degC, sum of M above 0 degC, sum of te at 20 degC with 55 kJ/mol
    (0, 18, 0, 0.0),
    (1, 20, 19, 0.92567),
    (2, 23, 40.5, 2.04740),
    (3, 25, 64.5, 3.40234),
    (4, 24, 89, 4.80890),
    (6, 21, 134, 7.22936),
    (8, 18, 173, 9.15372),
    (12, 14, 237, 12.08118),
    (16, 11, 287, 14.29302),
    (20, 9, 327, 16.09586),
    (24, 8, 361, 17.68778),
    (30, 12, 421, 20.39203),
    (36, 16, 505, 24.13643),
    (48, 10, 661, 31.04596),
]
T_H = np.array([row[0] for row in HISTORY], dtype=np.float64)
T_C = np.array([row[1] for row in HISTORY], dtype=np.float64)
FINE_H = np.linspace(0.0, 24.0, 24 * 60 + 1)


def sine(mean_C: float, amplitude_K: float) -> np.ndarray:
    """A day's swing at every minute."""
    return mean_C + amplitude_K * np.sin(2 * np.pi * FINE_H / 24)


@pytest.mark.parametrize("row", range(len(HISTORY)))
def test_every_row_of_the_tabulated_history(row: int) -> None:
    """Interval-mean rule of ASTM C1074, computed independently; tolerance 1e-5."""
    t, T = T_H[: row + 1], T_C[: row + 1]
    _, _, factor, age = HISTORY[row]
    assert temperature_time_factor_interval_mean_Ch(t, T, 0.0) == pytest.approx(factor, rel=1e-9)
    assert temperature_time_factor_Ch(t, T, 0.0) == pytest.approx(factor, rel=1e-9)
    assert equivalent_age_interval_mean_h(t, T, 55_000, 20.0) == pytest.approx(age, abs=1.1e-5)


def test_the_same_history_with_another_datum_and_energy() -> None:
    """Datum 5 degC, 52.9 kJ/mol, 20 degC: 421 degC h and 31.49237 h, computed independently."""
    assert temperature_time_factor_interval_mean_Ch(T_H, T_C, 5.0) == pytest.approx(421.0, rel=1e-9)
    assert equivalent_age_interval_mean_h(T_H, T_C, 52_900, 20.0) == pytest.approx(31.49237, abs=1e-5)


def test_the_published_step_of_28_days() -> None:
    """Published civil-engineering example: 28 d at 15 degC above -11 degC is 728 degC d, 17 472 degC h."""
    t, T = np.array([0.0, 28 * 24.0]), np.array([15.0, 15.0])
    assert temperature_time_factor_Ch(t, T, -11.0) == 17_472.0


@pytest.mark.parametrize(
    ("T", "en", "q23", "q20"),
    [
        (0, 0.36714, 0.24132, 0.28646),
        (5, 0.47784, 0.33535, 0.39821),
        (10, 0.61614, 0.46064, 0.54717),
        (15, 0.78750, 0.62579, 0.74359),
        (20, 0.99812, 0.84132, 1.00000),
        (25, 1.25506, 1.11992, 1.33152),
        (30, 1.56624, 1.47676, 1.75628),
        (40, 2.38798, 2.50064, 2.97548),
    ],
)
def test_rate_factors(T: float, en: float, q23: float, q20: float) -> None:
    """EN 1992-1-1 B.10 as a published open library gives it; Q = 5000 K at 23 and 20 degC, computed."""
    one, at = np.array([1.0]), np.array([float(T)])
    energy = 5000.0 * R_J_MOL_K
    assert en1992_adjusted_age(one, at) == pytest.approx(en, abs=6e-6)
    assert float(arrhenius_factor(at, energy, 23.0)[0]) == pytest.approx(q23, abs=6e-6)
    # The table's last column takes 293 K and T + 273 K; shifting both by 0.15 K changes it by up to 2e-4.
    assert float(arrhenius_factor(at - 0.15, energy, 19.85)[0]) == pytest.approx(q20, abs=6e-6)


@pytest.mark.parametrize(
    ("mean", "amplitude", "base", "degree_hours"),
    [
        (10, 8, 10, 61.115498),
        (12, 6, 5, 168.0),
        (12, 6, 10, 72.407509),
        (8, 8, 5, 101.465308),
        (4, 6, 5, 34.474729),
    ],
)
def test_degree_hours_of_a_sine_day(mean: float, amplitude: float, base: float, degree_hours: float) -> None:
    """Closed form (24/pi)[(Tm - Tb)(pi/2 + theta) + A cos theta]; minutes chord the sine to 1e-5."""
    theta = math.asin(min(1.0, (mean - base) / amplitude))
    closed = 24 / math.pi * ((mean - base) * (math.pi / 2 + theta) + amplitude * math.cos(theta))
    assert closed == pytest.approx(degree_hours, abs=6e-7)
    assert temperature_time_factor_Ch(FINE_H, sine(mean, amplitude), base) == pytest.approx(closed, rel=1e-5)


@pytest.mark.parametrize(("start", "end", "age"), [(5, 25, 17.82068259), (0, 20, 11.96235191)])
def test_equivalent_age_of_a_ramp_is_exact(start: float, end: float, age: float) -> None:
    """Closed form with the exponential integral (scipy), 55 kJ/mol at 20 degC, one segment of 24 h."""
    energy_K = 55_000 / R_J_MOL_K

    def area(kelvin: float) -> float:
        x = energy_K / kelvin
        return kelvin * math.exp(-x) - energy_K * float(scipy.special.exp1(x))

    rate = math.exp(energy_K / 293.15)
    closed = 24 / (end - start) * rate * (area(end + 273.15) - area(start + 273.15))
    ours = equivalent_age_h(np.array([0.0, 24.0]), np.array([start, end], dtype=np.float64), 55_000, 20.0)
    assert ours == pytest.approx(age, abs=6e-9)
    assert ours == pytest.approx(closed, rel=1e-11)


@pytest.mark.parametrize(
    ("mean", "amplitude", "age", "age_at_mean"),
    [
        (12, 6, 13.442780, 12.742957),
        (8, 8, 10.115985, 9.160775),
        (20, 5, 24.814418, 24.0),
        (15, 10, 18.630145, 16.224158),
    ],
)
def test_equivalent_age_of_a_sine_day(mean: float, amplitude: float, age: float, age_at_mean: float) -> None:
    """Quadrature, 55 kJ/mol at 20 degC; the mean temperature alone gives less."""
    assert equivalent_age_h(FINE_H, sine(mean, amplitude), 55_000, 20.0) == pytest.approx(age, rel=2e-6)
    assert equivalent_age_h(FINE_H, sine(mean, 0), 55_000, 20.0) == pytest.approx(age_at_mean, abs=6e-7)


def test_crossing_the_datum_counts_the_part_above_exactly() -> None:
    """10 to 0 degC in an hour above 5 degC: 1.25 degC h by area, 0 by the interval's mean."""
    t, T = np.array([0.0, 1.0]), np.array([10.0, 0.0])
    assert temperature_time_factor_Ch(t, T, 5.0) == 1.25
    assert temperature_time_factor_Ch(t, T[::-1], 5.0) == 1.25
    assert temperature_time_factor_interval_mean_Ch(t, T, 5.0) == 0.0
