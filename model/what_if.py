"""What if: hold the panel at X degC from A to B, start at another hour, with another card; and the questions back.

Nothing here decides for anybody: it says what the model would say if. Proposed heat is bounded by the ramp, the
substrate and the film itself; no heater runs unattended (TRADE practice, no source). All times UTC ms.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from model.blocks import MINUTE_MS, Blocks, Floats
from model.calibration import Calibration
from model.coat import CoatState, Path, courses
from model.forecast import EIGHTY_PC_HALF_WIDTHS
from model.members import Weights
from model.milestones import Passing, passings
from model.resin_card import Milestone

RAMP_K_H = 8.0
"""5 to 10 K/h after gel (common practice, no source)."""
HELD_SD_K = 1.0
"""How well a panel is held under a cover with a thermostat, one standard deviation: our own choice."""
SUPPORTED_LEAD_K = 10.0
"""A film on its mould may be this much warmer than its glass transition (common practice, no source)."""
COOLING_S = 3600.0
SUBSTRATE_CAP_C: Mapping[str, float] = {
    "polystyrene foam": 50.0,
    "foam": 50.0,
    "PVC foam": 60.0,
    "waxed tooling": 40.0,
    "metal mould": 40.0,
    "composite mould": 40.0,
}
"""Lower ends of what the trade allows (common practice, no source); others are capped by the card alone."""


@dataclass(frozen=True)
class Heat:
    """Hold the panel at hold_C, degC, from from_ms, when the heater goes on, to to_ms, when it goes off.

    ramp_K_h    fastest warming, K/h; cooling_s  time constant with which the panel falls back, s
    """

    hold_C: float
    from_ms: int
    to_ms: int
    ramp_K_h: float = RAMP_K_H
    cooling_s: float = COOLING_S


def cap_C(calibration: Calibration, substrate: str, soften_C: float | None = None) -> float:
    """Warmest that the panel may be held, degC: the card's maximum, the substrate's, and the film's own.

    substrate   a key of SUBSTRATE_CAP_C or any other word, which has no cap of its own
    soften_C    low end of the film's glass transition if it has gelled and lies supported on its mould, else None
    """
    cap = min(calibration.card.maximum_C, SUBSTRATE_CAP_C.get(substrate, math.inf))
    return cap if soften_C is None else min(cap, soften_C + SUPPORTED_LEAD_K)


def held(blocks: Blocks, heat: Heat) -> Blocks:
    """The history and outlook with the heat in it: a heater warms, it never cools.

    From from_ms on the panel rises at the ramp until hold_C, stays there (or as warm as the outlook, if that is
    warmer), and after to_ms falls back towards the outlook. Its spread is HELD_SD_K where the heater holds it, as
    far as that is less than the outlook's. Raises ValueError for a plan that begins in the past, ends before it
    begins, or has no ramp.
    """
    if not (heat.ramp_K_h > 0.0 and heat.cooling_s > 0.0 and math.isfinite(heat.hold_C)):
        raise ValueError(f"{heat}: ramp and cooling must be above 0, the temperature finite")
    if heat.to_ms < heat.from_ms:
        raise ValueError(f"the heat ends at {heat.to_ms}, before it begins at {heat.from_ms} (UTC ms)")
    first, last = ((ms - blocks.start) // MINUTE_MS for ms in (heat.from_ms, heat.to_ms))
    if first < 0 or (first < len(blocks) and not blocks.spread[first] > 0.0):
        raise ValueError("heat can only be planned for minutes that are still to come")
    panel, spread = blocks.central.copy(), blocks.spread.copy()
    on = slice(first, min(last, len(blocks)))
    risen = np.arange(1, len(panel[on]) + 1) * heat.ramp_K_h / 60.0
    if len(risen):
        ramp = np.minimum(panel[first] + risen, heat.hold_C)
        spread[on] = np.where(ramp > panel[on], np.minimum(spread[on], HELD_SD_K), spread[on])
        above = max(float(ramp[-1]) - float(panel[on.stop - 1]), 0.0)
        panel[on] = np.maximum(panel[on], ramp)
        after = np.arange(1, len(panel) - on.stop + 1) * 60.0
        panel[on.stop :] += above * np.exp(-after / heat.cooling_s)
    ahead = np.arange(len(panel)) >= first
    return replace(
        blocks,
        cold=np.where(ahead, panel, blocks.cold),
        central=panel,
        hot=np.where(ahead, panel, blocks.hot),
        spread=spread,
    )


def passed_if(
    calibration: Calibration,
    blocks: Blocks,
    start_ms: int,
    now_ms: int,
    heat: Heat | None = None,
    weights: Weights | None = None,
    resume: dict[Path, CoatState] | None = None,
) -> dict[Milestone, Passing]:
    """Every milestone of a coat on this card that starts at start_ms, now or later, with or without heat.

    Another hour is another start_ms, another card another calibration; weights of the members. resume: where the
    coat stands when the heat begins, if it has begun by then, from standing(): what came before is not gone through
    again, so that nothing is said of what was passed then.
    """
    warmed = blocks if heat is None else held(blocks, heat)
    return passings(courses(calibration, warmed, start_ms, resume), now_ms, weights)


def least_temperature(
    calibration: Calibration,
    blocks: Blocks,
    start_ms: int,
    milestone: Milestone,
    by_ms: int,
    heat: Heat,
    cap: float,
    weights: Weights | None = None,
) -> int | None:
    """Lowest whole degC to hold, in the given heat's place, that gets the coat to `milestone` by by_ms.

    heat    the hours and ramp of the proposal; its hold_C is not looked at. cap  warmest allowed, degC: cap_C()

    "Gets there" means that SAFE_SHARE of the range has passed it at by_ms. None: not by then, whatever is held up
    to the cap. Where no heat is needed, the answer is the first degree above the outlook's coldest: ask
    passed_if() before. Every whole degree is tried from the bottom, because what is warmer at by_ms must also be
    harder to be sanded. Raises ValueError as held().
    """
    from_ms = heat.from_ms // MINUTE_MS * MINUTE_MS
    resume = standing(calibration, blocks, start_ms, from_ms)
    if milestone is not Milestone.DEMOULD:  # the only one that looks ahead of by_ms
        blocks = _until(blocks, by_ms)
    window = blocks.central[max((from_ms - blocks.start) // MINUTE_MS, 0) :]
    lowest = calibration.card.minimum_C
    if len(window):
        lowest = max(lowest, math.floor(float(np.min(window))) + 1.0)
    for degree in range(math.ceil(lowest), math.floor(cap) + 1):
        warmed = held(blocks, replace(heat, hold_C=float(degree)))
        found = passings(courses(calibration, warmed, start_ms, resume), by_ms, weights)
        if found[milestone].is_past:
            return degree
    return None


@dataclass(frozen=True)
class LatestMixing:
    """The last start whose film is tack-free before the dew-point margin closes.

    latest_ms     that start, None if there is none or the margin does not close
    closes_ms     when the margin closes at the cold end of the forecast, None: not within the outlook
    likely_closes_ms   when it closes as forecast
    tack_free_ms  safe end of tack-free for a start at latest_ms, or for one now if there is none; None: beyond the
                  outlook
    """

    latest_ms: int | None
    closes_ms: int | None
    likely_closes_ms: int | None
    tack_free_ms: int | None


def latest_mixing(
    calibration: Calibration,
    outlook: Blocks,
    dew_point_C: Floats,
    margin_K: float,
    *,
    air_only_K: float = 0.0,
) -> LatestMixing:
    """The latest start tonight, from the outlook's first minute on; weights of the members are equal.

    outlook      minutes from now on; dew_point_C (n,) forecast for each of them, degC, NaN where unknown
    margin_K     least margin while the film is not tack-free: 3 K (ISO 8502-4, as cited by the trade)
    air_only_K   taken off the margin if the panel is not measured on its surface

    The early end of closing is that of the panel's 10 % coldest nights. An unknown dew point counts as closed.
    Start means when the card's times begin to count: mixing or application. Raises ValueError for a dew point of
    another length.
    """
    if dew_point_C.shape != outlook.central.shape:
        raise ValueError(f"dew_point_C {dew_point_C.shape}: it needs one value a minute, {len(outlook)}")
    likely = _closes(outlook, dew_point_C, outlook.central - air_only_K, margin_K)
    cold = outlook.central - EIGHTY_PC_HALF_WIDTHS * outlook.spread - air_only_K
    closes = _closes(outlook, dew_point_C, cold, margin_K)

    def tack_free(start_ms: int, until_ms: int) -> int | None:
        return passed_if(calibration, _until(outlook, until_ms), start_ms, start_ms)[Milestone.TACK_FREE].safe

    if closes is None:
        return LatestMixing(None, None, likely, tack_free(outlook.start, outlook.end))
    low, high = 0, (closes - outlook.start) // MINUTE_MS
    if tack_free(outlook.start, closes) is None:
        return LatestMixing(None, closes, likely, tack_free(outlook.start, outlook.end))
    while high - low > 1:
        middle = (low + high) // 2
        if tack_free(outlook.start + middle * MINUTE_MS, closes) is None:
            high = middle
        else:
            low = middle
    latest = outlook.start + low * MINUTE_MS
    return LatestMixing(latest, closes, likely, tack_free(latest, closes))


def _closes(outlook: Blocks, dew_point_C: Floats, panel_C: Floats, margin_K: float) -> int | None:
    """First minute in which the margin is not known to be kept, UTC ms."""
    closed = np.flatnonzero(~(panel_C - dew_point_C >= margin_K))
    return outlook.start + int(closed[0]) * MINUTE_MS if len(closed) else None


def standing(calibration: Calibration, blocks: Blocks, start_ms: int, at_ms: int) -> dict[Path, CoatState]:
    """Where the coat stands on each path at a minute's end, UTC ms; nothing if it has not begun."""
    if at_ms <= start_ms or at_ms > blocks.end:
        return {}
    return {
        path: run.state(at_ms) for path, run in courses(calibration, _until(blocks, at_ms), start_ms).items()
    }


def _until(blocks: Blocks, end_ms: int) -> Blocks:
    """The minutes that have ended by end_ms."""
    count = max(min((end_ms - blocks.start) // MINUTE_MS, len(blocks)), 0)
    return Blocks(
        blocks.start,
        blocks.cold[:count],
        blocks.central[:count],
        blocks.hot[:count],
        blocks.measured[:count],
        blocks.spread[:count],
    )
