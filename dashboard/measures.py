"""Weights, areas, cloth, volumes and thickness in the system a person chose: "metric" or "US". SI inside."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from model import units

TIE = "\u00a0"
SYSTEMS = ("metric", "US")


@dataclass(frozen=True)
class Field:
    """A number as it is typed: the end of its name in an address, its unit on screen, to and from SI, its step."""

    end: str
    unit: str
    to_si: Callable[[float], float]
    of_si: Callable[[float], float]
    step: float


def _same(value: float) -> float:
    return value


FIELDS: Mapping[str, Mapping[str, Field]] = {
    "area": {
        "metric": Field("m2", "m²", _same, _same, 0.01),
        "US": Field("ft2", "ft²", units.ft2_to_m2, units.m2_to_ft2, 0.1),
    },
    "cloth": {
        "metric": Field("gm2", "g/m²", _same, _same, 1.0),
        "US": Field("ozyd2", "oz/yd²", units.ozyd2_to_gm2, units.gm2_to_ozyd2, 0.1),
    },
    "amount": {
        "metric": Field("g", "g", _same, _same, 1.0),
        "US": Field("oz", "oz", units.oz_to_g, units.g_to_oz, 0.1),
    },
    "bottles": {
        "degC": Field("C", "°C", _same, _same, 0.5),
        "degF": Field("F", "°F", units.degF_to_degC, units.degC_to_degF, 1.0),
    },
}
"""Every quantity that is typed, by what was chosen. The end is part of the name, so an address says its own unit."""


def typed(value: float, field: Field) -> str:
    """A value in SI as a person would type it: to a thousandth of their unit, so that what was typed comes back."""
    return f"{round(field.of_si(value), 3):g}"


def mass(grams: float, system: str) -> str:
    """ "345 g", "1.85 kg"; "9.5 oz", "3 lb 2.1 oz"."""
    if system == "US":
        tenths = round(10.0 * units.g_to_oz(grams))
        pounds, rest = divmod(tenths, 160)
        ounces = f"{rest / 10:.1f}{TIE}oz"
        return f"{pounds}{TIE}lb{TIE}{ounces}" if pounds else ounces
    return f"{grams / 1000.0:.2f}{TIE}kg" if grams >= 999.5 else f"{grams:.0f}{TIE}g"


def exactly(grams: float, system: str) -> str:
    """As a scale shows it: "48.4 g", "1.71 oz"."""
    if system == "US":
        return f"{units.g_to_oz(grams):.2f}{TIE}oz"
    return f"{grams:.1f}{TIE}g"


def cloth(gm2: float, system: str) -> str:
    """ "300 g/m²", "8.8 oz/yd²"."""
    field = FIELDS["cloth"][system]
    return f"{field.of_si(gm2):.{1 if system == 'US' else 0}f}{TIE}{field.unit}"


def area(m2: float, system: str) -> str:
    """ "2.50 m²", "26.9 ft²"."""
    field = FIELDS["area"][system]
    return f"{field.of_si(m2):.{1 if system == 'US' else 2}f}{TIE}{field.unit}"


def volume(ml: float, system: str) -> str:
    """ "235 ml", "7.9 fl oz"."""
    if system == "US":
        return f"{units.ml_to_floz(ml):.1f}{TIE}fl{TIE}oz"
    return f"{ml:.0f}{TIE}ml"


def thickness(mm: float, system: str) -> str:
    """ "2.4 mm", "0.09 in"."""
    return f"{units.mm_to_in(mm):.2f}{TIE}in" if system == "US" else f"{mm:.1f}{TIE}mm"


@dataclass(frozen=True)
class Weighed:
    """What stands on the scale, text: resin first, the hardener that belongs to that very resin, and its tolerance.

    resin_g, hardener_g   the same as numbers, g
    """

    resin: str
    hardener: str
    low: str
    high: str
    resin_g: float
    hardener_g: float


def weighed(resin_g: float, hardener_per_resin: float, tolerance_percent: float, system: str) -> Weighed:
    """Rounded to what a scale shows; the hardener follows from the resin as rounded, the tolerance is cut inwards."""
    unit, of, back = ("oz", units.g_to_oz, units.oz_to_g) if system == "US" else ("g", _same, _same)
    steps = (0.1, 0.01) if system == "US" else (1.0, 0.1)
    coarse = resin_g * tolerance_percent / 100.0 >= 2.0 * back(steps[0])
    resin = _on(of(resin_g), steps[0] if coarse else steps[1])
    exact = resin * hardener_per_resin
    band = 0.01 * tolerance_percent * exact
    step = steps[0] if band >= 2.0 * steps[0] else steps[1]
    low, high = _on(exact - band, step, up=1), _on(exact + band, step, up=-1)
    digits = {1.0: 0, 0.1: 1, 0.01: 2}
    resin_digits, fine = digits[steps[0] if coarse else steps[1]], digits[step]
    return Weighed(
        f"{resin:.{resin_digits}f}{TIE}{unit}",
        f"{_on(exact, step):.{fine}f}{TIE}{unit}",
        f"{low:.{fine}f}",
        f"{high:.{fine}f}{TIE}{unit}",
        back(resin),
        back(_on(exact, step)),
    )


def _on(value: float, step: float, up: int = 0) -> float:
    """On a scale's grid: nearest, or to the next above (up 1) or below (up -1)."""
    at = value / step
    nearest = round(at)
    if up and (nearest - at) * up < -1e-9:
        nearest += up
    return nearest * step
