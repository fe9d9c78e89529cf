"""What panels laid from one lot teach the next: mean and covariance of (ln rate, E, Tg_inf), and nothing else.

Weights themselves are not carried on: multiplied over panels they shrink to a few members and claim a certainty
that nobody has. The probe's offset belongs to the probe and the forecast to the night; neither travels with the lot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from model.blocks import Floats
from model.calibration import INVENTED_RATE_SD, RATE_SD
from model.energy_fit import card_energy
from model.members import FULL_CURE_TG_C, FULL_CURE_TG_SD_K, PROBE_SD_K, Members, members
from model.resin_card import ResinCard

PANEL_DRIFT = 0.08
"""Standard deviation of ln(rate) from one panel to the next of the same lot: weighing, stirring, the lot's age."""


@dataclass(frozen=True)
class Lot:
    """What is known of a lot: mean (3,) and covariance (3, 3) of ln rate, E (J/mol) and Tg_inf (degC)."""

    mean: Floats
    covariance: Floats

    def taught(self, of: Members, weights: Floats) -> Lot:
        """The lot after a panel whose members `of` came out of touches with `weights` (N,).

        A panel with a suspect pot leaves them equal (observation.learn): pass the lot on as it was instead.
        """
        share = weights / weights.sum()
        values = np.array([of.ln_rate, of.E_J_mol, of.Tg_inf_C])
        mean = (values * share).sum(axis=1)
        centred = values - mean[:, np.newaxis]
        products = centred[:, np.newaxis, :] * centred[np.newaxis, :, :] * share
        return Lot(mean, products.sum(axis=2))

    def drifted(self) -> Lot:
        """The lot as the next panel meets it: 8 % more spread in its rate."""
        widened = self.covariance.copy()
        widened[0, 0] += PANEL_DRIFT**2
        return Lot(self.mean, widened)

    def members(self, n: int = 256, probe_sd_K: float = PROBE_SD_K) -> Members:
        """The range of coats of a panel laid from this lot, for a probe of its own standard deviation, K."""
        score = members(n, rate_sd=1.0, E=0.0, E_sd=1.0, Tg_inf=0.0, Tg_inf_sd=1.0, probe_sd_K=probe_sd_K)
        columns = (score.ln_rate, score.E_J_mol, score.Tg_inf_C)
        root = np.linalg.cholesky(self.covariance)
        rate, energy, full = (
            self.mean[i] + np.add.reduce([root[i, j] * columns[j] for j in range(i + 1)]) for i in range(3)
        )
        return Members(rate, energy, full, score.probe_offset_K, score.forecast_z)


def new_lot(card: ResinCard) -> Lot:
    """A lot nobody has touched yet: what the card says, with the card's own spread."""
    energy = card_energy(card)
    spread = (INVENTED_RATE_SD if card.invented else RATE_SD, energy.sd_J_mol, FULL_CURE_TG_SD_K)
    mean = np.array([0.0, energy.J_mol, card.Tg_inf_C or FULL_CURE_TG_C])
    return Lot(mean, np.diag(np.square(spread)))
