"""Humidity stuck at its wet end: it went up as no air does, or it stays there while the air grows warmer.

Air that is truly saturated reads 97 to 100 % for hours; that is a state of the air. It is the probe if the water in
the air seems to have grown by a tenth within minutes and then stays at the end without moving; if warming by
3 K, which dries any air, does not move it; or if it has not come down in a day of changing warmth.
What cannot be told: a sensor that sticks while the air is saturated, until the air grows warmer.
"""

from __future__ import annotations

import numpy as np

from collector.suspicion import moving
from collector.suspicion.finding import Bools, Votes
from collector.suspicion.grid import Floats, Site

WET, DRY = 96.5, 95.0
BEFORE_WET = 92.0
GREW = 1.08
FLAT = 0.5
COOLED_K = 1.5
WARMER_K = 3.0
DAY_BINS, DAY_RANGE_K = 700, 6.0
HELD, RISE = 12, 12
WINDOW = 30


def votes(site: Site) -> list[Votes]:
    """One for each probe that tells humidity and temperature."""
    found = []
    for probe, humidity in sorted(site.humidity.items()):
        if probe not in site.temperature:
            continue
        warmth = site.temperature[probe]
        stuck = _leapt(humidity, warmth) | _unmoved_by_warmth(humidity, warmth) | _all_day(humidity, warmth)

        def numbers(index: int, humidity: Floats = humidity) -> dict[str, float | str]:
            return {"read_pc": float(np.nanmean(humidity[max(0, index - HELD) : index + 1]))}

        found.append(Votes(probe, "wet_end", stuck, humidity < DRY, WINDOW, numbers))
    return found


def saturation_Pa(temperature_C: Floats) -> Floats:
    """Over water: Bolton (1980), Monthly Weather Review 108, eq. 10."""
    return np.asarray(611.2 * np.exp(17.67 * temperature_C / (temperature_C + 243.5)))


def _leapt(humidity: Floats, warmth: Floats) -> Bools:
    """More water in the air within half an hour than any air takes up, and then no movement at the end."""
    water = humidity * saturation_Pa(warmth)
    grew = moving.mean(water, 3) / moving.mean(water, 4, HELD + RISE) >= GREW
    was_dry = moving.mean(humidity, 4, HELD + RISE) <= BEFORE_WET
    at_end = moving.lowest(humidity, HELD) >= 97.0
    at_end &= moving.mean(warmth, 4, HELD + RISE) - moving.lowest(warmth, HELD) <= COOLED_K  # no cold gust
    return grew & was_dry & at_end & (moving.spread(humidity, HELD) <= FLAT)


def _unmoved_by_warmth(humidity: Floats, warmth: Floats) -> Bools:
    """At the end for two hours, in which it became warmer by that much."""
    at_end = moving.lowest(humidity, 60) >= WET
    return at_end & (moving.mean(warmth, 3) - moving.lowest(warmth, 60) >= WARMER_K)


def _all_day(humidity: Floats, warmth: Floats) -> Bools:
    at_end = moving.lowest(humidity, DAY_BINS) >= WET
    return at_end & (moving.highest(warmth, DAY_BINS) - moving.lowest(warmth, DAY_BINS) >= DAY_RANGE_K)
