"""Tape off: a probe that should lie on a panel answers like one that hangs in the air.

Two signs, either is enough. It follows: in the quick part of its course it moves as the air moves, at once and
nearly whole, while in its past it did not. It landed: within minutes it went over onto the air's own course and
stays there, while the air did nothing of the kind; a laminate has too much heat in it for that.
What cannot be told: a thin skin answers nearly as quickly as a probe in the air (it is hardly ever judged),
and in still air beside a panel that is as warm as the air nothing changes when the tape goes.
"""

from __future__ import annotations

import numpy as np

from collector.suspicion import moving
from collector.suspicion.finding import HOUR_BINS, Bools, Votes, held, usual
from collector.suspicion.grid import Floats, Site
from collector.suspicion.response import WINDOW, Response, respond
from collector.suspicion.rough import lies_still

LIVELY_K = 0.04
"""Quicker air than this is needed to see an answer."""
FOLLOWS, ABOVE_USUAL = 0.65, 0.2
THIN = 0.35
"""A usual gain above this is a thin skin's: its answer tells nothing."""
QUICK = 0.45
"""Of a difference from its air, a laminate takes up less than this in ten minutes; a thin skin more."""
UNKNOWN_LIVELY_K, UNKNOWN_FOLLOWS = 0.1, 0.85
"""Asked for while its past is not known yet."""
AS_ONE = 0.3
SLOW_WINDOWS = ((45, 0.06), (75, 0.1))
"""Bins, and how lively the air must be over them."""
SLOWLY, SLOW_THIN, SLOW_APART, SLOW_SPREAD_K = 0.75, 0.45, 0.15, 0.25
FIRST = 90
"""Bins: nothing is said in a probe's first three hours."""
NEAR_K, NEAR_SHARE, STEADY_K = 0.8, 0.35, 0.5
BEFORE, MOVE, AFTER, QUICKLY = 5, 8, 12, 4
"""Bins of a landing: 10 minutes before, 16 in which to come down, within 8 of them, 24 after."""
LEAST_K = 0.25
FOLLOWS_FOR, SLOWLY_FOR, LANDED_FOR = 8, 16, 3
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
    thin = is_thin(surface, air)
    speaks_for = (
        held(follows(answer, apart_K, thin), FOLLOWS_FOR)
        | held(follows_slowly(surface, air, noise, thin), SLOWLY_FOR)
        | held(landed(surface, air) & ~thin, LANDED_FOR)
    )
    speaks_for[:FIRST] = False
    against = lies_still(surface, air) & ~speaks_for

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


def follows_slowly(surface: Floats, air: Floats, noise: float, thin: Bools) -> Bools:
    """The same over longer windows, for calm air that moves little within an hour."""
    found = np.zeros(len(surface), bool)
    apart_K = surface - air
    for window, lively_K in SLOW_WINDOWS:
        answer = respond(surface, air, noise, window)
        habit = usual(np.where(answer.lively >= 0.6 * lively_K, answer.gain, np.nan), 0.9, since=window + 6)
        changed = (habit < SLOW_THIN) & (answer.gain >= np.maximum(SLOWLY, habit + 0.3)) & (answer.gain < 1.4)
        beside = np.abs(moving.mean(apart_K, HOUR_BINS)) <= NEAR_K
        steady = moving.spread(apart_K, window) <= SLOW_SPREAD_K
        found |= (answer.lively >= lively_K) & changed & (answer.apart <= SLOW_APART) & beside & steady
    return found & ~thin


def is_thin(surface: Floats, air: Floats) -> Bools:
    """Whether it takes up most of a difference within ten minutes or so; also while that is not known."""
    return ~(usual(takes_up(surface, air), 0.5, least=3) <= QUICK)


def takes_up(surface: Floats, air: Floats) -> Floats:
    """Which share of a difference from its air it takes up within ten minutes, over three hours."""
    n, window = 5, 90
    pull = moving.mean(air - surface, n)
    moved = moving.mean(surface, 2) - moving.mean(surface, 2, n)
    mean_pull, mean_moved = moving.mean(pull, window), moving.mean(moved, window)
    together = moving.mean(pull * moved, window) - mean_pull * mean_moved
    return together / (moving.mean(pull * pull, window) - mean_pull**2 + 1e-6)


def landed(surface: Floats, air: Floats) -> Bools:
    """It went over onto the air's course within minutes, of its own, and stays there."""
    apart = surface - air
    before, after = moving.mean(apart, BEFORE, MOVE + AFTER), moving.mean(apart, AFTER)
    step, way = np.abs(after - before), np.sign(after - before)
    near = np.abs(after) <= np.maximum(NEAR_K, NEAR_SHARE * np.abs(before))
    near &= np.abs(after) <= 0.6 * np.abs(before)
    drifted = before - moving.mean(apart, BEFORE, MOVE + AFTER + 3)
    was_steady = np.abs(drifted) <= np.maximum(0.08, 0.5 * step)
    moved = (moving.mean(surface, 4, AFTER - 4) - moving.mean(surface, BEFORE, MOVE + AFTER)) * way
    by_itself = (moved >= 0.5 * step) & (moved <= 1.8 * step)
    jump = surface - np.concatenate([np.full(QUICKLY, np.nan), surface[:-QUICKLY]])
    span = MOVE - QUICKLY + 2
    highest, lowest = moving.highest(jump, span, AFTER - 1), moving.lowest(jump, span, AFTER - 1)
    at_once = np.where(way > 0, highest, -lowest) >= 0.75 * step
    stays = np.abs(moving.climb(apart, AFTER)) <= np.maximum(0.15, 0.2 * step)
    stays &= moving.spread(apart, AFTER) <= np.maximum(0.1, 0.2 * step)
    return (step >= LEAST_K) & near & was_steady & by_itself & at_once & stays
