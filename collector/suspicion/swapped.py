"""Two probes swapped: each suddenly goes on where the other was; or each takes over the other's liveliness.

The first sign needs them to stand apart, and serves any two probes of the site, so it also finds a probe that
went onto another panel in exchange. The second is for a panel as warm as its air: the air's probe grows calm as
a laminate while the panel's grows lively as air.
What cannot be told: two probes on panels that are as warm as each other, and a swap made before the first hour.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from collector.suspicion import moving
from collector.suspicion.finding import Bools, Votes, held, none, usual
from collector.suspicion.grid import Floats, Site
from collector.suspicion.response import WINDOW, respond

PART = 3
"""Bins of each part that is compared: two before, two after."""
LEAST_K, LEAST_ELSEWHERE_K = 0.25, 1.5
CALMER, FAR_K, CALM = 4.0, 1.0, 2.5
"""Nearer to each other than this, an exchange is not told from chance; more is asked of two that do not belong
together. An exchange is so many times larger than what either moves just before or after."""
AFTER = 8
LIVELY_K = 0.1
SLOW_S = 180.0


def votes(site: Site, noise: dict[str, float]) -> list[Votes]:
    """Two for each pair in which something speaks for it; nothing speaks against a swap but the next one."""
    found = []
    told = [p.id for p in site.probes if p.id in site.temperature and p.interval_s <= SLOW_S]
    for one, other in combinations(told, 2):
        x, y = site.temperature[one], site.temperature[other]
        here, there = site.facts(one), site.facts(other)
        least_K = LEAST_K if here.zone == there.zone and here.place != there.place else LEAST_ELSEWHERE_K
        exchanged = _exchanged(x, y, least_K)
        if here.zone == there.zone and {here.place, there.place} == {"surface", "air"}:
            surface, air = (x, y) if here.place == "surface" else (y, x)
            exchanged |= _roles_exchanged(surface, air, noise[one])
        if not exchanged.any():
            continue
        found += [_votes(one, other, exchanged), _votes(other, one, exchanged)]
    return found


def _votes(probe: str, partner: str, exchanged: Bools) -> Votes:
    def numbers(index: int) -> dict[str, float | str]:
        return {"other": partner}

    return Votes(probe, "swapped", exchanged, none(exchanged), WINDOW, numbers, toggles=True)


def _exchanged(x: Floats, y: Floats, least_K: float) -> Bools:
    """Within minutes each went to where the other was: neither a panel nor air does that, let alone both."""
    return np.asarray(np.any([_exchanged_in(x, y, least_K, bins) for bins in (1, 2, 3)], axis=0))


def _exchanged_in(x: Floats, y: Floats, least_K: float, bins: int) -> Bools:
    back = 2 * PART + bins
    before = moving.mean(x - y, PART, back)
    size = np.abs(before)
    # How much each moves while nothing is exchanged: two that cross each other do not rest on either side.
    unrest = np.max(
        [np.abs(moving.mean(value, PART, at) - moving.mean(value, PART, at + PART))
         for value in (x, y) for at in (0, back)], axis=0,
    )  # fmt: skip
    found = (size >= least_K) & (size >= CALMER * unrest)
    found |= (size >= max(FAR_K, least_K)) & (size >= CALM * unrest)
    for value, way in ((x, before), (y, -before)):
        moved = moving.mean(value, PART, PART) - moving.mean(value, PART, back)
        found &= np.abs(moved + way) <= 0.04 + 0.1 * size + 0.7 * unrest
    stays = np.abs(moving.mean(x - y, PART) + before) <= 0.05 + 0.1 * size + unrest
    return np.asarray(found & stays)


def _roles_exchanged(surface: Floats, air: Floats, noise: float) -> Bools:
    """The panel's probe is lively as the air was, the air's is calm as the panel was."""
    now, was = respond(air, surface, noise), respond(surface, air, noise)
    calm_before, lively_before = usual(was.answer, 0.9, least=10), usual(was.lively, 0.2, least=10)
    lively = (now.lively >= LIVELY_K) & (now.lively >= 2.0 * calm_before)
    calm = (now.answer <= 0.6 * lively_before) & (now.answer <= 0.5 * now.lively)
    related = (now.gain >= -0.1) & (now.gain <= 0.6) & (now.lively <= 4 * lively_before)
    beside = np.abs(moving.mean(surface - air, AFTER)) <= 1.5
    return held(lively & calm & related & beside, 5)
