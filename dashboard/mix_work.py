"""The mix itself: how much, in which pots, how it is wetted out and in how many stages. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.coat_course import pot_of
from dashboard.mix_asked import ClothAsked, MixAsked
from dashboard.mix_hour import Onto
from dashboard.pot_times import PotTimes, bottles_taken, pot_times, quick_rate, times_of
from model.layup import Drink, Layup, Range, WetOut, stage_limit_mm, stages, wet_out
from model.mix import Batch, Pots, batch, split
from model.pot import CUP, TRAY
from model.resin_card import ResinCard

BARE: dict[Onto, tuple[Drink, ...]] = {"wood": (Drink.BARE_PLY,), "foam": (Drink.FOAM_SKIM,), "other": ()}


@dataclass(frozen=True)
class Poured:
    """So much mixed, in pots. pots None: even the smallest would set before it is spread.

    times      of one of the pots; at_once: of all of it mixed in one vessel, which nobody should do
    """

    mixed_g: Range
    taken: Batch
    pots: Pots | None
    times: PotTimes | None
    at_once: PotTimes

    @property
    def whole_h(self) -> float:
        """From the first stir to the last of it spread, one pot after the other."""
        return self.pots.count * self.pots.needed_h if self.pots else 0.0


@dataclass(frozen=True)
class MixWork:
    """The answer. bottles_C, air_C: what was counted with, degC; assumed: nobody measured the bottles.

    now       the coat that is mixed now; fill: one fill coat, each mixed when its own window is open
    wetting   each cloth, and how it is wetted
    """

    card: ResinCard
    asked: MixAsked
    bottles_C: float
    air_C: float
    assumed: bool
    now: Poured
    fill: Poured | None
    wetting: tuple[tuple[ClothAsked, WetOut], ...]
    thickness_mm: float
    stages: int
    stage_mm: float
    disagrees: bool


def mix_work(
    card: ResinCard, asked: MixAsked, onto: Onto, bottles_C: float | None, air_C: float | None
) -> MixWork | None:
    """None if nothing was asked for: no amount, and no area that anything drinks from.

    air_C   of the room, degC; None: taken as warm as the bottles, which is on the safe side of a colder room
    """
    laminate, fill = _layup(asked, onto), _fill_coat(asked)
    first = laminate or fill
    if asked.amount_g is None and first is None:
        return None
    taken = bottles_taken(card, bottles_C)
    room = air_C if air_C is not None else taken
    mixed = first.mixed_g if first is not None else Range(0.0, 0.0)
    if asked.amount_g is not None:
        mixed = Range(asked.amount_g, asked.amount_g)
    thick = laminate.thickness_mm if laminate is not None else 0.0
    return MixWork(
        card,
        asked,
        taken,
        room,
        bottles_C is None,
        _poured(card, mixed, asked.tray, taken, room),
        _poured(card, fill.mixed_g, asked.tray, taken, room)
        if fill is not None and fill is not first
        else None,
        tuple((cloth, wet_out(cloth.weight_gm2, flat=not asked.upright)) for cloth in asked.cloths),
        thick,
        stages(thick, card) if thick > 0.0 else 1,
        stage_limit_mm(card),
        pot_of(card).disagrees,
    )


def _layup(asked: MixAsked, onto: Onto) -> Layup | None:
    drinks = [*BARE[onto], *([Drink.PEEL_PLY] if asked.peel else [])]
    if asked.area_m2 is None or not (asked.cloths or drinks):
        return None
    return Layup(asked.area_m2, [cloth.ply for cloth in asked.cloths], drinks, asked.tools)


def _fill_coat(asked: MixAsked) -> Layup | None:
    """One fill coat, where any is asked for."""
    if not asked.fills or asked.area_m2 is None:
        return None
    return Layup(asked.area_m2, drinks=[Drink.FILL_COAT], tools=asked.tools)


def _poured(card: ResinCard, mixed: Range, tray: bool, bottles_C: float, air_C: float) -> Poured:
    vessel, model = TRAY if tray else CUP, pot_of(card)
    quick = quick_rate(card)
    at_once = pot_times(card, mixed.middle, vessel, bottles_C, air_C, quick)
    pots = split(model, mixed.middle, bottles_C, air_C, vessel, rate=quick)
    times = None
    if pots is not None:
        times = times_of(pots.life, model.life(pots.each.mixed_g, vessel, bottles_C, air_C))
    return Poured(mixed, batch(card.mix, mixed.middle), pots, times, at_once)
