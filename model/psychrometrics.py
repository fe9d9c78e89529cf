"""Moist air: vapour pressure, dew and frost point, humidity at a surface.

Relative humidity is over water at every temperature, which is what capacitive sensors report. Inputs are
numbers or float64 arrays that broadcast; results are float64 arrays of the broadcast shape (numpy scalars
for numbers). Nothing returns NaN: values outside the stated range, NaN among them, raise ValueError;
usable() tells beforehand which values are inside.

Sources: Magnus form with the coefficients of D. Sonntag, 1990, used in WMO-No. 8 (over water: read in a
public source file headed "Sonntag90"; over ice: WMO-No. 8 annex 4.B, value from memory, compared with the
ASHRAE ice table in tests/published).
"""

from __future__ import annotations

import numpy as np

from model.blocks import Bools, Floats
from model.units import ZERO_C_K

AIR_RANGE_C = (-45.0, 100.0)
"""Temperatures taken. The form is stated for -45 to 60 degC; up to 100 degC it reads up to 2.5 % high."""

RH_RANGE_PC = (0.1, 100.0)
"""Relative humidity taken, % over water. Drier than 0.1 % there is no dew point worth the name."""

WATER_VAPOUR_J_KG_K = 8.314462618 / 0.018015268
"""Of water vapour: the molar gas constant (CODATA 2018) over the molar mass of water, J/(kg K)."""

_E0_PA = 611.2
_WATER = (17.62, 243.12)
_ICE = (22.46, 272.62)


def usable(t_C: float | Floats, rh_pc: float | Floats) -> Bools:
    """True where both lie in the ranges the functions here take; False for NaN."""
    inside_t = np.logical_and(np.greater_equal(t_C, AIR_RANGE_C[0]), np.less_equal(t_C, AIR_RANGE_C[1]))
    inside_rh = np.logical_and(np.greater_equal(rh_pc, RH_RANGE_PC[0]), np.less_equal(rh_pc, RH_RANGE_PC[1]))
    return np.logical_and(inside_t, inside_rh)


def saturation_pressure_water_Pa(t_C: float | Floats) -> Floats:
    """Vapour pressure over (below 0 degC: supercooled) water, Pa; t_C in -45 to 100 degC.

    611.2 exp[17.62 t / (243.12 + t)]. Raises ValueError outside the range.
    """
    t = _inside("temperature", t_C, AIR_RANGE_C, "degC")
    return _magnus(t, _WATER)


def saturation_pressure_ice_Pa(t_C: float | Floats) -> Floats:
    """Vapour pressure over ice, Pa; t_C in -65 to 0 degC.

    611.2 exp[22.46 t / (272.62 + t)]. Raises ValueError outside the range: above 0 degC there is no ice.
    """
    t = _inside("temperature over ice", t_C, (-65.0, 0.0), "degC")
    return _magnus(t, _ICE)


def dew_point_C(t_C: float | Floats, rh_pc: float | Floats) -> Floats:
    """Temperature at which this air is saturated over water, degC; below 0 degC over supercooled water.

    t_C in -45 to 100 degC, rh_pc in 0.1 to 100 %. Raises ValueError outside the ranges.
    """
    return _magnus_inverse(_vapour_pressure_Pa(t_C, rh_pc), _WATER)


def frost_point_C(t_C: float | Floats, rh_pc: float | Floats) -> Floats:
    """Temperature at which frost first settles, degC. Air whose dew point is above 0 degC gets its dew point.

    The frost point lies above the dew point over supercooled water and both meet at 0 degC. Ranges and
    errors as dew_point_C().
    """
    pressure = _vapour_pressure_Pa(t_C, rh_pc)
    return np.where(pressure < _E0_PA, _magnus_inverse(pressure, _ICE), _magnus_inverse(pressure, _WATER))[()]


def relative_humidity_at(t_surface_C: float | Floats, dew_point_C: float | Floats) -> Floats:
    """Relative humidity over water right at a surface, %, from the surface's temperature and the air's dew
    point.

    Above 100 where the surface is colder than the dew point: water condenses. t_surface_C in -45 to 100 degC,
    dew_point_C in -100 to 100 degC. Raises ValueError outside the ranges.
    """
    dew = _inside("dew point", dew_point_C, (-100.0, 100.0), "degC")
    return 100.0 * _magnus(dew, _WATER) / saturation_pressure_water_Pa(t_surface_C)


def absolute_humidity_g_m3(t_C: float | Floats, rh_pc: float | Floats) -> Floats:
    """Water vapour in a volume of air, g/m3, by the ideal gas law. Ranges and errors as dew_point_C()."""
    pressure = _vapour_pressure_Pa(t_C, rh_pc)
    return 1000.0 * pressure / (WATER_VAPOUR_J_KG_K * (np.asarray(t_C, dtype=np.float64) + ZERO_C_K))


def _vapour_pressure_Pa(t_C: float | Floats, rh_pc: float | Floats) -> Floats:
    rh = _inside("relative humidity", rh_pc, RH_RANGE_PC, "%")
    return saturation_pressure_water_Pa(t_C) * (rh / 100.0)


def _magnus(t_C: Floats, over: tuple[float, float]) -> Floats:
    a, b_C = over
    return _E0_PA * np.exp(a * t_C / (b_C + t_C))


def _magnus_inverse(pressure_Pa: Floats, over: tuple[float, float]) -> Floats:
    a, b_C = over
    logarithm = np.log(pressure_Pa / _E0_PA)
    return b_C * logarithm / (a - logarithm)


def _inside(what: str, value: float | Floats, allowed: tuple[float, float], unit: str) -> Floats:
    """The value as float64. Raises ValueError naming the first value outside and what is allowed."""
    array = np.asarray(value, dtype=np.float64)
    outside = ~((array >= allowed[0]) & (array <= allowed[1]))
    if np.any(outside):
        first = float(array[outside].flat[0])
        raise ValueError(
            f"{what} {first!r} {unit}: allowed is {allowed[0]:g} to {allowed[1]:g} {unit}; "
            "leave such a reading out"
        )
    return array
