"""What watch keeps in memory of readings.db: every probe's recent series, kept up with by moving a cursor.

A batch that brings only newer readings is appended; one that brings older ones is merged, so that a late
reading changes what is worked out next exactly as if it had come in time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from collector.reading import UNUSABLE, ProbeFacts, Quality, Quantity, Reading
from collector.store.reader import Reader
from model.history import Samples

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
KEPT_MS = 15 * DAY_MS
"""Fourteen nights for the outlook and a day to spare."""

Key = tuple[str, Quantity]


@dataclass(frozen=True)
class Trace:
    """One series: usable samples for the model, and what the newest reading of all was, usable or not."""

    probe: str
    interval_s: float
    accuracy_K: float
    samples: Samples
    newest: Reading | None

    @classmethod
    def of(
        cls,
        facts: ProbeFacts,
        quantity: Quantity,
        t: NDArray[np.int64],
        value: NDArray[np.float64],
        quality: NDArray[np.int64],
    ) -> Trace:
        """From a series as the store gives it: t UTC ms, increasing; quality as flags."""
        good = (quality & int(UNUSABLE)) == 0
        newest = None
        if len(t):
            at = int(t[-1])
            newest = Reading(facts.id, quantity, float(value[-1]), at, at, Quality(int(quality[-1])))
        return cls(facts.id, facts.interval_s, facts.accuracy_K, Samples(t[good], value[good]), newest)

    def value_at(self, at: int) -> float | None:
        """The newest usable value by `at` (UTC ms); None if it is older than three intervals."""
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        if not upto or at - int(self.samples.t[upto - 1]) > 3000 * self.interval_s:
            return None
        return float(self.samples.value[upto - 1])

    def silent_at(self, now: int) -> bool:
        """True once three of the probe's intervals have gone by without any reading."""
        heard = self.newest.at if self.newest else None
        return heard is None or now - heard > 3000 * self.interval_s


class Follower:
    """Series by (probe, quantity), from `since` on; refresh() takes in what was committed meanwhile."""

    def __init__(self, readings: Path, now: int) -> None:
        self._path = readings
        self._since = now - KEPT_MS
        self._series: dict[Key, _Series] = {}
        self.batch = 0
        self.probes: dict[str, ProbeFacts] = {}

    def refresh(self) -> set[str]:
        """Probes that have something new since the last call. Raises NotYet while collect has never run."""
        reader = Reader.open(self._path)
        try:
            self.probes = {probe.id: probe for probe in reader.probes()}
            if not self._series and not self.batch:
                return self._first_load(reader)
            touched: set[str] = set()
            while True:
                readings, seq = reader.readings_after(self.batch, 20_000)
                if seq == self.batch:
                    return touched
                self._take(readings)
                touched.update(reading.probe for reading in readings)
                self.batch = seq
        finally:
            reader.close()

    def _first_load(self, reader: Reader) -> set[str]:
        self.batch = reader.last_batch()
        for probe in self.probes:
            for quantity in Quantity:
                t, value, quality = reader.samples(probe, quantity, self._since, 2**62)
                if len(t):
                    self._series[probe, quantity] = _Series(t, value, quality)
        return {probe for probe, _ in self._series}

    def _take(self, readings: Iterable[Reading]) -> None:
        grouped: dict[Key, list[Reading]] = {}
        for reading in readings:
            if reading.at >= self._since:
                grouped.setdefault((reading.probe, reading.quantity), []).append(reading)
        for key, group in grouped.items():
            self._series.setdefault(key, _Series.empty()).add(group)

    def trace(self, probe: str | None, quantity: Quantity) -> Trace | None:
        """The series of one probe; None if there is no such probe."""
        facts = self.probes.get(probe or "")
        if facts is None:
            return None
        series = self._series.get((facts.id, quantity)) or _Series.empty()
        return Trace.of(facts, quantity, series.t, series.value, series.quality)

    def heard(self, probe: str) -> int | None:
        """UTC ms of the probe's newest reading of any quantity, usable or not; None if it was never heard."""
        times = [
            int(series.t[-1]) for (name, _), series in self._series.items() if name == probe and len(series.t)
        ]
        return max(times, default=None)

    def keep(self, now: int, oldest: int | None) -> None:
        """Drops what neither the outlook nor a coat mixed at `oldest` (UTC ms) needs; reads again what it dropped."""
        since = now - KEPT_MS if oldest is None else min(now - KEPT_MS, oldest - HOUR_MS)
        if since < self._since - HOUR_MS:
            self._series, self.batch = {}, 0
        self._since = since
        for series in self._series.values():
            series.drop_before(self._since)


@dataclass
class _Series:
    t: NDArray[np.int64]
    value: NDArray[np.float64]
    quality: NDArray[np.int64]

    @classmethod
    def empty(cls) -> _Series:
        return cls(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int64))

    def add(self, readings: list[Reading]) -> None:
        t = np.array([reading.at for reading in readings], np.int64)
        value = np.array([reading.value for reading in readings])
        quality = np.array([int(reading.quality) for reading in readings], np.int64)
        late = len(self.t) > 0 and int(t.min()) <= int(self.t[-1])
        self.t, self.value, self.quality = (
            np.concatenate([self.t, t]),
            np.concatenate([self.value, value]),
            np.concatenate([self.quality, quality]),
        )
        if late or len(t) > 1:
            # The store keeps one row for a time, so equal times mean the same row: keep the first.
            self.t, first = np.unique(self.t, return_index=True)
            self.value, self.quality = self.value[first], self.quality[first]

    def drop_before(self, since: int) -> None:
        first = int(np.searchsorted(self.t, since))
        if first:
            self.t, self.value, self.quality = self.t[first:], self.value[first:], self.quality[first:]
