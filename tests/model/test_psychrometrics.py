"""Moist air: inverse pairs, limits, and refusal of what is out of range."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.psychrometrics import (
    absolute_humidity_g_m3,
    dew_point_C,
    frost_point_C,
    relative_humidity_at,
    saturation_pressure_ice_Pa,
    usable,
)

temperatures = st.floats(-45, 100)
humidities = st.floats(0.1, 100)


@given(temperatures, humidities)
def test_the_dew_point_gives_back_the_humidity(t_C: float, rh_pc: float) -> None:
    """relative_humidity_at() inverts dew_point_C() over the whole range."""
    assert float(relative_humidity_at(t_C, float(dew_point_C(t_C, rh_pc)))) == pytest.approx(rh_pc, rel=1e-9)


@given(temperatures, humidities)
def test_frost_settles_no_colder_than_dew(t_C: float, rh_pc: float) -> None:
    """Vapour pressure over ice is the lower one, so frost comes first; dew never above the air."""
    dew, frost = float(dew_point_C(t_C, rh_pc)), float(frost_point_C(t_C, rh_pc))
    assert dew <= t_C + 1e-9
    assert frost >= dew - 1e-9
    if dew > 0:
        assert frost == dew


def test_arrays_broadcast_and_agree_with_numbers() -> None:
    """A column of temperatures and a row of humidities give a table."""
    t, rh = np.array([[-5.0], [20.0]]), np.array([40.0, 60.0, 95.0])
    table = dew_point_C(t, rh)
    assert table.shape == (2, 3)
    assert table[1, 1] == dew_point_C(20.0, 60.0)
    assert np.all(np.isfinite(table))


@pytest.mark.parametrize(
    ("t_C", "rh_pc", "allowed"),
    [
        (20.0, 0.0, "0.1 to 100 %"),
        (20.0, 100.5, "0.1 to 100 %"),
        (20.0, float("nan"), "0.1 to 100 %"),
        (-50.0, 50.0, "-45 to 100 degC"),
        (float("nan"), 50.0, "-45 to 100 degC"),
    ],
)
def test_values_out_of_range_are_refused_and_the_error_says_what_is_allowed(
    t_C: float, rh_pc: float, allowed: str
) -> None:
    """NaN counts as out of range, so that none leaves; usable() says so beforehand."""
    assert not usable(t_C, rh_pc)
    for function in (dew_point_C, frost_point_C, absolute_humidity_g_m3):
        with pytest.raises(ValueError, match=allowed):
            function(np.array([10.0, t_C]), np.array([50.0, rh_pc]))


def test_there_is_no_ice_above_freezing() -> None:
    """The ice form is refused where it has no meaning."""
    with pytest.raises(ValueError, match="-65 to 0 degC"):
        saturation_pressure_ice_Pa(0.5)


def test_a_surface_below_the_dew_point_reads_above_100_percent() -> None:
    """Condensation shows as humidity above 100 %, it is not cut off."""
    assert float(relative_humidity_at(9.0, 10.0)) > 105.0
