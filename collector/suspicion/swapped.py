"""Two probes swapped: each suddenly goes on where the other was; or each takes over the other's liveliness.

The first sign serves any two probes of the site that stand apart, so it also finds a probe that went onto another
panel in exchange. A panel's probe and its air's are told sooner, and by the second sign too: see exchange.
What cannot be told: two probes on panels that are as warm as each other, and a swap made before the first hour.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from collector.suspicion import exchange, moving
from collector.suspicion.finding import Bools, Votes, none, usual
from collector.suspicion.grid import Floats, Site
from collector.suspicion.loose import QUICK, takes_up
from collector.suspicion.response import WINDOW

TAKES = (1, 2, 3)
"""Bins in which it is done."""
PART = 3
"""Bins of each part that is compared: two before, two after."""
LEAST_K, LEAST_ELSEWHERE_K = 0.25, 2.5
CALMER, FAR_K, CALM = 4.0, 1.0, 2.5
"""Nearer to each other than this, an exchange is not told from chance; more is asked of two that do not belong
together. An exchange is so many times larger than what either moves just before or after."""
SLOW_S = 180.0


def votes(site: Site) -> list[Votes]:
    """Two for each pair in which something speaks for it; nothing speaks against a swap but its undoing."""
    found = []
    told = [p.id for p in site.probes if p.id in site.temperature and p.interval_s <= SLOW_S]
    went = {probe: _went_far(site.temperature[probe]) for probe in told}
    for one, other in combinations(told, 2):
        here, there = site.facts(one), site.facts(other)
        beside = here.zone == there.zone and {here.place, there.place} == {"surface", "air"}
        x, y = site.temperature[one], site.temperature[other]
        if beside:
            exchanged, undone = _exchanged_beside(*((x, y) if here.place == "surface" else (y, x)))
        elif not (went[one] & went[other]).any():
            continue
        else:
            exchanged = _exchanged(x, y, LEAST_ELSEWHERE_K)
            undone = none(exchanged)  # which of two panels is which only the first exchange can tell
        if exchanged.any() or undone.any():
            window = exchange.WINDOW if beside else WINDOW
            for probe, partner in ((one, other), (other, one)):
                found.append(_votes(probe, partner, exchanged, undone, window, toggles=not beside))
    return found


def _votes(probe: str, partner: str, exchanged: Bools, undone: Bools, window: int, toggles: bool) -> Votes:
    def numbers(index: int) -> dict[str, float | str]:
        return {"other": partner}

    return Votes(probe, "swapped", exchanged, undone, window, numbers, toggles)


def _exchanged_beside(surface: Floats, air: Floats) -> tuple[Bools, Bools]:
    """Exchanged, and put back: at first the panel's is the calm one. A thin skin is no calmer than its air."""
    thin = usual(takes_up(surface, air), 0.5, least=3) > QUICK
    leapt, unclear = exchange.exchanged(surface, air)
    forth = (leapt | exchange.took_over(surface, air)) & ~thin
    back = exchange.exchanged(air, surface)[0] & ~thin
    either = (_exchanged(surface, air, LEAST_K) & thin) | (unclear & ~thin)
    return _in_turn(forth, back, either)


def _in_turn(forth: Bools, back: Bools, either: Bools) -> tuple[Bools, Bools]:
    """Exchanges and their undoing; one whose way is not clear undoes the one before. What follows within a judgement's
    window is the same event.
    """
    begun, undone = none(forth), none(forth)
    swapped, last = False, -exchange.WINDOW
    for index in np.flatnonzero(forth | back | either):
        way = not swapped if not (forth[index] or back[index]) else bool(forth[index])
        if index - last >= exchange.WINDOW:
            swapped, last = way, int(index)
        (begun if swapped else undone)[index] = True
    return begun, undone


def _went_far(value: Floats) -> Bools:
    """Whether it moved within minutes by what an exchange with a probe elsewhere asks of either. Most never do,
    and then no pair of it need be compared."""
    least_K = LEAST_ELSEWHERE_K * (0.9 - 0.7 / CALM) - 0.04
    now = moving.mean(value, PART, PART)
    moved = [np.abs(now - moving.mean(value, PART, 2 * PART + bins)) >= least_K for bins in TAKES]
    return np.asarray(np.any(moved, axis=0))


def _exchanged(x: Floats, y: Floats, least_K: float) -> Bools:
    """Within minutes each went to where the other was: neither a panel nor air does that, let alone both."""
    return np.asarray(np.any([_exchanged_in(x, y, least_K, bins) for bins in TAKES], axis=0))


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
