"""Tape off: a probe that should lie on a panel answers like one that hangs in the air.

Two signs, either is enough. It follows: in the quick part of its course it moves as the air moves, at once and
nearly whole, while in its past it did not. It landed: within minutes it went over onto the air's own course and
stays there, while the air did nothing of the kind; a laminate has too much heat in it for that.
What cannot be told: a thin skin answers nearly as quickly as a probe in the air (it is judged by landing alone),
and in still air beside a panel that is as warm as the air nothing changes when the tape goes.
"""

from __future__ import annotations

import numpy as np

from collector.suspicion import moving
from collector.suspicion.finding import Bools, Votes, held, usual
from collector.suspicion.grid import Floats, Site
from collector.suspicion.response import WINDOW, Response, respond

LIVELY_K = 0.05
"""Quicker air than this is needed to see an answer."""
FOLLOWS, ABOVE_USUAL = 0.65, 0.2
THIN = 0.35
"""A usual gain above this is a thin skin's: its answer tells nothing."""
QUICK = 0.35
"""Of a difference from its air, a laminate takes up less than this in ten minutes; a thin skin more."""
UNKNOWN_LIVELY_K, UNKNOWN_FOLLOWS = 0.1, 0.85
"""Asked for while its past is not known yet."""
AS_ONE = 0.3
RESTS, APART = 0.45, 0.5
NEAR_K, NEAR_SHARE, STEADY_K = 0.8, 0.35, 0.5
BEFORE, MOVE, AFTER = 6, 4, 14
"""Bins of a landing: 12 minutes before, 8 to come down in, 28 after."""
LEAST_K = 0.3
FOLLOWS_FOR, LANDED_FOR = 5, 3
"""Bins for which a sign must hold."""
SLOW_S = 180.0
"""Probes that speak less often cannot be compared quickly enough."""


def votes(site: Site, noise: dict[str, float]) -> list[Votes]:
    """One for each surface probe that has air to be compared with."""
    found = []
    for zone in sorted({probe.zone for probe in site.probes}):
        airs = [p for p in site.in_zone(zone, "air") if site.facts(p).interval_s <= SLOW_S]
        for probe in site.in_zone(zone, "surface"):
            if airs and site.facts(probe).interval_s <= SLOW_S:
                air = np.mean([site.temperature[name] for name in airs], axis=0)
                found.append(_votes(probe, site.temperature[probe], air, noise[probe]))
    return found


def _votes(probe: str, surface: Floats, air: Floats, noise: float) -> Votes:
    answer = respond(surface, air, noise)
    apart_K = surface - air
    following = held(follows(answer, apart_K, is_thin(surface, air)), FOLLOWS_FOR)
    speaks_for = following | held(landed(surface, air), LANDED_FOR)
    against = (answer.lively >= LIVELY_K) & (answer.gain <= RESTS) & (answer.apart >= APART) & ~speaks_for

    def numbers(index: int) -> dict[str, float | str]:
        return {"near_K": abs(float(np.nanmean(apart_K[max(0, index - AFTER) : index + 1])))}

    return Votes(probe, "tape_off", speaks_for, against, WINDOW, numbers)


def follows(answer: Response, apart_K: Floats, thin: Bools) -> Bools:
    """It moves as the air moves, which it did not use to."""
    lively = answer.lively >= LIVELY_K
    habit = usual(np.where(answer.lively >= 0.03, answer.gain, np.nan), 0.9)
    changed = lively & (habit < THIN) & ~thin & (answer.gain >= np.maximum(FOLLOWS, habit + ABOVE_USUAL))
    new = np.isnan(habit) & ~thin & (answer.lively >= UNKNOWN_LIVELY_K) & (answer.gain >= UNKNOWN_FOLLOWS)
    beside = np.abs(moving.mean(apart_K, AFTER)) <= NEAR_K
    steady = np.abs(moving.climb(apart_K, AFTER)) <= STEADY_K
    return (changed | new) & (answer.gain < 1.7) & (answer.apart <= AS_ONE) & beside & steady


def is_thin(surface: Floats, air: Floats) -> Bools:
    """Whether it takes up most of a difference within ten minutes or so; also while that is not known."""
    n, window = 5, 90
    pull = moving.mean(air - surface, n)
    moved = moving.mean(surface, 2) - moving.mean(surface, 2, n)
    mean_pull, mean_moved = moving.mean(pull, window), moving.mean(moved, window)
    share = (moving.mean(pull * moved, window) - mean_pull * mean_moved) / (
        moving.mean(pull * pull, window) - mean_pull**2 + 1e-6
    )
    return ~(usual(share, 0.5, least=3) <= QUICK)


def landed(surface: Floats, air: Floats) -> Bools:
    """It went over onto the air's course within minutes, of its own, and stays there."""
    apart = surface - air
    before, after = moving.mean(apart, BEFORE, MOVE + AFTER), moving.mean(apart, AFTER)
    step = np.abs(after - before)
    way = np.sign(after - before)
    near = np.abs(after) <= np.maximum(NEAR_K, NEAR_SHARE * np.abs(before))
    near &= np.abs(after) <= 0.5 * np.abs(before)
    half = BEFORE // 2
    was_steady = np.abs(
        moving.mean(apart, half, MOVE + AFTER) - moving.mean(apart, half, MOVE + AFTER + half)
    ) <= np.maximum(0.08, 0.5 * step)
    here = moving.mean(surface, BEFORE, MOVE + AFTER)
    course = (here - moving.mean(surface, BEFORE, MOVE + AFTER + BEFORE)) / BEFORE * (BEFORE / 2 + MOVE + 2)
    moved = (moving.mean(surface, 4, AFTER - 4) - here) * way
    by_itself = (moved >= 0.5 * step) & (moved - course * way >= 0.6 * step) & (moved <= 1.8 * step)
    stays = np.abs(moving.climb(apart, AFTER)) <= np.maximum(0.15, 0.2 * step)
    stays &= moving.spread(apart, AFTER) <= np.maximum(0.1, 0.2 * step)
    return (step >= LEAST_K) & near & was_steady & by_itself & stays
