"""Moist air against psychrolib, handbook tables and trade tables; the source stands beside each check."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from model.psychrometrics import (
    absolute_humidity_g_m3,
    dew_point_C,
    frost_point_C,
    relative_humidity_at,
    saturation_pressure_ice_Pa,
    saturation_pressure_water_Pa,
)
from model.units import degF_to_degC, difference_degF_to_K

GRID = [(float(t), float(rh)) for t in range(-10, 45, 5) for rh in (20, 30, 40, 50, 60, 70, 80, 85, 90, 95)]
MILD_GRID = [(t, rh) for t, rh in GRID if t >= 0]


@pytest.fixture(autouse=True)
def _si_units() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(("t_C", "rh_pc"), MILD_GRID)
def test_dew_or_frost_point_agrees_with_psychrolib(t_C: float, rh_pc: float) -> None:
    """psychrolib 2.5 (ASHRAE Handbook 2017, ch. 1), which goes over to ice below 0 degC: within 0.05 K."""
    expected = psychrolib.GetTDewPointFromRelHum(t_C, rh_pc / 100)
    ours = dew_point_C(t_C, rh_pc) if expected > 0 else frost_point_C(t_C, rh_pc)
    assert float(ours) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(("t_C", "rh_pc"), [(t, rh) for t, rh in GRID if t < 0])
def test_frost_point_of_cold_air_agrees_with_psychrolib_at_the_same_vapour_pressure(
    t_C: float, rh_pc: float
) -> None:
    """psychrolib 2.5 by vapour pressure, as its humidity is over ice; in warmer air, as it stops there."""
    pressure = float(saturation_pressure_water_Pa(t_C)) * rh_pc / 100
    expected = psychrolib.GetTDewPointFromVapPres(t_C + 5.0, pressure)
    assert float(frost_point_C(t_C, rh_pc)) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    ("t_C", "rh_pc", "dew", "frost", "rh_over_ice"),
    [(-10, 85, -12.044, -10.709, 93.9), (-5, 85, -7.132, -6.314, 89.3), (-5, 60, -11.575, -10.288, 63.1)],
)
def test_cold_air_over_water_and_over_ice(
    t_C: float, rh_pc: float, dew: float, frost: float, rh_over_ice: float
) -> None:
    """Computed independently from the Magnus forms of WMO-No. 8 (tests the code, not nature)."""
    assert float(dew_point_C(t_C, rh_pc)) == pytest.approx(dew, abs=6e-4)
    assert float(frost_point_C(t_C, rh_pc)) == pytest.approx(frost, abs=6e-4)
    ratio = float(saturation_pressure_water_Pa(t_C) / saturation_pressure_ice_Pa(t_C))
    assert rh_pc * ratio == pytest.approx(rh_over_ice, abs=0.06)


@pytest.mark.parametrize(("t_C", "pascal"), [(5, 872.6), (25, 3169.7), (50, 12351.3)])
def test_saturation_pressure_over_water_against_the_handbook(t_C: float, pascal: float) -> None:
    """ASHRAE 2017 Fundamentals ch. 1 table 3 as reproduced in psychrolib's tests; the form errs by 0.3 %."""
    assert float(saturation_pressure_water_Pa(t_C)) == pytest.approx(pascal, rel=3.5e-3)


def test_saturation_pressure_reads_at_most_2_5_percent_high_at_100_degC() -> None:
    """ASHRAE 2017 Fundamentals ch. 1 table 3: 101 418 Pa; beyond the form's stated range."""
    assert 1.0 < float(saturation_pressure_water_Pa(100.0)) / 101_418.0 < 1.025


@pytest.mark.parametrize(("t_C", "pascal"), [(-60, 1.08), (-20, 103.24), (-5, 401.74)])
def test_saturation_pressure_over_ice_against_the_handbook(t_C: float, pascal: float) -> None:
    """ASHRAE 2017 Fundamentals ch. 1 table 3 as reproduced in psychrolib's tests: 3e-4, or its 0.01 Pa."""
    assert float(saturation_pressure_ice_Pa(t_C)) == pytest.approx(pascal, rel=3e-4, abs=0.01)


@pytest.mark.parametrize(
    ("t_C", "water", "ice"),
    [
        (-40, 19.021, 12.850),
        (-20, 125.965, 103.261),
        (-10, 287.031, 259.874),
        (-5, 422.185, 401.738),
        (0, 611.200, 611.200),
    ],
)
def test_both_forms_at_and_below_freezing(t_C: float, water: float, ice: float) -> None:
    """Computed independently from the two Magnus forms, Pa."""
    assert float(saturation_pressure_water_Pa(t_C)) == pytest.approx(water, abs=6e-4)
    assert float(saturation_pressure_ice_Pa(t_C)) == pytest.approx(ice, abs=6e-4)


