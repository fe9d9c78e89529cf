"""Sun on a probe: by day it climbs within minutes, higher than all its neighbours, and they do not follow.

A panel's probe is compared with all other probes of its zone. The only air probe of a zone is compared with the
panels: if a heater had warmed the air, they would have taken up heat by now; a panel of any usual thickness shows
it within half an hour.
What cannot be told: a lamp or a blanket that warms a panel faster than 2.5 K in ten minutes, by day, looks the
same; so does sun in a zone with a single probe. At night nothing is taken for sun.
"""

from __future__ import annotations

import numpy as np

from collector.suspicion import moving
from collector.suspicion.finding import Bools, Votes, held, recent
from collector.suspicion.grid import Floats, Site

RISE_K, RISE_BINS = 2.5, 5
ABOVE_K = 2.0
LONE_K = 2.5
AT_ONCE, TAKEN_UP = 0.1, 0.3
"""Of a true change of its air, a taped probe shows some at once: no tape is tight."""
FROM_H, TO_H = 6.0, 20.0
WINDOW = 25
SLOWEST_MIN = 150.0
"""Minutes in which the slowest laminate takes up two thirds of a change."""
SETTLED_K = 1.0


def votes(site: Site) -> list[Votes]:
    """One for each probe with neighbours in its zone."""
    day = (site.hour >= FROM_H) & (site.hour <= TO_H)
    found = []
    for probe in site.probes:
        if probe.id not in site.temperature:
            continue
        airs = [p for p in site.in_zone(probe.zone, "air") if p != probe.id]
        panels = [p for p in site.in_zone(probe.zone, "surface") if p != probe.id]
        mine = site.temperature[probe.id]
        others = [site.temperature[name] for name in airs + panels]
        if not others or probe.place == "bottles":
            continue
        alone = _alone(mine, np.array(others)) & day
        if probe.place == "air" and not airs:
            alone = _unanswered(mine, [site.temperature[name] for name in panels]) & day
        above = mine - np.max(others, axis=0)
        against = (~day | (moving.highest(above, 8) < SETTLED_K)) & ~alone

        def numbers(index: int, above: Floats = above) -> dict[str, float | str]:
            return {"above_K": float(np.nanmax(above[max(0, index - WINDOW) : index + 1]))}

        found.append(Votes(probe.id, "sunlit", alone, against, WINDOW, numbers))
    return found


def _onset(value: Floats, others: Floats, share: float = 0.25) -> Bools:
    """It climbed fast, by itself: in ten minutes, while the liveliest neighbour did less than a share of that."""
    mine, theirs = (
        moving.climb(value, RISE_BINS),
        np.max([moving.climb(x, RISE_BINS) for x in others], axis=0),
    )
    return np.asarray((mine >= RISE_K) & (theirs <= share * mine))


def _alone(value: Floats, others: Floats) -> Bools:
    onset = recent(_onset(value, others), WINDOW)
    above = value - np.max(others, axis=0)
    return onset & (moving.mean(above, 3) >= ABOVE_K)


def _unanswered(air: Floats, panels: list[Floats]) -> Bools:
    """The air is said to have become warmer, and no panel has taken up what it would have."""
    if not panels:
        return np.zeros(len(air), bool)
    n = 15
    onset = recent(_onset(air, np.array(panels), AT_ONCE), WINDOW)
    base = moving.mean(air, 5, WINDOW)
    excess = moving.mean(air, n) - base
    expected = excess * (n * 2.0) / SLOWEST_MIN
    quiet = np.ones(len(air), bool)
    for panel in panels:
        course = moving.climb(panel, 10)
        before = np.concatenate([np.full(WINDOW, np.nan), course[:-WINDOW]]) / 9
        taken_up = moving.mean(panel, 3) - moving.mean(panel, 3, n) - before * n
        quiet &= taken_up <= TAKEN_UP * expected
    return held(onset & (excess >= LONE_K) & quiet, 2)
