"""What panels laid from one lot teach the next: mean and covariance of (ln rate, E, Tg_inf), and nothing else.

Weights themselves are not carried on: multiplied over panels they shrink to a few members and claim a certainty
that nobody has. What was carried on weighs the next panel's own members, which stay the card's: so what closes is
still claimed by all of them alike (model.milestones), and a lot costs no further course. The probe's offset belongs
to the probe and the forecast to the night; neither travels with the lot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from model.blocks import Floats
from model.calibration import INVENTED_RATE_SD, RATE_SD
from model.energy_fit import card_energy
from model.members import FULL_CURE_TG_C, FULL_CURE_TG_SD_K, Members, Weights
from model.resin_card import ResinCard

PANEL_DRIFT = 0.08
"""Standard deviation of ln(rate) from one panel to the next of the same lot: weighing, stirring, the lot's age."""

HAND_SD = 0.10
"""Standard deviation of what a hand's habit moves ln(rate) by. It is the same on all panels that the hand has felt, so
no number of panels averages it away (our own figure: half of observation.HABIT)."""


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
        return Lot(self.mean, _wider(self.covariance, PANEL_DRIFT))

    def by_its_hand(self) -> Lot:
        """As an answer may rest on it: whoever felt its panels may have a habit."""
        return Lot(self.mean, _wider(self.covariance, HAND_SD))

    def likeness(self, of: Members) -> Floats:
        """Natural logarithm of each member's density, but for a constant, (N,)."""
        away = np.array([of.ln_rate, of.E_J_mol, of.Tg_inf_C]) - self.mean[:, np.newaxis]
        inverse = np.linalg.inv(self.covariance)
        return np.asarray(-0.5 * (away[:, np.newaxis] * inverse[:, :, np.newaxis] * away).sum(axis=(0, 1)))


@dataclass(frozen=True)
class LotRange:
    """A lot twice: as it is likely, and for claiming that something may begin (model.observation)."""

    likely: Lot
    cautious: Lot

    def weights(self, of: Members, card: ResinCard) -> Weights:
        """Of the card's own members on a panel that is laid from this lot: what closes still counts all alike."""
        before = new_lot(card).likeness(of)
        return Weights(*(_weights(lot.likeness(of) - before) for lot in (self.likely, self.cautious)))

    def by_its_hand(self) -> LotRange:
        """As an answer may rest on it."""
        return LotRange(self.likely.by_its_hand(), self.cautious.by_its_hand())

    def taught(self, of: Members, weights: Weights) -> LotRange:
        """As the next panel meets it, after one whose members `of` came out of touches with `weights`."""
        return LotRange(
            self.likely.taught(of, weights.likely).drifted(),
            self.cautious.taught(of, weights.cautious).drifted(),
        )

    @classmethod
    def new(cls, card: ResinCard) -> LotRange:
        """Nobody has touched it yet."""
        return cls(new_lot(card), new_lot(card))


def _wider(covariance: Floats, sd: float) -> Floats:
    """With so much more spread in ln(rate)."""
    widened = covariance.copy()
    widened[0, 0] += sd**2
    return widened


def _weights(likeness: Floats) -> Floats:
    relative = np.exp(likeness - likeness.max())
    return np.asarray(relative / relative.sum())


def new_lot(card: ResinCard) -> Lot:
    """A lot nobody has touched yet: what the card says, with the card's own spread."""
    energy = card_energy(card)
    spread = (INVENTED_RATE_SD if card.invented else RATE_SD, energy.sd_J_mol, FULL_CURE_TG_SD_K)
    mean = np.array([0.0, energy.J_mol, card.Tg_inf_C or FULL_CURE_TG_C])
    return Lot(mean, np.diag(np.square(spread)))
