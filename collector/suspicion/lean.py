"""A lean: the readings begin to speak against a probe, too weakly to ring, and an answer built on it may be wrong.

It makes the panel's answer "not known", and nothing more. A panel's probe leans when its course has grown rough:
air trembles, a laminate smooths that away. Rougher than it used to be, and rougher against its air than it used to be,
while it lies near that air and keeps its distance: its tape may be off. Rougher than its air, and the air calmer than
it used to be, while the two stand apart by what matters: the two may be exchanged. Small differences that no alarm
could rest on are enough, so it comes while nothing is spoilt yet, or soon after.
Humidity leans when it leapt to its wet end by less than an alarm asks for, or warmth has not moved it a little.
What cannot be told: a thin skin trembles as its air does. Where air and panel are so still that only the noise of the
readings is left, a lean may come by chance.
"""

from __future__ import annotations

import numpy as np

from collector.suspicion import moving, wet
from collector.suspicion.finding import Bools, Votes, held, usual
from collector.suspicion.grid import Floats, Site
from collector.suspicion.loose import SLOW_S
from collector.suspicion.rough import CALM_FOR, as_it_used, tremble

FIRST = 90
"""Bins: nothing is said in a probe's first three hours."""
LOOSE_BINS, LOOSE_FOR = 20, 6
ROUGHER, ROUGHER_TO_AIR, LIKE_AIR = 1.7, 1.8, 0.8
"""Than it used to be; against its air than it used to be; and at least so rough against its air."""
NEAR_K, STEADY_BINS, STEADY_K = 1.0, 12, 0.1
NOT_NOISE = 1.6
"""So much more than the noise of its readings makes by itself: half as much again as a mean's, in variance."""
CHANGED_BINS, CHANGED_FOR = 30, 2
THAN_AIR, CALMER = 2.2, 1.2
CARRIED_K = 1.5
"""What moves more within the hour may be a thin skin that was carried in: its long bend is no tremble."""
MATTERS_K = 0.75
"""Probe and air must stand apart by so much before it matters which is which."""
GREW, BEFORE_WET, AT_END, FLAT, END_BINS = 1.05, 94.0, 97.5, 0.3, 10
WARMER_K, WARMED_BINS = 1.0, 15
"""As in wet, and less of it."""


def votes(site: Site, noise: dict[str, float]) -> list[Votes]:
    """One for each surface probe that has air to be compared with, one for each probe of humidity.

    noise: variance of one bin's mean, K², by probe
    """
    found = [_humidity(probe, site) for probe in sorted(site.humidity) if probe in site.temperature]
    for zone in sorted({probe.zone for probe in site.probes}):
        airs = [p for p in site.in_zone(zone, "air") if site.facts(p).interval_s <= SLOW_S]
        for probe in site.in_zone(zone, "surface"):
            if airs and site.facts(probe).interval_s <= SLOW_S:
                beside = [site.temperature[p] for p in airs]
                found.append(_surface(probe, site.temperature[probe], beside, noise[probe]))
    return found


def _surface(probe: str, surface: Floats, airs: list[Floats], noise: float) -> Votes:
    air = np.mean(airs, axis=0)
    speaks_for = loose(surface, air) | np.any([changed_places(surface, one) for one in airs], axis=0)
    speaks_for &= tremble(surface, LOOSE_BINS) > NOT_NOISE * np.sqrt(1.5 * noise)
    speaks_for[:FIRST] = False
    return Votes(
        probe, "unsure", speaks_for, as_it_used(surface, air) & ~speaks_for, LOOSE_BINS, lambda index: {}
    )


def loose(surface: Floats, air: Floats) -> Bools:
    """It trembles as air does, which it did not use to, close to its air and at one distance from it."""
    mine, theirs = tremble(surface, LOOSE_BINS), tremble(air, LOOSE_BINS)
    to_air, since = mine / theirs, 30 + LOOSE_BINS // 2
    rough = (mine > ROUGHER * usual(mine, 0.8, least=6, since=since)) & (to_air > LIKE_AIR)
    rough &= to_air > ROUGHER_TO_AIR * usual(to_air, 0.8, least=6, since=since)
    apart = surface - air
    beside = (np.abs(apart) < NEAR_K) & (moving.spread(apart, STEADY_BINS) < STEADY_K)
    return held(rough & beside, LOOSE_FOR)


def changed_places(surface: Floats, air: Floats) -> Bools:
    """The probe is rougher than its air and than it was, the air is calmer than it was; and the two stand apart."""
    mine, theirs = tremble(surface, CHANGED_BINS), tremble(air, CHANGED_BINS)
    since = 30 + CHANGED_BINS // 2
    rough = (mine > THAN_AIR * theirs) & (mine > usual(mine, 0.8, least=6, since=since))
    rough &= theirs * CALMER < usual(theirs, 0.5, least=6, since=since)
    rough &= moving.spread(surface, CHANGED_BINS) < CARRIED_K
    since_then = latched(held(rough, CHANGED_FOR), held(mine < theirs, CALM_FOR))
    return since_then & (np.abs(surface - air) > MATTERS_K)


def latched(on: Bools, off: Bools) -> Bools:
    """From each bin that says on to the next that says off, or to the end."""
    index = np.arange(len(on))
    last_on = np.maximum.accumulate(np.where(on, index, -1))
    last_off = np.maximum.accumulate(np.where(off & ~on, index, -1))
    return np.asarray(last_on > last_off)


def _humidity(probe: str, site: Site) -> Votes:
    humidity, warmth = site.humidity[probe], site.temperature[probe]
    stuck = leapt(humidity, warmth) | hardly_moved(humidity, warmth)
    return Votes(probe, "unsure_humidity", stuck, humidity < wet.DRY, wet.WINDOW, lambda index: {})


def leapt(humidity: Floats, warmth: Floats) -> Bools:
    """More water within half an hour than air usually takes up, and then no movement at the end."""
    water, n = humidity * wet.saturation_Pa(warmth), wet.HELD + wet.RISE
    grew = moving.mean(water, 3) / moving.mean(water, 4, n) >= GREW
    was_dry = moving.mean(humidity, 4, n) < BEFORE_WET
    at_end = (moving.lowest(humidity, END_BINS) >= AT_END) & (moving.spread(humidity, END_BINS) < FLAT)
    return np.asarray(grew & was_dry & at_end)


def hardly_moved(humidity: Floats, warmth: Floats) -> Bools:
    """At the end for half an hour, in which it became warmer."""
    at_end = moving.lowest(humidity, WARMED_BINS) >= wet.WET
    return at_end & (moving.mean(warmth, 3) - moving.lowest(warmth, WARMED_BINS) >= WARMER_K)
