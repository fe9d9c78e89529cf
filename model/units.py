"""Units people choose, to and from SI. Each takes a number or a float64 array and gives back the same kind.

Temperatures and temperature differences have functions of their own, because a difference has no offset.
"""

from __future__ import annotations

from typing import TypeVar

from model.blocks import Floats

Number = TypeVar("Number", float, Floats)

ZERO_C_K = 273.15
"""0 degC in kelvin, exact by definition of the Celsius scale (SI Brochure, 9th edition, 2.3.1)."""

GRAM_PER_OUNCE = 28.349523125
"""Exact: one sixteenth of the international avoirdupois pound of 453.59237 g (agreement of 1959)."""

M2_PER_SQUARE_YARD = 0.9144**2
"""Exact: the international yard is 0.9144 m (agreement of 1959)."""

GM2_PER_OZYD2 = GRAM_PER_OUNCE / M2_PER_SQUARE_YARD
"""g/m2 in one oz/yd2, about 33.906."""


def degC_to_degF(temperature_C: Number) -> Number:
    """Temperature, degC to degF: 1.8 t + 32, the definition of the Fahrenheit scale."""
    return temperature_C * 1.8 + 32.0


def degF_to_degC(temperature_F: Number) -> Number:
    """Temperature, degF to degC; inverse of degC_to_degF()."""
    return (temperature_F - 32.0) / 1.8


def difference_K_to_degF(difference_K: Number) -> Number:
    """Temperature difference, margin or error, K to degF, without offset."""
    return difference_K * 1.8


def difference_degF_to_K(difference_F: Number) -> Number:
    """Temperature difference, margin or error, degF to K, without offset."""
    return difference_F / 1.8


def degC_to_K(temperature_C: Number) -> Number:
    """Temperature, degC to K."""
    return temperature_C + ZERO_C_K


def K_to_degC(temperature_K: Number) -> Number:
    """Temperature, K to degC; inverse of degC_to_K()."""
    return temperature_K - ZERO_C_K


def gm2_to_ozyd2(areal_weight_gm2: Number) -> Number:
    """Areal weight of cloth, g/m2 to oz/yd2 (avoirdupois ounce)."""
    return areal_weight_gm2 / GM2_PER_OZYD2


def ozyd2_to_gm2(areal_weight_ozyd2: Number) -> Number:
    """Areal weight of cloth, oz/yd2 to g/m2; inverse of gm2_to_ozyd2()."""
    return areal_weight_ozyd2 * GM2_PER_OZYD2


GRAM_PER_POUND = 453.59237
"""Exact: the international avoirdupois pound (agreement of 1959)."""

M2_PER_SQUARE_FOOT = 0.3048**2
"""Exact: the international foot is 0.3048 m (agreement of 1959)."""

ML_PER_FLUID_OUNCE = 29.5735295625
"""Exact: 1/128 of the US liquid gallon of 231 cubic inches of 2.54 cm (NIST Handbook 44, appendix C; from memory)."""

MM_PER_INCH = 25.4
"""Exact (agreement of 1959)."""


def g_to_oz(mass_g: Number) -> Number:
    """Mass, g to avoirdupois ounces."""
    return mass_g / GRAM_PER_OUNCE


def oz_to_g(mass_oz: Number) -> Number:
    """Mass, avoirdupois ounces to g; inverse of g_to_oz()."""
    return mass_oz * GRAM_PER_OUNCE


def m2_to_ft2(area_m2: Number) -> Number:
    """Area, m2 to square feet."""
    return area_m2 / M2_PER_SQUARE_FOOT


def ft2_to_m2(area_ft2: Number) -> Number:
    """Area, square feet to m2; inverse of m2_to_ft2()."""
    return area_ft2 * M2_PER_SQUARE_FOOT


def ml_to_floz(volume_ml: Number) -> Number:
    """Volume, ml to US fluid ounces."""
    return volume_ml / ML_PER_FLUID_OUNCE


def floz_to_ml(volume_floz: Number) -> Number:
    """Volume, US fluid ounces to ml; inverse of ml_to_floz()."""
    return volume_floz * ML_PER_FLUID_OUNCE


def mm_to_in(length_mm: Number) -> Number:
    """Length, mm to inches."""
    return length_mm / MM_PER_INCH
