"""Grams and millilitres to pour, pots that are empty while still usable, and what a wrong ratio leaves behind.

An off-ratio pot is a fault. Nothing here finds a ratio for a wanted speed: more hardener does not hurry a cure,
it stays in the film.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from model import stoichiometry
from model.calibration import Calibration
from model.layup import Range
from model.pot import CUP, PotLife, PotModel, Vessel
from model.resin_card import Milestone, Mix

SPREAD_G_MIN = 25.0
"""Grams one person spreads and wets out in a minute (common practice, no source)."""
STIR_MIN = 3.0
"""Stir, scrape, stir, and carry it over (common practice, no source)."""
SMALLEST_POT_G = 20.0
"""Below this a kitchen scale cannot keep the ratio: no pot smaller is proposed (common practice, no source)."""


@dataclass(frozen=True)
class Batch:
    """What to pour: g and ml of each, the hardener within hardener_range_g. Resin goes in first."""

    resin_g: float
    hardener_g: float
    hardener_range_g: Range
    resin_ml: float
    hardener_ml: float

    @property
    def mixed_g(self) -> float:
        return self.resin_g + self.hardener_g


def batch(mix: Mix, mixed_g: float) -> Batch:
    """mixed_g of resin and hardener together, at the card's ratio. Raises ValueError unless above 0."""
    if not mixed_g > 0.0:
        raise ValueError(f"a pot holds more than 0 g; got {mixed_g:g}")
    return batch_for_resin(mix, mixed_g / (1.0 + mix.hardener_per_resin_by_weight))


def batch_for_resin(mix: Mix, resin_g: float) -> Batch:
    """The same from the resin that is already in the cup. Raises ValueError unless above 0."""
    if not resin_g > 0.0:
        raise ValueError(f"the cup holds more than 0 g of resin; got {resin_g:g}")
    hardener = resin_g * mix.hardener_per_resin_by_weight
    band = 0.01 * mix.tolerance_percent
    return Batch(
        resin_g,
        hardener,
        Range(hardener * (1.0 - band), hardener * (1.0 + band)),
        resin_g / mix.resin_density,
        hardener / mix.hardener_density,
    )


@dataclass(frozen=True)
class Pots:
    """So many equal pots; each, left in its vessel, would do what `life` says, and is needed for needed_h."""

    count: int
    each: Batch
    needed_h: float
    life: PotLife


def split(
    pot: PotModel,
    mixed_g: float,
    bottles_C: float,
    air_C: float,
    vessel: Vessel = CUP,
    spread_g_min: float = SPREAD_G_MIN,
    rate: float = 1.0,
) -> Pots | None:
    """The fewest equal pots that are each spread by their pour_by_h; None if even the smallest is too slow.

    mixed_g      all that is needed, g; bottles_C, air_C  degC; rate as in PotModel.life
    The time to stir and spread grows with a pot's mass while its life falls, so there is one largest mass.
    Raises ValueError for a mass or a spreading rate that is not above 0.
    """
    if not mixed_g > 0.0 or not spread_g_min > 0.0:
        raise ValueError(
            f"mass and spreading must be above 0; got {mixed_g:g} g and {spread_g_min:g} g a minute"
        )

    def needed(mass_g: float) -> float:
        return (STIR_MIN + mass_g / spread_g_min) / 60.0

    def in_time(mass_g: float) -> bool:
        return needed(mass_g) <= pot.life(mass_g, vessel, bottles_C, air_C, rate).pour_by_h

    low, high = min(mixed_g, SMALLEST_POT_G), mixed_g
    if not in_time(low):
        return None
    if in_time(high):
        low = high
    while high - low > 1e-3 * high:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if in_time(middle) else (low, middle)
    count = math.ceil(mixed_g / low - 1e-9)
    each = mixed_g / count
    life = pot.life(each, vessel, bottles_C, air_C, rate)
    return Pots(count, batch(pot.calibration.card.mix, each), needed(each), life)


_ASKED = (Milestone.TACK_FREE, Milestone.SAND, Milestone.DEMOULD, Milestone.CURED)


def hardener_off_percent(mix: Mix, resin_g: float, hardener_g: float) -> float:
    """Too much (+) or too little (-) of the hardener that the resin asks for. Raises ValueError for 0 g or less."""
    if not hardener_g > 0.0:
        raise ValueError(f"the pot got more than 0 g of hardener; got {hardener_g:g}")
    return 100.0 * (hardener_g / batch_for_resin(mix, resin_g).hardener_g - 1.0)


@dataclass(frozen=True)
class PouredRatio:
    """What was poured against what the sheet asks. The sheet's own ratio is taken to be balanced.

    hardener_percent  too much (+) or too little (-) of the hardener that the resin asks for
    is_fault          outside the sheet's tolerance: the pot is suspect and teaches the card nothing
    conversion        the most that its epoxide can reach, 0 to 1; bonded  the same of all reactive groups
    loose_hardener    share of the hardener that never binds: it stays in the film, greasy, and takes up water
    gels              whether it can set at all
    out_of_reach      milestones whose degree of cure on the sheet it never reaches, however long and warm
    Tg_limit_C        the glass transition it ends at, at most: the sheet's own curve at `bonded`. It is a rough
                      bound: loose hardener softens a film further
    """

    hardener_percent: float
    is_fault: bool
    conversion: float
    bonded: float
    loose_hardener: float
    gels: bool
    out_of_reach: tuple[Milestone, ...]
    Tg_limit_C: float


def poured_ratio(calibration: Calibration, resin_g: float, hardener_g: float) -> PouredRatio:
    """Judges the weights that were poured, g. Calibration of the central member.

    Raises ValueError for weights not above 0 or another calibration.
    """
    if len(calibration.members) != 1:
        raise ValueError(
            f"a ratio is judged for the central member alone; got {len(calibration.members)} members"
        )
    mix = calibration.card.mix
    off = hardener_off_percent(mix, resin_g, hardener_g)
    ratio = 1.0 + 0.01 * off
    bonded = stoichiometry.bonded_share(ratio)
    return PouredRatio(
        hardener_percent=off,
        is_fault=abs(off) > mix.tolerance_percent + 1e-9,
        conversion=stoichiometry.reachable_conversion(ratio),
        bonded=bonded,
        loose_hardener=stoichiometry.unreacted_hardener(ratio),
        gels=stoichiometry.gels(ratio),
        out_of_reach=tuple(
            milestone
            for milestone in _ASKED
            if milestone in calibration.conversion and calibration.conversion[milestone][0] > bonded
        ),
        Tg_limit_C=float(calibration.glass_transition(bonded)[0]),
    )
