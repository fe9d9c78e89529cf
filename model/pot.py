"""How long a pot of mixed resin stays usable, and when it runs hot: one lump of resin heating itself.

    cp dT/dt = H da/dt - U(T) A / M (T - T_air)             cp = 1800 + 3 (T - 25) J/kg/K, T in degC
    U = 1 / (1 / h + 1 / 100)    h = 2 |T - T_air|^(1/4) + 0.9 x 4 sigma T_m^3    W/m2K

Natural convection and radiation of emissivity 0.9 act in series with the wall; of the bottom half counts, as
it stands on something. One lump is fair while the resin is liquid and turns over by itself, which is as long
as it is usable. Later the core is hotter than the lump, but nothing boils off here and no heat goes into
charring, so the peak is an upper bound all the same; the bound above it is the adiabatic limit H / cp.

The sheet's pot life was measured in bulk, its film times on a surface, and the conversion at which a cup is
called dead is not on any sheet: the simulated cup has run away by then. So that conversion is fixed at 0.25
and a rate factor is solved for, with which the sheet's mass and temperature give the sheet's pot life.
Coefficients of convection, emissivity, wall, density and heat capacity are textbook values from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from model.calibration import Calibration
from model.kinetics import ZERO_C_IN_K, GAS_CONSTANT_J_mol_K

HEAT_J_G = 430.0
"""Heat of reaction of a gram of mix, J/g, if the card gives none: see model.stoichiometry for amines' own."""
USABLE_CONVERSION = 0.25
HOT_C = 80.0
"""A cup this hot has run away: it smokes within minutes and softens a plastic cup."""
SAFE_SHARE = 0.8
"""Share of a pot's life that is promised: the last part thickens fast (common practice, no source)."""
AGREEMENT = (0.5, 2.0)
"""Pot rate over film rate outside this: one of the two is misread, or was measured on another hardener."""
DENSITY_KG_M3 = 1100.0

_STEFAN_BOLTZMANN = 5.670374419e-8
"""W/m2K4, exact since the SI of 2019 (CODATA 2018)."""
_EMISSIVITY = 0.9
_CONVECTION = 2.0
_WALL_W_M2K = 100.0
_GRID = (
    *(0.0025 * (i + 1) for i in range(99)),
    USABLE_CONVERSION,
    *(0.25 + 0.005 * (i + 1) for i in range(130)),
    *(1.0 - 0.1 * math.exp(-0.1 * (i + 1)) for i in range(30)),
)
"""Conversions at which a pot is looked at, to 0.995: no pot's peak lies beyond."""


class Caution(StrEnum):
    """What has to be said about a pot."""

    POT_AND_FILM_DISAGREE = "pot and film disagree"
    RUNS_HOT_IF_LEFT = "runs hot if left"


@dataclass(frozen=True)
class Vessel:
    """A cup as high as it is wide, or a round tray filled to depth_mm (None: a cup).

    What would not cover half as wide a tray is taken to spread to half the cup's height, so a tray never has
    less surface than a cup.
    """

    depth_mm: float | None = None

    def __post_init__(self) -> None:
        if self.depth_mm is not None and not self.depth_mm > 0.0:
            raise ValueError(f"a tray is filled to more than 0 mm; got {self.depth_mm:g}")

    def cooling_area_m2(self, volume_m3: float) -> float:
        """Top, side and half the bottom, m2, of so much resin."""
        height = math.cbrt(4.0 * volume_m3 / math.pi)
        if self.depth_mm is not None:
            height = min(1e-3 * self.depth_mm, 0.5 * height)
        return 1.5 * volume_m3 / height + 2.0 * math.sqrt(math.pi * volume_m3 * height)


CUP = Vessel()
TRAY = Vessel(depth_mm=5.0)
"""A roller tray, thinly filled. At 10 mm the resin heats itself nearly as in a cup."""


