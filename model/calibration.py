"""Turns a card's times into rates and thresholds, for each member of the range on its own.

A threshold shared by all members would be wrong: past vitrification conversion creeps with the logarithm of
time, and 10 K of Tg_inf would move sanding to 10 or 30 h at the sheet's own temperature.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from model.blocks import Floats
from model.conversion_time import ConversionTime
from model.energy_fit import card_energy
from model.glass_transition import Numbers
from model.kinetics import DEFAULT_LAW, RateLaw, acceleration
from model.members import FULL_CURE_TG_C, PROBE_SD_K, Members, central, members
from model.resin_card import Milestone, ResinCard

RATE_SD = 0.25
INVENTED_RATE_SD = 0.4
"""A card that ships is nobody's resin: its range is wider."""
TACK_FREE_LEAD_K = -5.0
"""Tg less panel temperature at which a film stops being tacky, when the sheet gives no time for it."""
WARM_MARGIN_K = 5.0
"""A panel hotter than the sheet's temperature by more than this need not be harder still to be sanded."""

HOTTEST_C = 80.0
"""Hotter than this counts as this: it lies far outside every card, the cure takes minutes there, and the sub-steps
that a wild reading of 150 degC would ask for would hold up every other panel."""

NEED_GLASS = frozenset({Milestone.PEEL_PLY_OFF, Milestone.CLAMPS_OFF})
"""Milestones that ask for glass as well as for age, also where no sheet gives their time."""


@dataclass(frozen=True)
class Calibration:
    """A card's rate and thresholds; arrays float64 (N,), one value a member.

    k_per_h      rate constant at the sheet's temperature, 1/h, for a coat of the sheet's own rate
    rate         the coat's rate over the sheet's
    conversion   conversion at each milestone's time on the sheet, at the sheet's temperature
    lead_K       Tg less panel temperature there, K: how glassy the film is when the sheet calls it ready
    """

    card: ResinCard
    members: Members
    law: RateLaw
    k_per_h: Floats
    rate: Floats
    conversion: Mapping[Milestone, Floats]
    lead_K: Mapping[Milestone, Floats]

    def hours(self, milestone: Milestone) -> float | None:
        """The card's time, hours at its reference temperature, or what stands for it; None if nothing does."""
        return self.card.film.hours(milestone)

    def temperature(self, panel_C: Floats, spread_K: Floats) -> Floats:
        """What each member's panel is, degC (n, N), when the history says panel_C (n,), degC, and the forecast's
        standard deviation is spread_K (n,), K: probe offset and forecast departure included, HOTTEST_C at most.
        """
        of = self.members
        departure = of.probe_offset_K + spread_K[:, np.newaxis] * of.forecast_z
        return np.asarray(np.minimum(panel_C[:, np.newaxis] + departure, HOTTEST_C), dtype=np.float64)

    def speed(self, T_C: Numbers) -> Floats:
        """Equivalent age gained in an hour at T_C (..., N), each with the member's own E and rate."""
        return np.asarray(
            acceleration(T_C, self.members.E_J_mol, self.card.reference_C) * self.rate, dtype=np.float64
        )

    def glass_transition(self, conversion: Numbers) -> Floats:
        """Glass transition, degC, of conversion (..., N)."""
        return self.law.glass_transition(conversion, self.members.Tg_inf_C)

    def needed_transition(self, milestone: Milestone, hottest_C: Numbers) -> Floats:
        """Tg, degC (..., N), that tack-free, sand or demould need on a panel as hot as `hottest_C`."""
        warmest = np.asarray(hottest_C, dtype=np.float64)
        if milestone is not Milestone.TACK_FREE:
            warmest = np.minimum(warmest, self.card.reference_C + WARM_MARGIN_K)
        return np.asarray(warmest + self.lead_K[milestone])


def card_members(card: ResinCard, n: int = 256, probe_sd_K: float = PROBE_SD_K) -> Members:
    """The range of coats a card allows; wider for an invented card, narrower in E for one of several columns."""
    energy = card_energy(card)
    return members(
        n,
        rate_sd=INVENTED_RATE_SD if card.invented else RATE_SD,
        E=energy.J_mol,
        E_sd=energy.sd_J_mol,
        Tg_inf=card.Tg_inf_C or FULL_CURE_TG_C,
        probe_sd_K=probe_sd_K,
    )


def card_central(card: ResinCard) -> Members:
    """The one coat that does what the card says."""
    return central(card_energy(card).J_mol, card.Tg_inf_C or FULL_CURE_TG_C)


def calibrate(card: ResinCard, of: Members, law: RateLaw = DEFAULT_LAW) -> Calibration:
    """Rate constant that puts "recoat from" on the gel point, then every other threshold by quadrature."""
    time = ConversionTime(law, law.critical(card.reference_C, of.Tg_inf_C))
    k = time.to(law.gel) / card.film.recoat_from.middle
    conversion, lead = {}, {}
    for milestone in Milestone:
        hours = card.film.hours(milestone)
        if hours is not None and (card.film.gives(milestone) or milestone in NEED_GLASS):
            conversion[milestone] = time.conversion(k * hours)
            transition = law.glass_transition(conversion[milestone], of.Tg_inf_C)
            lead[milestone] = transition - card.reference_C
    lead.setdefault(Milestone.TACK_FREE, np.full(len(of), TACK_FREE_LEAD_K))
    return Calibration(card, of, law, k, np.exp(of.ln_rate), conversion, lead)
