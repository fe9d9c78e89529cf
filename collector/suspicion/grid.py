"""Readings laid on one grid of two minutes, so that probes can be compared moment by moment.

A bin holds the mean of the usable readings in it, NaN if there was none. Sums are kept, so readings may come in
any order: the same set of readings gives the same grid.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from collector.reading import ProbeFacts, Quantity

Floats = NDArray[np.float64]

BIN_MS = 120_000
BRIDGED = 5
"""Bins: over a gap as short as this a straight line is drawn."""


@dataclass
class Sums:
    """Sum and count of the usable readings of one series, by bin number (UTC ms // BIN_MS)."""

    total: dict[int, float] = field(default_factory=dict)
    count: dict[int, int] = field(default_factory=dict)

    def add(self, at: int, value: float) -> None:
        bin_ = at // BIN_MS
        self.total[bin_] = self.total.get(bin_, 0.0) + value
        self.count[bin_] = self.count.get(bin_, 0) + 1

    def add_all(self, at: NDArray[np.int64], value: Floats) -> None:
        """Many at once, each bin's in their order."""
        bins, place = np.unique(at // BIN_MS, return_inverse=True)
        totals, counts = np.bincount(place, value), np.bincount(place)
        for bin_, total, count in zip(bins.tolist(), totals.tolist(), counts.tolist(), strict=True):
            self.total[bin_] = self.total.get(bin_, 0.0) + total
            self.count[bin_] = self.count.get(bin_, 0) + count

    def drop_before(self, bin_: int) -> None:
        for old in [key for key in self.count if key < bin_]:
            del self.total[old], self.count[old]

    def means(self, first: int, last: int) -> Floats:
        """Bins first..last, both in."""
        out = np.full(last - first + 1, np.nan)
        for bin_, count in self.count.items():
            if first <= bin_ <= last:
                out[bin_ - first] = self.total[bin_] / count
        return out


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
