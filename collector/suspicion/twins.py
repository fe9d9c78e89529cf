"""Two probes that ought to agree: one drifts away from its twin, or one sends another unit than the settings say.

Twins hang in the same zone at the same kind of place. Drift is looked for by comparing each hour with the same
hour of the day before, so that what differs by day and night between two places is no drift; which of the two
drifts cannot be told, so both are named.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from collector.suspicion import moving
from collector.suspicion.finding import Bools, Votes, held
from collector.suspicion.grid import Floats, Site

DAY = 720
DRIFT_K = 1.2
"""In a day: half of 0.1 K/h, and more than a change of weather moves a true pair apart."""
STEADY_SHARE = 0.25
ALWAYS = 0.9
UNIT_NEAR_K, UNIT_FAR_K, UNIT_BINS = 1.5, 12.0, 45


def drift_votes(site: Site) -> Iterator[Votes]:
    """One for each of two probes that have told two days; one after the other, for of many probes there are very many
    pairs."""
    for one, other in combinations([p.id for p in site.probes if p.id in site.temperature], 2):
        here, there = site.facts(one), site.facts(other)
        if (here.zone, here.place) != (there.zone, there.place):
            continue
        apart = site.temperature[one] - site.temperature[other]
        grew = np.full(len(apart), np.nan)
        grew[DAY:] = apart[DAY:] - apart[:-DAY]
        now = moving.mean(grew, 90)
        # A shift that came in one moment is another fault: a drift was already under way six hours ago.
        before = (
            np.concatenate([np.full(180, np.nan), now[:-180]])
            if len(now) > 180
            else np.full(len(now), np.nan)
        )
        steady = (np.sign(before) == np.sign(now)) & (np.abs(before) >= STEADY_SHARE * np.abs(now))
        drifts = (np.abs(now) >= DRIFT_K) & steady & (moving.spread(grew, 90) <= 0.6)
        ends = np.abs(now) <= DRIFT_K / 3
        for probe, twin, way in ((one, other, 1.0), (other, one, -1.0)):

            def numbers(
                index: int, now: Floats = now, twin: str = twin, way: float = way
            ) -> dict[str, float | str]:
                return {"other": twin, "day_K": way * float(now[index])}

            yield Votes(probe, "drift", drifts, ends, DAY, numbers)


def unit_votes(site: Site) -> list[Votes]:
    """One for each probe: it would agree with the others of its zone if its numbers were degF, or had been degC."""
    found = []
    for probe in site.probes:
        if probe.id not in site.temperature:
            continue
        names = [name for place in ("air", "surface") for name in site.in_zone(probe.zone, place)]
        others = [site.temperature[name] for name in names if name != probe.id]
        if not others:
            continue
        mine, zone = site.temperature[probe.id], np.median(others, axis=0)
        far = np.abs(mine - zone) >= UNIT_FAR_K
        sent_F = far & (np.abs((mine - 32) / 1.8 - zone) <= UNIT_NEAR_K)
        sent_C = far & (np.abs(mine * 1.8 + 32 - zone) <= UNIT_NEAR_K)
        bins = UNIT_BINS if len(others) > 1 else 4 * UNIT_BINS  # one neighbour may stand so by chance
        for kind, wrong in (("sends_degF", sent_F), ("sends_degC", sent_C)):

            def numbers(index: int, mine: Floats = mine, zone: Floats = zone) -> dict[str, float | str]:
                return {"read_C": float(mine[index]), "zone_C": float(zone[index])}

            found.append(
                Votes(
                    probe.id,
                    kind,
                    held(wrong, bins) & _from_the_beginning(wrong, mine),
                    ~wrong & ~np.isnan(mine),
                    UNIT_BINS,
                    numbers,
                )
            )
    return found


def _from_the_beginning(wrong: Bools, mine: Floats) -> Bools:
    """It stood so nearly always since it was first heard: a panel that is heated passes such a place, and leaves it."""
    known = np.maximum(np.cumsum(~np.isnan(mine)), 1)
    return np.asarray(np.cumsum(wrong) / known >= ALWAYS)
