"""How much resin a layup takes, how thick it becomes, and how its cloth is wetted.

Weights of cloth in g/m2, thickness in mm, areas in m2. What the trade knows without a published source is
marked "common practice, no source".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from model.material import fraction
from model.resin_card import ResinCard
from model.units import ozyd2_to_gm2

ISO_GLASS_KG_M3 = 2560.0
ISO_RESIN_KG_M3 = 1200.0
"""With these two, thickness() is ISO 12215-5's t = w / 3.072 (2.56 / x - 1.36), w in kg/m2."""


class Cloth(StrEnum):
    """What kind of reinforcement, for the glass content that a hand layup of it comes to."""

    WOVEN = "woven"
    STITCHED_MAT = "stitched mat"
    CHOPPED_MAT = "chopped mat"


FIBRE_FRACTION = {Cloth.WOVEN: 0.50, Cloth.STITCHED_MAT: 0.39, Cloth.CHOPPED_MAT: 0.30}
"""By weight. Woven cloth takes about its own weight of resin, stitched mat 1.3 to 1.8 times (common practice, no
source); chopped mat about 2.3 times: 30 % glass, Practical Action, "Fibreglass boats"."""


@dataclass(frozen=True)
class Range:
    """From `low` to `high`, in whatever unit the name beside it says."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        return 0.5 * (self.low + self.high)


class Drink(StrEnum):
    """What else drinks resin, apart from the cloth."""

    BARE_PLY = "bare ply, first coat"
    FOAM_SKIM = "foam, skim coat"
    PEEL_PLY = "peel ply"
    FILL_COAT = "fill coat"


DRINKS_GM2 = {
    Drink.BARE_PLY: Range(120.0, 200.0),
    Drink.FOAM_SKIM: Range(300.0, 600.0),
    Drink.PEEL_PLY: Range(80.0, 120.0),
    Drink.FILL_COAT: Range(90.0, 150.0),
}
"""g/m2 (common practice, no source). A fill coat is one rolled on thin, about a tenth of a millimetre."""
TOOL_G = Range(50.0, 100.0)
"""What stays in a roller or a brush, g each (common practice, no source)."""
WASTE_SHARE = 0.05
"""What stays in cups and on sticks, as a share of all that is mixed (common practice, no source)."""


@dataclass(frozen=True)
class Ply:
    """So many plies of one cloth: g/m2 of each, glass by weight once laid (0 to 1, both ends excluded)."""

    weight_gm2: float
    fibre_fraction: float
    count: int = 1

    def __post_init__(self) -> None:
        fraction(self.fibre_fraction)
        if not 0.0 < self.fibre_fraction < 1.0 or not self.weight_gm2 > 0.0 or self.count < 1:
            raise ValueError(
                "a ply has a weight above 0 g/m2, a fibre fraction between 0 and 1 and a count of 1 or more; got "
                f"{self.weight_gm2:g} g/m2, {self.fibre_fraction:g} and {self.count}"
            )

    @property
    def resin_gm2(self) -> float:
        """g/m2 of all its plies together."""
        return self.count * resin_weight(self.weight_gm2, self.fibre_fraction)

    @property
    def thickness_mm(self) -> float:
        """Of all its plies together, by ISO 12215-5."""
        return self.count * thickness(self.weight_gm2, self.fibre_fraction)


def resin_weight(weight_gm2: float, fibre_fraction: float) -> float:
    """Resin, g/m2, in a ply of so much cloth, g/m2: w (1 - x) / x."""
    return weight_gm2 * (1.0 - fibre_fraction) / fibre_fraction


def thickness(
    weight_gm2: float,
    fibre_fraction: float,
    fibre_kg_m3: float = ISO_GLASS_KG_M3,
    resin_kg_m3: float = ISO_RESIN_KG_M3,
) -> float:
    """Thickness of a ply without voids, mm: w [1 / rho_f + (1 - x) / (x rho_r)], w in g/m2."""
    return weight_gm2 * (1.0 / fibre_kg_m3 + (1.0 - fibre_fraction) / (fibre_fraction * resin_kg_m3))


@dataclass(frozen=True)
class Layup:
    """One job: `plies` and `drinks` over area_m2, with so many rollers and brushes. waste_share 0 to under 1."""

    area_m2: float
    plies: Sequence[Ply] = ()
    drinks: Sequence[Drink] = ()
    tools: int = 1
    waste_share: float = WASTE_SHARE

    def __post_init__(self) -> None:
        if not self.area_m2 > 0.0 or self.tools < 0 or not 0.0 <= self.waste_share < 1.0:
            raise ValueError(
                "a layup has an area above 0 m2, 0 tools or more and a waste of 0 to under 1; got "
                f"{self.area_m2:g} m2, {self.tools} tools and {self.waste_share:g}"
            )

    @property
    def thickness_mm(self) -> float:
        return sum(ply.thickness_mm for ply in self.plies)

    @property
    def glass_g(self) -> float:
        return self.area_m2 * sum(ply.count * ply.weight_gm2 for ply in self.plies)

    @property
    def mixed_g(self) -> Range:
        """Resin and hardener together to be mixed, g, at the low and the high end of what else drinks."""
        return Range(*(self._mixed(end) for end in ("low", "high")))

    def _mixed(self, end: str) -> float:
        gm2 = sum(ply.resin_gm2 for ply in self.plies)
        gm2 += sum(float(getattr(DRINKS_GM2[drink], end)) for drink in self.drinks)
        tools = self.tools * float(getattr(TOOL_G, end))
        return (self.area_m2 * gm2 + tools) / (1.0 - self.waste_share)


class WetOut(StrEnum):
    """How a cloth is wetted."""

    DRY_FROM_THE_TOP = "lay it dry, wet it from the top"
    INTO_A_WET_COAT = "lay it into a wet coat"
    BACK_TOO = "lay it into a wet coat, and wet its back too"
    TACK_COAT_FIRST = "a tack coat first"


DRY_UP_TO_GM2 = ozyd2_to_gm2(12.0)
ONE_SIDE_UP_TO_GM2 = ozyd2_to_gm2(20.0)


def wet_out(weight_gm2: float, flat: bool = True) -> WetOut:
    """How to wet a cloth of so many g/m2 (common practice, no source); flat False: a vertical or overhead."""
    if not flat:
        return WetOut.TACK_COAT_FIRST
    if weight_gm2 <= DRY_UP_TO_GM2:
        return WetOut.DRY_FROM_THE_TOP
    return WetOut.INTO_A_WET_COAT if weight_gm2 <= ONE_SIDE_UP_TO_GM2 else WetOut.BACK_TOO


FAST_MIN, SLOW_MIN = 16.0, 35.0
"""Pot life of 100 g at 20 degC up to which a system counts as fast, and from which on as slow."""
FAST_STAGE_MM, SLOW_STAGE_MM = 3.0, 6.0
"""Wet on wet at once, the careful end of 3 to 5 mm and 6 to 8 mm (common practice, no source)."""


def stage_limit_mm(card: ResinCard) -> float:
    """Thickest to be laid wet on wet at once, mm; between fast and slow in proportion to the pot life."""
    share = (card.pot.life_min - FAST_MIN) / (SLOW_MIN - FAST_MIN)
    return FAST_STAGE_MM + (SLOW_STAGE_MM - FAST_STAGE_MM) * min(max(share, 0.0), 1.0)


def stages(thickness_mm: float, card: ResinCard) -> int:
    """In how many goes so thick a layup is laid, each after the heat of the one before has passed."""
    if not thickness_mm > 0.0:
        raise ValueError(f"a layup is thicker than 0 mm; got {thickness_mm:g}")
    return math.ceil(thickness_mm / stage_limit_mm(card) - 1e-9)