@pytest.mark.parametrize(
    ("t_C", "pascal"),
    [
        (5, 871.743),
        (10, 1226.030),
        (15, 1701.672),
        (20, 2332.596),
        (25, 3160.057),
        (30, 4233.724),
        (35, 5612.842),
        (40, 7367.458),
    ],
)
def test_form_over_water_is_the_stated_one(t_C: float, pascal: float) -> None:
    """Computed independently from 6.112 hPa exp(17.62 t / (243.12 + t))."""
    assert float(saturation_pressure_water_Pa(t_C)) == pytest.approx(pascal, abs=6e-4)


@pytest.mark.parametrize(
    ("t_C", "grams"),
    [
        (-10, 2.3),
        (-5, 3.4),
        (0, 4.8),
        (5, 6.8),
        (10, 9.4),
        (15, 12.8),
        (20, 17.3),
        (25, 23.0),
        (30, 30.4),
        (35, 39.6),
        (40, 51.1),
    ],
)
def test_saturated_absolute_humidity_against_a_published_table(t_C: float, grams: float) -> None:
    """A published trade climate table, g/m3 at 100 %: 0.1, or 0.5 % for form and ideal gas."""
    assert float(absolute_humidity_g_m3(t_C, 100.0)) == pytest.approx(grams, abs=0.1, rel=5e-3)


@pytest.mark.parametrize(
    ("t_C", "rh_pc", "grams"),
    [(20, 50, 8.644), (25, 60, 13.820), (10, 85, 7.988), (5, 90, 6.117), (15, 75, 9.619)],
)
def test_absolute_humidity_agrees_with_psychrolib(t_C: float, rh_pc: float, grams: float) -> None:
    """psychrolib 2.5: vapour mass in a volume of air at 101 325 Pa."""
    ratio = psychrolib.GetHumRatioFromRelHum(t_C, rh_pc / 100, 101_325.0)
    volume = psychrolib.GetMoistAirVolume(t_C, ratio, 101_325.0)
    assert 1000 * ratio / volume == pytest.approx(grams, abs=0.02)
    assert float(absolute_humidity_g_m3(t_C, rh_pc)) == pytest.approx(grams, rel=5e-3)


@pytest.mark.parametrize(
    ("surface_C", "rh_pc"), [(5, 80.9), (10, 81.6), (15, 82.2), (20, 82.9), (25, 83.5), (30, 84.0)]
)
def test_three_kelvin_above_the_dew_point_is_this_humidity_at_the_surface(
    surface_C: float, rh_pc: float
) -> None:
    """ISO 8502-4 as cited in paint practice asks 3 K; humidity computed with psychrolib 2.5."""
    assert float(relative_humidity_at(surface_C, surface_C - 3.0)) == pytest.approx(rh_pc, abs=0.15)


@pytest.mark.parametrize(
    ("spread_degF", "low", "high"),
    [(5, 82, 86), (15, 54, 62), (20, 43, 51), (25, 34, 42), (30, 27, 35), (35, 19, 29)],
)
def test_surface_humidity_by_dew_point_spread(spread_degF: float, low: float, high: float) -> None:
    """NACE 6A192/SSPC-TR-3 in a trade magazine, March 2016 p. 29 (its 10 degF row looks misprinted)."""
    surface = degF_to_degC(np.array([40.0, 60.0, 80.0]))
    rh = relative_humidity_at(surface, surface - difference_degF_to_K(spread_degF))
    assert np.all((rh > low - 1.5) & (rh < high + 1.5))


@pytest.mark.parametrize(
    ("air_degF", "rh_pc", "dew_degF"),
    [
        (50, 90, 47),
        (50, 80, 44),
        (50, 70, 40),
        (50, 60, 36),
        (60, 80, 54),
        (60, 65, 47),
        (70, 85, 65),
        (70, 65, 57),
        (70, 50, 50),
    ],
)
def test_dew_point_against_a_public_chart_in_fahrenheit(
    air_degF: float, rh_pc: float, dew_degF: float
) -> None:
    """A public dew point chart, read to 1 degF."""
    assert float(dew_point_C(degF_to_degC(air_degF), rh_pc)) == pytest.approx(degF_to_degC(dew_degF), abs=0.7)
