"""Numbers and units as probes write them, to one clear number in SI: the strict form, and no guessing."""

from __future__ import annotations

import re
from collections.abc import Callable

STRICT_FORM = "an optional minus, up to 10 digits, optionally a point and up to 10 digits"

_STRICT = re.compile(r"-?[0-9]{1,10}(?:\.[0-9]{1,10})?")


def strict_number(text: str) -> float | None:
    """The number a text spells in the strict form, else None.

    float() alone would take "nan", "inf", "1e5", "1_0", blanks and digits of other scripts; and "21,5" or
    "21.5C" have more than one reading.
    """
    return float(text) if _STRICT.fullmatch(text) else None


TO_SI: dict[str, Callable[[float], float] | None] = {
    "degC": None,
    "%": None,
    "ppm": None,
    "degF": lambda value: (value - 32.0) / 1.8,
    "K": lambda value: value - 273.15,
    "1": lambda value: value * 100.0,
}
"""From each settings.Unit to degC, % or ppm; None: it is that already."""


def to_si(value: float, unit: str) -> float:
    """From one of settings.Unit to degC, % or ppm."""
    convert = TO_SI[unit]
    return value if convert is None else convert(value)
