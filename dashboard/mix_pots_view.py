"""The mix as a page or a command shows it: text, with what stands on the scale in front."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboard import measures
from dashboard.display import View
from dashboard.mix_work import MixWork, Poured
from dashboard.words import LABELS
from model.coat import HOUR_MS
from model.layup import WetOut
from model.mix import SMALLEST_POT_G
from model.verdict import Say, Value

WETTING = {
    WetOut.DRY_FROM_THE_TOP: "pot_wet_dry",
    WetOut.INTO_A_WET_COAT: "pot_wet_into",
    WetOut.BACK_TOO: "pot_wet_back",
    WetOut.TACK_COAT_FIRST: "pot_wet_tack",
}


SOONER = 0.95
"""All of it at once is spoken of where that is so much sooner than one pot of it."""


@dataclass(frozen=True)
class WorkView:
    """title: how many pots; resin, hardener, between: each pot's weights, "" if no pot will do.

    resin_g, hardener_g   the same in grams, to be logged as asked; None without a pot
    cautions   what a pot left standing does; lines: everything else, in order; wetting: how the cloth is laid
    """

    title: str
    resin: str
    hardener: str
    between: str
    resin_g: float | None
    hardener_g: float | None
    cautions: tuple[str, ...]
    lines: tuple[str, ...]
    wetting: tuple[str, ...]


def work_view(work: MixWork, view: View) -> WorkView:
    """One mix in this viewer's units; times as if it were mixed now."""
    now, system = work.now, view.measures
    wetting = tuple(view.sentence(say) for say in _wetting(work))
    if now.pots is None:
        title = view.sentence(Say("pot_not_possible", {"pot_g": SMALLEST_POT_G}))
        return WorkView(title, "", "", "", None, None, (), _sentences(_basis(work), view), wetting)
    each, card = now.pots.each, work.card
    scale = measures.weighed(
        each.resin_g, card.mix.hardener_per_resin_by_weight, card.mix.tolerance_percent, system
    )
    volumes = LABELS["by_volume"].format(
        resin=view.signed(measures.volume(each.resin_ml, system)),
        hardener=view.signed(measures.volume(each.hardener_ml, system)),
    )
    return WorkView(
        _pots(now, view),
        view.signed(scale.resin),
        view.signed(scale.hardener),
        LABELS["between"].format(low=view.signed(scale.low), high=view.signed(scale.high)),
        round(scale.resin_g, 1),
        round(scale.hardener_g, 1),
        _sentences(_cautions(work, now, view.now), view),
        (*_sentences(_time(now), view), volumes, *_totals(now, view), *_sentences(_basis(work), view),
         *_fill(work, view)),
        wetting,
    )  # fmt: skip


def _sentences(says: list[Say], view: View) -> tuple[str, ...]:
    return tuple(view.sentence(say) for say in says)


def _pots(of: Poured, view: View) -> str:
    assert of.pots is not None
    mass = view.signed(measures.mass(of.pots.each.mixed_g, view.measures))
    if of.pots.count == 1:
        return LABELS["pots_one"].format(mass=mass)
    return LABELS["pots_all"].format(n=of.pots.count, mass=mass)


def _cautions(work: MixWork, of: Poured, now: int) -> list[Say]:
    """What one of the pots does if it is left standing, with a time."""
    assert of.pots is not None
    assert of.times is not None
    told: dict[str, Value] = {
        "pot_g": of.pots.each.mixed_g,
        "vessel": "tray" if work.asked.tray else "cup",
    }
    if of.times.smokes_h == math.inf:
        found = [Say("pot_cool", told)]
    else:
        found = [Say("pot_smokes", told | {"smoke_by": now + round(of.times.smokes_h * HOUR_MS)})]
    if of.pots.count > 1 and of.at_once.smokes_h < SOONER * of.times.smokes_h:
        whole: dict[str, Value] = {"pot_g": of.pots.count * of.pots.each.mixed_g}
        smoke_by = now + round(of.at_once.smokes_h * HOUR_MS)
        found.append(Say("pot_smokes_whole", told | whole | {"smoke_by": smoke_by}))
    if of.whole_h > work.card.film.working.low:
        found.append(Say("pot_too_long"))
    return [*found, Say("pot_disagree")] if work.disagrees else found


def _time(of: Poured) -> list[Say]:
    assert of.pots is not None
    assert of.times is not None
    found = [Say("pot_each", {"needed_h": of.pots.needed_h, "pour_h": of.times.pour_by_h})]
    if of.pots.count > 1:
        found.append(Say("pot_whole", {"whole_h": of.whole_h}))
    return found


def _totals(of: Poured, view: View) -> list[str]:
    assert of.pots is not None
    if of.pots.count == 1:
        return []
    resin, hardener = (
        view.signed(measures.mass(grams, view.measures)) for grams in (of.taken.resin_g, of.taken.hardener_g)
    )
    return [LABELS["totals"].format(resin=resin, hardener=hardener)]


def _basis(work: MixWork) -> list[Say]:
    found = []
    mixed = work.now.mixed_g
    if mixed.low != mixed.high:
        found.append(Say("pot_needed", {"low_g": mixed.low, "high_g": mixed.high}))
    found.append(Say("pot_bottles", {"bottles_C": work.bottles_C, "air_C": work.air_C}))
    if work.assumed:
        found.append(Say("pot_bottles_assumed", {"bottles_C": work.bottles_C}))
    if work.thickness_mm:
        found.append(Say("pot_thickness", {"thick_mm": work.thickness_mm}))
    if work.stages > 1:
        found.append(Say("pot_stages", {"stages": str(work.stages), "stage_mm": work.stage_mm}))
    return found


def _wetting(work: MixWork) -> list[Say]:
    by_weight = {cloth.weight_gm2: how for cloth, how in work.wetting}
    found = [Say(WETTING[how], {"cloth_gm2": weight}) for weight, how in by_weight.items()]
    return [*found, Say("pot_wet_signs")] if found else []


def _fill(work: MixWork, view: View) -> list[str]:
    if work.fill is None:
        return []
    mixed = work.fill.mixed_g
    found = [view.sentence(Say("pot_fill", {"low_g": mixed.low, "high_g": mixed.high}))]
    if work.fill.pots is not None:
        each = work.fill.pots.each
        found.append(
            LABELS["fill_pots"].format(
                pots=_pots(work.fill, view),
                resin=view.signed(measures.mass(each.resin_g, view.measures)),
                hardener=view.signed(measures.mass(each.hardener_g, view.measures)),
            )
        )
    return found
