"""The activation energy a data sheet implies: from the same early times at several temperatures.

Only milestones up to the gel point are used. Later ones stretch with diffusion as the film vitrifies, so that a
straight line through them gives an energy that no reaction has. What diffusion does before gel in the cold is
taken out by quadrature first; the rest is Arrhenius' line, ln t against 1/T, with an intercept for each milestone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from model.blocks import Floats
from model.conversion_time import ConversionTime
from model.kinetics import DEFAULT_LAW, ZERO_C_IN_K, GAS_CONSTANT_J_mol_K, RateLaw
from model.members import FULL_CURE_TG_C, ACTIVATION_ENERGY_J_mol, ACTIVATION_ENERGY_SD_J_mol
from model.resin_card import BEFORE_GEL, Milestone, ResinCard

SHEET_ERROR = 0.1
"""Standard deviation of ln(time) taken for one entry of a sheet: they are rounded, and thumbs made them (our own)."""


@dataclass(frozen=True)
class Energy:
    """Activation energy, J/mol, its standard deviation, and what it rests on.

    points     times before gel at temperatures other than the reference; 0: the model's own default, or the
               card's own figure
    misfit     root mean square of what the line leaves of ln(time); 0 without points
    """

    J_mol: float
    sd_J_mol: float
    points: int = 0
    misfit: float = 0.0


def card_energy(card: ResinCard, law: RateLaw = DEFAULT_LAW) -> Energy:
    """The card's own figure if it gives one; else its columns weighed against the default; else the default.

    Each entry counts with SHEET_ERROR, or with the misfit where that is larger, so that columns 10 K apart are
    worth about as much as what is known of amines in general, and a sheet that contradicts itself less.
    """
    if card.activation_energy_J_mol is not None:
        return Energy(card.activation_energy_J_mol, ACTIVATION_ENERGY_SD_J_mol)
    groups = [group for milestone in BEFORE_GEL if (group := _line(card, milestone, law)) is not None]
    if not groups:
        return Energy(ACTIVATION_ENERGY_J_mol, ACTIVATION_ENERGY_SD_J_mol)
    x, y = (np.concatenate(parts) for parts in zip(*groups, strict=True))
    slope = float((x * y).sum() / (x * x).sum())
    points = len(x) - len(groups)
    left = float(((y - slope * x) ** 2).sum())
    misfit = math.sqrt(left / points)
    sheet = float((x * x).sum()) / max(SHEET_ERROR, misfit) ** 2
    known = ACTIVATION_ENERGY_SD_J_mol**-2
    energy = (slope * sheet + ACTIVATION_ENERGY_J_mol * known) / (sheet + known)
    return Energy(energy, 1.0 / math.sqrt(sheet + known), points, misfit)


def _line(card: ResinCard, milestone: Milestone, law: RateLaw) -> tuple[Floats, Floats] | None:
    """(1/R (1/T - mean), ln t without diffusion - mean) over the columns that give `milestone`; None without any."""
    reference = card.film.hours(milestone)
    given = [(column.temperature_C, column.hours(milestone)) for column in card.columns]
    hours = [(T, h) for T, h in [(card.reference_C, reference), *given] if h is not None]
    if len(hours) < 2 or reference is None:
        return None
    conversion = _conversion(card, milestone, law)
    x = np.array([1.0 / (GAS_CONSTANT_J_mol_K * (T + ZERO_C_IN_K)) for T, _ in hours])
    y = np.array([math.log(h / float(_time(card, T, law).to(conversion)[0])) for T, h in hours])
    return x - x.mean(), y - y.mean()


def _conversion(card: ResinCard, milestone: Milestone, law: RateLaw) -> float:
    if milestone is Milestone.RECOAT_FROM:
        return law.gel
    time = _time(card, card.reference_C, law)
    hours = card.film.hours(milestone) or 0.0
    k = float(time.to(law.gel)[0]) / card.film.recoat_from.middle
    return float(time.conversion(k * hours)[0])


def _time(card: ResinCard, T_C: float, law: RateLaw) -> ConversionTime:
    return ConversionTime(law, law.critical(T_C, np.array([card.Tg_inf_C or FULL_CURE_TG_C])))
