"""When a pot must be empty and when it would run hot: one answer for the mix, the countdown and the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from dashboard.coat_course import pot_of
from dashboard.panel import Pot
from model.calibration import calibrate, card_members
from model.members import quantile
from model.pot import CUP, TRAY, PotLife, Vessel
from model.resin_card import ResinCard

VESSELS: dict[str, Vessel] = {"cup": CUP, "tray": TRAY}
LARGE_POT_G = 500.0
"""More than anybody should mix at once: a smaller pot lasts longer."""
WARM_BOTTLES_C = 25.0
"""Bottles are kept at 20 to 25 degC (common practice, no source); where nobody measured them the warm end counts."""


@dataclass(frozen=True)
class PotTimes:
    """One pot left standing, hours from mixing, inf for never.

    pour_by_h   by then it must be out: the safe end, of the quick end of the card's range
    usable_h    likely usable until then: what the sheet says, at the sheet's mass and temperature
    smokes_h    earliest that it can be so hot that it smokes
    """

    pour_by_h: float
    usable_h: float
    smokes_h: float


@lru_cache(maxsize=64)
def quick_rate(card: ResinCard) -> float:
    """The rate of the quick end of the card's range over the card's own."""
    return float(quantile(calibrate(card, card_members(card)).rate, 0.9))


def pot_times(
    card: ResinCard, mass_g: float, vessel: Vessel, bottles_C: float, air_C: float, quick: float | None = None
) -> PotTimes:
    """Of mass_g (g) mixed from bottles at bottles_C in air at air_C (degC). quick: the quick end's rate, if known.

    Raises ValueError for a mass that is not above 0.
    """
    rate = quick if quick is not None else quick_rate(card)
    soon, likely = (pot_of(card).life(mass_g, vessel, bottles_C, air_C, speed) for speed in (rate, 1.0))
    return times_of(soon, likely)


def standing_pot(pot: Pot, card: ResinCard, room_C: float | None, quick: float | None = None) -> PotTimes:
    """Of a pot that was logged, with what is known of it; else a large cup from warm bottles, as warm as the room.

    room_C   what stands around it, degC; None: not known, as warm as the bottles
    """
    bottles = bottles_taken(card, pot.bottles_C)
    vessel = VESSELS.get(pot.vessel or "cup", CUP)
    around = room_C if room_C is not None else bottles
    return pot_times(card, pot.standing_g or LARGE_POT_G, vessel, bottles, around, quick)


def times_of(soon: PotLife, likely: PotLife) -> PotTimes:
    """The same from the two lives, of the quick end and of the card itself."""
    return PotTimes(soon.pour_by_h, likely.usable_h, soon.hot_h)


def bottles_taken(card: ResinCard, bottles_C: float | None) -> float:
    """The bottles' temperature, degC, or what is taken where nobody measured it."""
    return bottles_C if bottles_C is not None else max(WARM_BOTTLES_C, card.pot.temperature_C)
