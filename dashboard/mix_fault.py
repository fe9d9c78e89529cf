"""Whether a coat's own entries say that it was mixed wrongly: off its ratio, not stirred, or hard here and soft there.

No time holds for such a coat and it teaches its card nothing; waiting does not cure it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dashboard.panel import Coat, Pot
from model.mix import hardener_off_percent
from model.resin_card import ResinCard
from model.verdict import Say


@dataclass(frozen=True)
class MixFault:
    """What to say of it, and why."""

    headline: Say
    why: Say


def off_ratio(pot: Pot, card: ResinCard) -> float | None:
    """Per cent of hardener too much (+) or too little (-) past the tolerance; None: within it, or not weighed."""
    if pot.resin_g is None or pot.hardener_g is None:
        return None
    off = hardener_off_percent(card.mix, pot.resin_g, pot.hardener_g)
    return off if abs(off) > card.mix.tolerance_percent + 1e-9 else None


def fault_of(coat: Coat, card: ResinCard) -> MixFault | None:
    """The first fault that its pots and thumb tests tell of; None if none does."""
    for number, pot in enumerate(coat.pots, start=1):
        off = off_ratio(pot, card)
        if off is not None:
            key = "why_mix_over" if off > 0 else "why_mix_under"
            values = {
                "pot": str(number),
                "off": f"{abs(off):.1f}",
                "allowed": f"{card.mix.tolerance_percent:g}",
            }
            return MixFault(Say("mix_off", {"coat": str(coat.number)}), Say(key, values))
        if pot.stirred is False:
            return MixFault(
                Say("mix_unstirred", {"coat": str(coat.number)}),
                Say("why_mix_unstirred", {"pot": str(number)}),
            )
    patchy = [test.at for test in coat.thumb_tests if test.patchy]
    if patchy:
        return MixFault(
            Say("mix_patchy", {"coat": str(coat.number)}), Say("why_mix_patchy", {"felt_at": min(patchy)})
        )
    return None


def first_fault(coats: Iterable[tuple[Coat, ResinCard]], at: int) -> MixFault | None:
    """Of a panel's coats that were mixed by `at` (UTC ms)."""
    found = (fault_of(coat, card) for coat, card in coats if coat.mixed_at <= at)
    return next((fault for fault in found if fault is not None), None)
