"""Readings laid on one grid of two minutes, so that probes can be compared moment by moment.

A bin holds the mean of the usable readings in it, NaN if there was none. Sums are kept, so readings may come in
any order: the same set of readings gives the same grid.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.reading import ProbeFacts, Quantity

Floats = NDArray[np.float64]

BIN_MS = 120_000
AN_HOUR = 30
"""Bins."""
BRIDGED = 5
"""Bins: over a gap as short as this a straight line is drawn."""


class Sums:
    """Sum and count of the usable readings of one series, by bin number (UTC ms // BIN_MS).

    Each hour that has readings is held in two plain arrays: a hall has hundreds of series of fifty hours each, and as
    objects their numbers would take ten times the room.
    """

    def __init__(self) -> None:
        self._hours: dict[int, tuple[array[float], array[int]]] = {}

    def add(self, at: int, value: float) -> None:
        self._add(at // BIN_MS, value, 1)

    def add_all(self, at: NDArray[np.int64], value: Floats) -> None:
        """Many at once, each bin's in their order."""
        bins, place = np.unique(at // BIN_MS, return_inverse=True)
        totals, counts = np.bincount(place, value), np.bincount(place)
        for bin_, total, count in zip(bins.tolist(), totals.tolist(), counts.tolist(), strict=True):
            self._add(bin_, total, count)

    def _add(self, bin_: int, total: float, count: int) -> None:
        hour, place = divmod(bin_, AN_HOUR)
        if hour not in self._hours:
            self._hours[hour] = array("d", bytes(8 * AN_HOUR)), array("q", bytes(8 * AN_HOUR))
        totals, counts = self._hours[hour]
        totals[place] += total
        counts[place] += count

    def drop_before(self, bin_: int) -> None:
        """Hours that end before it; of one that holds it, all is kept."""
        for old in [hour for hour in self._hours if (hour + 1) * AN_HOUR <= bin_]:
            del self._hours[old]

    def means(self, first: int, last: int) -> Floats:
        """Bins first..last, both in."""
        totals, counts = self._between(first, last)
        known = counts > 0
        totals[~known] = np.nan
        totals[known] /= counts[known]
        return totals

    def counts(self, first: int, last: int) -> NDArray[np.int64]:
        """How many readings there were in bins first..last, both in."""
        return self._between(first, last)[1]

    def _between(self, first: int, last: int) -> tuple[Floats, NDArray[np.int64]]:
        totals, counts = np.zeros(last - first + 1), np.zeros(last - first + 1, dtype=np.int64)
        for hour, (total, count) in self._hours.items():
            start = hour * AN_HOUR
            low, high = max(first, start), min(last + 1, start + AN_HOUR)
            if low < high:
                totals[low - first : high - first] = total[low - start : high - start]
                counts[low - first : high - first] = count[low - start : high - start]
        return totals, counts


@dataclass(frozen=True)
class Site:
    """All probes of a site over the same bins: `first` is the number of the first; every array has one length.

    temperature, humidity   by probe id: degC, %; NaN where nothing usable came
    hour                    local hour of the day of each bin
    """

    first: int
    probes: tuple[ProbeFacts, ...]
    temperature: dict[str, Floats]
    humidity: dict[str, Floats]
    hour: Floats

    def at(self, index: int) -> int:
        """UTC ms at which that bin ends."""
        return (self.first + index + 1) * BIN_MS

    def last(self, bins: int) -> Site:
        """The same site over its last bins only."""
        drop = max(0, len(self.hour) - bins)
        return Site(
            self.first + drop,
            self.probes,
            {name: value[drop:] for name, value in self.temperature.items()},
            {name: value[drop:] for name, value in self.humidity.items()},
            self.hour[drop:],
        )

    def in_zone(self, zone: str, place: str) -> list[str]:
        """Ids of the probes there that told a temperature."""
        return [p.id for p in self.probes if p.zone == zone and p.place == place and p.id in self.temperature]

    def facts(self, probe: str) -> ProbeFacts:
        return next(p for p in self.probes if p.id == probe)


def bridged(value: Floats) -> Floats:
    """The same with short gaps drawn over; long ones, and the ends, stay NaN."""
    known = np.flatnonzero(~np.isnan(value))
    if len(known) < 2:
        return value
    out = np.interp(np.arange(len(value)), known, value[known], left=np.nan, right=np.nan)
    before = known[np.clip(np.searchsorted(known, np.arange(len(value)), "right") - 1, 0, None)]
    after = known[np.clip(np.searchsorted(known, np.arange(len(value)), "left"), None, len(known) - 1)]
    out[after - before > BRIDGED] = np.nan
    out[known] = value[known]
    return out


SERIES = (Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY)
"""What is compared."""
