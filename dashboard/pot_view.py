"""The pot that stands there now: when it must be out, when it would smoke, and what was poured into it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboard import measures
from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.facts import Facts
from dashboard.mix_fault import fault_of
from dashboard.panel import Coat, Panel, Pot
from dashboard.pot_times import standing_pot
from dashboard.words import LABELS
from model.coat import HOUR_MS
from model.mix import batch
from model.resin_card import ResinCard
from model.verdict import Kind, Mark, Say, Value

MINUTE_MS = 60_000


@dataclass(frozen=True)
class Running:
    """The newest pot of the newest coat; times UTC ms. smokes_at None: it does not run hot, as worked out."""

    coat: Coat
    pot: Pot
    pour_by: int
    usable_at: int
    smokes_at: int | None


@dataclass(frozen=True)
class PotView:
    """All of the page's text. until: what its digits count down to, UTC ms; left: minutes now; running: not on yet."""

    kind: Kind
    mark: Mark
    headline: str
    until: int
    left: str
    running: bool
    lines: tuple[str, ...]
    smokes: str
    fault: tuple[str, ...]

    @property
    def contour(self) -> str:
        return self.kind.value.replace(" ", "-")


def running(panel: Panel, card: ResinCard, facts: Facts, item: Assessment | None, now: int) -> Running | None:
    """The pot of the panel's newest coat; None without a coat.

    item   what watch last said of the panel: of its time and ours the earlier one counts
    """
    coat = panel.newest
    if coat is None:
        return None
    pot = max(coat.pots, key=lambda one: one.mixed_at, default=Pot(coat.mixed_at))
    times = standing_pot(pot, card, room_C(facts, now))
    pour_by = pot.mixed_at + round(times.pour_by_h * HOUR_MS)
    if item is not None and item.is_of(panel) and item.verdict.headline.key == "in_the_pot":
        pour_by = min(pour_by, int(item.verdict.headline.values["pour_by"]))
    smokes = None if math.isinf(times.smokes_h) else pot.mixed_at + round(times.smokes_h * HOUR_MS)
    return Running(coat, pot, pour_by, pot.mixed_at + round(times.usable_h * HOUR_MS), smokes)


def room_C(facts: Facts, now: int) -> float | None:
    """What a pot stands in, degC: the warmer of panel and air; None if neither is measured now."""
    told = [trace.value_at(now) for trace in (facts.surface, facts.air) if trace is not None]
    return max((value for value in told if value is not None), default=None)


def pot_view(of: Running, card: ResinCard, view: View) -> PotView:
    """The countdown as this viewer reads it."""
    # To the minute, and the digits count to the time that the headline says: a pot knows no quarter of an hour.
    until = of.pour_by // MINUTE_MS * MINUTE_MS
    fault = fault_of(of.coat, card)
    wrong = () if fault is None else (view.sentence(fault.headline) + ".", view.sentence(fault.why))
    if of.coat.applied_at is not None:
        say, look = Say("pot_on", {"on_at": of.coat.applied_at}), (Kind.GO, Mark.BLOCK)
    elif view.now < of.pour_by:
        say, look = Say("pot_pour", {"clock": view.clock(until)}), (Kind.ACT, Mark.CUP)
    elif view.now < of.usable_at:
        say, look = Say("pot_over"), (Kind.ACT, Mark.CUP)
    else:
        say, look = Say("pot_dead"), (Kind.CARE, Mark.CUP)
    left = max((until - view.now) // MINUTE_MS, 0)
    return PotView(
        *look,
        view.sentence(say),
        until,
        f"{left}{measures.TIE}min",
        of.coat.applied_at is None,
        tuple(_lines(of, card, view)),
        "" if of.smokes_at is None else view.sentence(Say("pot_smokes_at", {"smoke_by": of.smokes_at})),
        wrong,
    )


def _lines(of: Running, card: ResinCard, view: View) -> list[str]:
    """What is known of it, and what was taken where nobody told."""
    pot, told = of.pot, []
    told.append(view.sentence(Say("why_in_the_pot", {"mixed_at": pot.mixed_at, "usable_at": of.usable_at})))
    if pot.resin_g is None or pot.hardener_g is None:
        return [*told, *_asked(pot, card, view)]
    scale = measures.weighed(
        pot.resin_g, card.mix.hardener_per_resin_by_weight, card.mix.tolerance_percent, view.measures
    )
    told.append(
        LABELS["pot_poured"].format(
            resin=view.signed(measures.exactly(pot.resin_g, view.measures)),
            hardener=view.signed(measures.exactly(pot.hardener_g, view.measures)),
            low=view.signed(scale.low),
            high=view.signed(scale.high),
        )
    )
    return [*told, _stands(pot, view)]


def _asked(pot: Pot, card: ResinCard, view: View) -> list[str]:
    """What was to be poured, while nobody has weighed it."""
    if pot.asked_g is None:
        return [LABELS["pot_unweighed"]]
    of = batch(card.mix, pot.asked_g)
    scale = measures.weighed(
        of.resin_g, card.mix.hardener_per_resin_by_weight, card.mix.tolerance_percent, view.measures
    )
    asked = LABELS["pot_asked"].format(
        **{name: view.signed(getattr(scale, name)) for name in ("resin", "hardener", "low", "high")}
    )
    return [asked, _stands(pot, view)]


def _stands(pot: Pot, view: View) -> str:
    vessel: dict[str, Value] = {"vessel": pot.vessel or "cup"}
    if pot.bottles_C is None:
        return view.sentence(Say("pot_in_vessel", vessel))
    return view.sentence(Say("pot_in_vessel_warm", vessel | {"bottles_C": pot.bottles_C}))