@dataclass(frozen=True)
class PotLife:
    """What becomes of a pot that is left standing; hours from mixing, inf for never.

    usable_h     until USABLE_CONVERSION: nothing more should be spread from it
    hot_h        until HOT_C
    peak_C       hottest it can get, an upper bound; adiabatic_C  the same with no heat lost at all
    """

    usable_h: float
    hot_h: float
    peak_C: float
    adiabatic_C: float
    cautions: tuple[Caution, ...]

    @property
    def pour_by_h(self) -> float:
        """The safe end of its use, h: by then it must be spread out."""
        return SAFE_SHARE * min(self.usable_h, self.hot_h)


@dataclass(frozen=True)
class PotModel:
    """A card's resin in bulk; made by pot_model().

    heat_J_g  heat of reaction of a gram of mix
    factor    rate in the pot over that of the film, from the sheet's pot life
    """

    calibration: Calibration
    heat_J_g: float
    factor: float

    @property
    def disagrees(self) -> bool:
        """Whether the sheet's pot life and its film times cannot both be right."""
        low, high = AGREEMENT
        return not low <= self.factor <= high

    def life(
        self, mass_g: float, vessel: Vessel, bottles_C: float, air_C: float, rate: float = 1.0
    ) -> PotLife:
        """What becomes of mass_g (g) mixed from bottles at bottles_C and left in a room at air_C (degC).

        Bottles colder than the room count as being at the room's temperature: measuring out and stirring warm
        them, and the error is on the safe side. rate: this pot's over the card's, as exp of a member's ln_rate.
        More mass, depth, warmth or rate never lengthens any of the times nor lowers the peak: with conversion
        as the independent variable dT/da is one equation of first order, whose solutions cannot cross.
        Raises ValueError for a mass or a rate that is not above 0.
        """
        start = max(bottles_C, air_C)
        usable = hot = math.inf
        peak = before_T = start
        before_h = 0.0
        if start >= HOT_C:
            hot = 0.0
        for conversion, hours, T in self._standing(mass_g, vessel, start, air_C, rate):
            if conversion == USABLE_CONVERSION:
                usable = hours
            if math.isinf(hot) and T >= HOT_C:
                hot = before_h + (HOT_C - before_T) / (T - before_T) * (hours - before_h)
            peak, before_T, before_h = max(peak, T), T, hours
        cautions = [Caution.POT_AND_FILM_DISAGREE] if self.disagrees else []
        if math.isfinite(hot):
            cautions.append(Caution.RUNS_HOT_IF_LEFT)
        return PotLife(usable, hot, peak, adiabatic_limit(start, self.heat_J_g), tuple(cautions))

    def _usable_h(self, mass_g: float, vessel: Vessel, start_C: float, air_C: float, rate: float) -> float:
        course = self._standing(mass_g, vessel, start_C, air_C, rate)
        return next(hours for conversion, hours, _ in course if conversion == USABLE_CONVERSION)

    def _standing(
        self, mass_g: float, vessel: Vessel, start_C: float, air_C: float, rate: float
    ) -> Iterator[tuple[float, float, float]]:
        """Conversion, hours and temperature at the end of each cell of _GRID.

        Midpoint rule in conversion; within a cell the temperature relaxes exponentially towards where heat and
        loss would balance, so a slow cell (a shallow tray, the end of the cure) is stable however long it lasts.
        """
        if not mass_g > 0.0 or not rate > 0.0:
            raise ValueError(f"mass and rate must be above 0; got {mass_g:g} g and rate {rate:g}")
        mass_kg = 1e-3 * mass_g
        area = vessel.cooling_area_m2(mass_kg / DENSITY_KG_M3)
        speed = _Speed(self.calibration, rate * self.factor)

        def moved(by: float, at: float, of_C: float) -> tuple[float, float]:
            """Hours and temperature after `by` in conversion from T, rates and losses taken at `at`, `of_C`."""
            hours = by / speed(at, of_C)
            capacity = mass_kg * _heat_capacity(of_C)
            relaxed = 3600.0 * hours * _loss_W_m2K(of_C, air_C) * area / capacity
            share = -math.expm1(-relaxed) / relaxed if relaxed > 0.0 else 1.0
            gained = mass_kg * 1e3 * self.heat_J_g * by / capacity
            return hours, air_C + (T - air_C) * math.exp(-relaxed) + gained * share

        a, hours, T = 0.0, 0.0, start_C
        for end in _GRID:
            by = end - a
            _, middle = moved(0.5 * by, a, T)
            taken, T = moved(by, a + 0.5 * by, middle)
            a, hours = end, hours + taken
            yield a, hours, T


