"""Units go there and back without loss, and differences know no offset."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model import units

PAIRS = [
    (units.degC_to_degF, units.degF_to_degC),
    (units.difference_K_to_degF, units.difference_degF_to_K),
    (units.degC_to_K, units.K_to_degC),
    (units.gm2_to_ozyd2, units.ozyd2_to_gm2),
    (units.g_to_oz, units.oz_to_g),
    (units.m2_to_ft2, units.ft2_to_m2),
    (units.ml_to_floz, units.floz_to_ml),
]


@pytest.mark.parametrize(("there", "back"), PAIRS)
@given(hundredths=st.integers(-20_000, 200_000))
def test_a_value_written_to_two_decimals_comes_back_exactly(
    there: Callable[[float], float], back: Callable[[float], float], hundredths: int
) -> None:
    """-200.00 to 2000.00 in steps of 0.01."""
    value = hundredths / 100
    assert round(back(there(value)), 2) == value


@pytest.mark.parametrize(("there", "back"), PAIRS)
@given(value=st.floats(-1000, 1000))
def test_any_float_comes_back_within_rounding(
    there: Callable[[float], float], back: Callable[[float], float], value: float
) -> None:
    """The offset of up to 273.15 sets the size of a rounding step."""
    assert back(there(value)) == pytest.approx(value, rel=4e-16, abs=3e-13)


@given(temperature=st.floats(-100, 200), difference=st.floats(-50, 50))
def test_a_difference_is_what_two_temperatures_differ_by(temperature: float, difference: float) -> None:
    """Converting both ends and subtracting equals converting the difference."""
    ends = units.degC_to_degF(temperature + difference) - units.degC_to_degF(temperature)
    assert units.difference_K_to_degF(difference) == pytest.approx(ends, abs=1e-11)
    assert units.difference_K_to_degF(0.0) == 0.0


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(-40.0, -40.0), (0.0, 32.0), (10.0, 50.0), (100.0, 212.0)]
)
def test_fixed_points_of_the_two_scales_are_exact(celsius: float, fahrenheit: float) -> None:
    """Definition of the Fahrenheit scale by the Celsius scale."""
    assert units.degC_to_degF(celsius) == fahrenheit
    assert units.degF_to_degC(fahrenheit) == celsius


def test_an_array_gives_an_array() -> None:
    """Same shape, same values as one by one."""
    np.testing.assert_array_equal(units.degC_to_degF(np.array([-40.0, 0.0, 100.0])), [-40.0, 32.0, 212.0])
