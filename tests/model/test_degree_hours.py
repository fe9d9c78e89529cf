"""Degree-hours: curvature, gaps and refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.degree_hours import (
    en1992_adjusted_age,
    equivalent_age_h,
    equivalent_age_interval_mean_h,
    temperature_time_factor_Ch,
)

HOURS = np.linspace(0.0, 24.0, 241)


def test_a_swinging_day_cures_more_than_its_mean_temperature() -> None:
    """Jensen: 12 +- 8 degC exceeds a steady 12 degC, because the rate is curved in temperature."""
    swing = 12.0 + 8.0 * np.sin(2 * np.pi * HOURS / 24)
    steady = np.full_like(HOURS, 12.0)
    assert equivalent_age_h(HOURS, swing, 55_000, 20.0) > 1.05 * equivalent_age_h(HOURS, steady, 55_000, 20.0)


@given(st.lists(st.floats(-10, 40), min_size=2, max_size=20), st.floats(20_000, 90_000))
def test_the_interval_mean_never_exceeds_the_exact_age(temperatures: list[float], energy: float) -> None:
    """The rate is convex in temperature below E/2R."""
    T = np.array(temperatures)
    t = np.arange(len(T), dtype=np.float64)
    exact = equivalent_age_h(t, T, energy, 20.0)
    assert equivalent_age_interval_mean_h(t, T, energy, 20.0) <= exact * (1 + 1e-12)


@given(st.lists(st.floats(-20, 40), min_size=2, max_size=20), st.floats(-15, 15), st.floats(0.05, 0.95))
def test_a_knot_on_the_line_changes_nothing(temperatures: list[float], datum: float, share: float) -> None:
    """Splitting the first segment anywhere leaves the area and the age as they were."""
    T = np.array(temperatures)
    t = np.arange(len(T), dtype=np.float64)
    knot = T[0] + share * (T[1] - T[0])
    t2, T2 = np.insert(t, 1, share), np.insert(T, 1, knot)
    whole = temperature_time_factor_Ch(t, T, datum)
    assert temperature_time_factor_Ch(t2, T2, datum) == pytest.approx(whole, abs=1e-9)
    age = equivalent_age_h(t, T, 55_000, 20.0)
    assert equivalent_age_h(t2, T2, 55_000, 20.0) == pytest.approx(age, rel=1e-7)


def test_a_segment_longer_than_allowed_adds_nothing() -> None:
    """A gap is left out of all sums, not bridged by a straight line."""
    t, T = np.array([0.0, 1.0, 9.0, 10.0]), np.full(4, 20.0)
    assert temperature_time_factor_Ch(t, T, 0.0) == 200.0
    assert temperature_time_factor_Ch(t, T, 0.0, longest_h=1.0) == 40.0
    assert equivalent_age_h(t, T, 55_000, 20.0, longest_h=1.0) == pytest.approx(2.0, rel=1e-14)


def test_an_empty_history_and_a_single_reading_have_no_age() -> None:
    """No segment, no sum."""
    assert temperature_time_factor_Ch(np.zeros(0), np.zeros(0), 0.0) == 0.0
    assert equivalent_age_h(np.array([3.0]), np.array([20.0]), 55_000, 20.0) == 0.0


@pytest.mark.parametrize(
    ("t", "T", "says"),
    [
        ([0.0, 1.0], [20.0], "same length"),
        ([0.0, 1.0], [20.0, math.nan], "finite"),
        ([1.0, 0.0], [20.0, 20.0], "sort"),
    ],
)
def test_histories_that_cannot_be_summed_are_refused(t: list[float], T: list[float], says: str) -> None:
    """The error says what to do."""
    with pytest.raises(ValueError, match=says):
        temperature_time_factor_Ch(np.array(t), np.array(T), 0.0)


def test_impossible_energies_and_temperatures_are_refused() -> None:
    """Below absolute zero and below zero energy there is no rate; B.10 ends at 80 degC."""
    t, T = np.array([0.0, 1.0]), np.array([20.0, 20.0])
    with pytest.raises(ValueError, match=r"-273\.15 degC"):
        equivalent_age_h(t, T - 300.0, 55_000, 20.0)
    with pytest.raises(ValueError, match="activation energy"):
        equivalent_age_h(t, T, -1.0, 20.0)
    with pytest.raises(ValueError, match="0 to 80 degC"):
        en1992_adjusted_age(np.array([1.0]), np.array([81.0]))