def pot_model(calibration: Calibration) -> PotModel:
    """The card's resin in bulk, its factor solved by bisection on the sheet's pot life in a cup.

    The calibration must be of the central member alone (model.calibration.card_central). Raises ValueError
    for another. The life falls steadily with the factor, from never to at once, so there is always an answer.
    """
    if len(calibration.members) != 1:
        raise ValueError(f"a pot is worked out for the central member alone; got {len(calibration.members)}")
    pot = calibration.card.pot
    heat = calibration.card.heat_J_g or HEAT_J_G

    def life_min(factor: float) -> float:
        model = PotModel(calibration, heat, factor)
        return 60.0 * model._usable_h(pot.mass_g, CUP, pot.temperature_C, pot.temperature_C, 1.0)

    low, high = 1.0, 1.0
    while life_min(low) < pot.life_min:
        low *= 0.5
    while life_min(high) > pot.life_min:
        high *= 2.0
    while high / low > 1.0 + 1e-6:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if life_min(middle) > pot.life_min else (low, middle)
    return PotModel(calibration, heat, math.sqrt(low * high))


def adiabatic_limit(start_C: float, heat_J_g: float, conversion: float = 1.0) -> float:
    """Temperature, degC, of a pot that has reached `conversion` and lost no heat: H a = integral of cp dT."""
    above = start_C - 25.0
    enthalpy = 1800.0 * above + 1.5 * above**2 + 1e3 * heat_J_g * conversion
    return 25.0 + (math.sqrt(1800.0**2 + 6.0 * enthalpy) - 1800.0) / 3.0


class _Speed:
    """da/dt of one coat, 1/h, in plain numbers: a pot is followed one cell at a time."""

    def __init__(self, calibration: Calibration, rate: float) -> None:
        self._law = calibration.law
        self._k = float(calibration.k_per_h[0]) * rate
        self._E_over_R = float(calibration.members.E_J_mol[0]) / GAS_CONSTANT_J_mol_K
        self._reference_K = calibration.card.reference_C + ZERO_C_IN_K
        self._full_C = float(calibration.members.Tg_inf_C[0])

    def __call__(self, conversion: float, T_C: float) -> float:
        law = self._law
        k = self._k * math.exp(-self._E_over_R * (1.0 / (T_C + ZERO_C_IN_K) - 1.0 / self._reference_K))
        free = k * (law.c + math.pow(conversion, law.m)) * math.pow(1.0 - conversion, law.n)
        if not law.diffusion:
            return free
        share = max((T_C + law.lead_K - law.liquid_C) / (self._full_C - law.liquid_C), 0.0)
        critical = share / (law.shape + (1.0 - law.shape) * share)
        return free / (1.0 + math.exp(law.steepness * (conversion - critical)))


def _heat_capacity(T_C: float) -> float:
    """J/kg/K of the mix."""
    return 1800.0 + 3.0 * (T_C - 25.0)


def _loss_W_m2K(T_C: float, air_C: float) -> float:
    convection = _CONVECTION * math.sqrt(math.sqrt(abs(T_C - air_C)))
    middle_K = 0.5 * (T_C + air_C) + ZERO_C_IN_K
    h = convection + _EMISSIVITY * 4.0 * _STEFAN_BOLTZMANN * middle_K**3
    return 1.0 / (1.0 / h + 1.0 / _WALL_W_M2K)
