"""What heat would do: hours to a milestone if the panel were held at one temperature, for the central member.

Exact by quadrature, so a table over all temperatures costs milliseconds. These are the sheet's own rules; the
24 h limit of the recoat window (model.milestones) stands beside them.
"""

from __future__ import annotations

import math

import numpy as np

from model.calibration import Calibration
from model.conversion_time import ConversionTime
from model.resin_card import CLOSING, Milestone

STOPPED_AFTER_H = 48.0
STOPPED_RATIO = 3.0
HARD_LEAD_K = 10.0
UNFINISHED_RATIO = 6.0


def hours_to(
    calibration: Calibration, milestone: Milestone, T_C: float, conversion: float = 0.0, age_h: float = 0.0
) -> float:
    """Hours until `milestone`, from a conversion and an equivalent age (h) on, if held at T_C (degC).

    0 if it is passed, inf if that temperature never gets there. The calibration must be of one member.
    Raises ValueError for another calibration, KeyError for a milestone that the card does not give.
    """
    speed = _speed(calibration, T_C)
    if milestone is Milestone.RECOAT_FROM:
        return hours_to_conversion(calibration, calibration.law.gel, T_C, conversion)
    if milestone is Milestone.CURED:
        return hours_to_conversion(calibration, _only(calibration.conversion[milestone]), T_C, conversion)
    if milestone is Milestone.TACK_FREE:
        needed = max(calibration.law.gel, _conversion_needed(calibration, milestone, T_C))
        return hours_to_conversion(calibration, needed, T_C, conversion)
    hours = calibration.hours(milestone)
    if hours is None:
        raise KeyError(milestone)
    aged = max(hours - age_h, 0.0) / speed
    if milestone in CLOSING:
        return aged
    needed = _conversion_needed(calibration, milestone, T_C)
    return max(aged, hours_to_conversion(calibration, needed, T_C, conversion))


def hours_to_conversion(
    calibration: Calibration, target: float, T_C: float, conversion: float = 0.0
) -> float:
    """Hours from one conversion to another at T_C, degC; 0 if passed, inf for 1 and more."""
    if conversion >= target:
        return 0.0
    time = ConversionTime(calibration.law, calibration.law.critical(T_C, calibration.members.Tg_inf_C))
    k = _only(calibration.k_per_h) * _speed(calibration, T_C)
    return (_only(time.to(target)) - _only(time.to(conversion))) / k


def hold(calibration: Calibration, T_C: float) -> dict[Milestone, float]:
    """Hours from a fresh coat to every milestone the card gives (tack-free always), held at T_C, degC."""
    return {
        milestone: hours_to(calibration, milestone, T_C)
        for milestone in Milestone
        if milestone is Milestone.TACK_FREE or calibration.card.film.gives(milestone)
    }


def lowest_moving_temperature(
    calibration: Calibration,
    milestone: Milestone,
    conversion: float = 0.0,
    age_h: float = 0.0,
    within_h: float = 24.0,
) -> int | None:
    """Lowest whole degree C of the card's range that brings `milestone` within these hours; None if none."""
    card = calibration.card
    for degree in range(math.ceil(card.minimum_C), math.floor(card.maximum_C) + 1):
        if hours_to(calibration, milestone, float(degree), conversion, age_h) <= within_h:
            return degree
    return None


def stopped_by_cold(hours_ahead: float, hours_at_reference: float, panel_C: float, minimum_C: float) -> bool:
    """Whether the next of recoat-from, sand and demould is out of reach of this cold.

    hours_ahead         to that milestone as forecast, h; inf if not within the outlook
    hours_at_reference  to the same milestone from the present state at the card's reference temperature, h
    panel_C, minimum_C  the panel now and the card's minimum, degC: below it the cure counts as stopped

    The ratio keeps slow resins in their normal cure out of it.
    """
    far = hours_ahead > STOPPED_AFTER_H and hours_ahead > STOPPED_RATIO * hours_at_reference
    return far or panel_C < minimum_C


def hard_not_cured(
    transition_C: float,
    panel_C: float,
    conversion: float,
    sand_conversion: float,
    hours_here: float,
    hours_at_reference: float,
) -> bool:
    """Whether the film feels hard only because it is cold: glassy, short of the sheet's sanding conversion,
    and with far more of that way to go here than it would have at the card's reference temperature.

    transition_C, panel_C   Tg and panel now, degC; conversion and that of "sand" on the sheet, 0 to 1
    hours_here, hours_at_reference   to that conversion at the panel's and at the reference temperature, h
                            (hours_to_conversion). Without them every normal cure would be flagged.
    """
    glassy = transition_C >= panel_C + HARD_LEAD_K
    stuck = hours_here > max(STOPPED_AFTER_H, UNFINISHED_RATIO * hours_at_reference)
    return glassy and conversion < sand_conversion and stuck


def _conversion_needed(calibration: Calibration, milestone: Milestone, T_C: float) -> float:
    transition = calibration.needed_transition(milestone, T_C)
    return _only(calibration.law.conversion_at(transition, calibration.members.Tg_inf_C))


def _speed(calibration: Calibration, T_C: float) -> float:
    return _only(calibration.speed(T_C))


def _only(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
    if values.shape != (1,):
        raise ValueError(f"a hold is worked out for the central member alone; got {values.shape[0]} members")
    return float(values[0])
