"""What watch keeps in memory of readings.db: every probe's recent series, kept up with by moving a cursor.

A batch that brings only newer readings is appended; one that brings older ones is merged, so that a late
reading changes what is worked out next exactly as if it had come in time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from collector.reading import UNUSABLE, ProbeFacts, Quality, Quantity, Reading, Suspicion
from collector.store.reader import Batch, Reader
from collector.store.readings_schema import MOVED
from collector.store.runs import Run
from dashboard.correction import Stretch, correct
from dashboard.devices import ProbeLog
from dashboard.doubts import Span, matters, spans, standing, unanswered
from model.history import Samples

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
KEPT_MS = 15 * DAY_MS
"""Fourteen nights for the outlook and a day to spare."""

Key = tuple[str, Quantity]


@dataclass(frozen=True)
class Trace:
    """One series: usable samples for the model, and what the newest reading of all was, usable or not.

    accuracy_K   95 % half-width as the probe's maker states it
    samples      corrected by what was in force at each reading's time
    newest       as it was read, not corrected
    half_width   of each sample, after its correction; None where nothing was corrected
    beyond       where a sample lies past its correction's margin; None where nothing was corrected
    corrections  ids of the logbook's entries that the samples rest on
    doubt        what stands against the probe now; samples in doubt are left out, then and earlier
    """

    probe: str
    interval_s: float
    accuracy_K: float
    samples: Samples
    newest: Reading | None
    half_width: NDArray[np.float64] | None = field(default=None, compare=False)
    beyond: NDArray[np.bool_] | None = field(default=None, compare=False)
    corrections: tuple[str, ...] = ()
    doubt: Suspicion | None = field(default=None, compare=False)

    @classmethod
    def of(
        cls,
        facts: ProbeFacts,
        quantity: Quantity,
        t: NDArray[np.int64],
        value: NDArray[np.float64],
        quality: NDArray[np.int64],
        stretches: Sequence[Stretch] = (),
        doubtful: Sequence[Span] = (),
    ) -> Trace:
        """From a series as the store gives it: t UTC ms, increasing; raw values; quality as flags.

        stretches   the corrections in force from when on
        doubtful    when the probe is, or was, not to be believed
        """
        good = (quality & int(UNUSABLE)) == 0
        for begin, end in doubtful:
            good &= (t < begin) | (t >= end)
        newest = None
        if len(t):
            at = int(t[-1])
            newest = Reading(facts.id, quantity, float(value[-1]), at, at, Quality(int(quality[-1])))
        about = facts.id, facts.interval_s, facts.accuracy_K
        if not any(correction for _, correction in stretches):
            return cls(*about, Samples(t[good], value[good]), newest)
        made = correct(t[good], value[good], stretches, facts.accuracy_K)
        return cls(*about, Samples(t[good], made.value), newest, made.half_width, made.beyond, made.versions)

    def half_width_from(self, start: int) -> float:
        """The widest that a sample from `start` (UTC ms) on, or the one before it, may be off by (95 %)."""
        if self.half_width is None or not len(self.half_width):
            return self.accuracy_K
        first = max(int(np.searchsorted(self.samples.t, start, "right")) - 1, 0)
        return float(np.max(self.half_width[first:]))

    def value_at(self, at: int) -> float | None:
        """The newest usable value by `at` (UTC ms); None if it is older than three intervals."""
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        if not upto or at - int(self.samples.t[upto - 1]) > 3000 * self.interval_s:
            return None
        return float(self.samples.value[upto - 1])

    def last_usable(self, at: int) -> int | None:
        """When the newest usable sample by `at` was taken, UTC ms; None without one."""
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        return int(self.samples.t[upto - 1]) if upto else None

    def unheard(self, at: int) -> bool:
        """Whether it says nothing of `at`: no usable sample for three of its intervals, or the probe is in doubt."""
        last = self.last_usable(at)
        return self.doubt is not None or last is None or at - last > 3000 * self.interval_s

    def beyond_at(self, at: int) -> bool:
        """Whether the newest sample by `at` (UTC ms) lies past its correction's margin."""
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        return self.beyond is not None and upto > 0 and bool(self.beyond[upto - 1])


class Follower:
    """Series by (probe, quantity), from `since` on; refresh() takes in what was committed meanwhile.

    Kept raw: `logs`, by probe, says how they are corrected when a trace is asked for.
    """

    def __init__(self, readings: Path, now: int) -> None:
        self._path = readings
        self._since = now - KEPT_MS
        self._series: dict[Key, _Series] = {}
        self.batch = 0
        self.probes: dict[str, ProbeFacts] = {}
        self.logs: Mapping[str, ProbeLog] = {}
        self.runs: list[Run] = []
        self.suspicions: list[Suspicion] = []
        self._rewritten: dict[str, int] = {}
        self._reloads = 0

    def refresh(self) -> set[str]:
        """Probes that have something new since the last call. Raises NotYet while collect has never run."""
        reader = Reader.open(self._path)
        try:
            self.probes = {probe.id: probe for probe in reader.probes()}
            self.runs = reader.runs()
            self.suspicions = reader.suspicions()
            if not self._series and not self.batch:
                return self._first_load(reader)
            revised = [batch for batch in reader.batches_after(self.batch) if batch.revised]
            if any(batch.revised == MOVED for batch in revised):
                self._series = {}
                return self._first_load(reader)
            touched: set[str] = set()
            while True:
                readings, seq = reader.readings_after(self.batch, 20_000)
                if seq == self.batch:
                    break
                self._take(readings)
                touched.update(reading.probe for reading in readings)
                self.batch = seq
            for batch in revised:
                self._read_again(reader, batch)
            return touched
        finally:
            reader.close()

    def _read_again(self, reader: Reader, span: Batch) -> None:
        """Flags or values between these times are others than when they were taken in."""
        self._reloads += 1
        for (probe, quantity), series in self._series.items():
            start = max(span.t_min, self._since)
            if start <= span.t_max:
                series.replace(start, span.t_max, *reader.samples(probe, quantity, start, span.t_max))

    def _first_load(self, reader: Reader) -> set[str]:
        self.batch = reader.last_batch()
        self._reloads += 1
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
            if self._series.setdefault(key, _Series.empty()).add(group):
                self._rewritten[key[0]] = self._rewritten.get(key[0], 0) + 1

    def trace(self, probe: str | None, quantity: Quantity, beside: bool = False) -> Trace | None:
        """The series of one probe; None if there is no such probe. `beside`: another probe stands for the panel."""
        facts = self.probes.get(probe or "")
        if facts is None:
            return None
        series = self._series.get((facts.id, quantity)) or _Series.empty()
        return self._made(facts, quantity, series, beside)

    def past(
        self, probe: str | None, quantity: Quantity, start: int, end: int, beside: bool = False
    ) -> Trace | None:
        """As trace(), of the times from `start` to `end` (UTC ms) alone, also where those are no longer kept here.

        Read from the store, a day at a time.
        """
        facts = self.probes.get(probe or "")
        if facts is None:
            return None
        reader = Reader.open(self._path)
        try:
            days = range(start, end + 1, DAY_MS)
            parts = [reader.samples(facts.id, quantity, at, min(at + DAY_MS - 1, end)) for at in days]
        finally:
            reader.close()
        t, value, quality = (np.concatenate(column) for column in zip(*parts, strict=True))
        return self._made(facts, quantity, _Series(t, value, quality), beside)

    def version_of(self, probe: str, end: int) -> tuple[object, ...]:
        """Another one whenever readings of a probe up to `end` (UTC ms), or what counts of them, may have changed."""
        heard = self._series.get((probe, Quantity.TEMPERATURE))
        upto = int(heard.t[-1]) if heard is not None and len(heard.t) else 0
        about = [item for item in self.suspicions if item.probe == probe]
        of = self.probes.get(probe), repr(self.logs.get(probe)), repr(about)
        return min(upto, end), self._reloads, self._rewritten.get(probe, 0), *of

    def _made(self, facts: ProbeFacts, quantity: Quantity, series: _Series, beside: bool) -> Trace:
        log = self.logs.get(facts.id)
        stretches = log.stretches(quantity) if log else ()
        said = log.put_right if log else ()
        mine = matters(self.suspicions, facts.id, quantity, beside)
        made = Trace.of(facts, quantity, series.t, series.value, series.quality, stretches, spans(mine, said))
        return replace(made, doubt=standing(mine, said))

    def doubts(self, probe: str) -> list[Suspicion]:
        """Everything that stands against a probe and that nobody has seen to."""
        log = self.logs.get(probe)
        return unanswered(self.suspicions, probe, log.put_right if log else ())

    def unusable(self, probe: str, at: int) -> Reading | None:
        """The newest temperature of a probe that speaks, but said nothing usable for three intervals."""
        facts, series = self.probes.get(probe), self._series.get((probe, Quantity.TEMPERATURE))
        if facts is None or series is None or not len(series.t):
            return None
        patience = 3000 * facts.interval_s
        good = series.t[(series.quality & int(UNUSABLE)) == 0]
        last = int(series.t[-1])
        if (
            at - last > patience
            or (len(good) and last - int(good[-1]) <= patience)
            or last == int(series.t[0])
        ):
            return None
        return Reading(
            probe, Quantity.TEMPERATURE, float(series.value[-1]), last, last, Quality(int(series.quality[-1]))
        )

    def silent(self, probe: str | None, quantity: Quantity, at: int) -> bool:
        """True once three intervals of a probe there is have gone by without any reading, usable or not."""
        facts, series = self.probes.get(probe or ""), self._series.get((probe or "", quantity))
        if facts is None:
            return False
        return series is None or not len(series.t) or at - int(series.t[-1]) > 3000 * facts.interval_s

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

    def add(self, readings: list[Reading]) -> bool:
        """True if some are no newer than what was there."""
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
        return late

    def replace(
        self,
        start: int,
        end: int,
        t: NDArray[np.int64],
        value: NDArray[np.float64],
        quality: NDArray[np.int64],
    ) -> None:
        first, last = np.searchsorted(self.t, start), np.searchsorted(self.t, end, "right")
        self.t = np.concatenate([self.t[:first], t, self.t[last:]])
        self.value = np.concatenate([self.value[:first], value, self.value[last:]])
        self.quality = np.concatenate([self.quality[:first], quality, self.quality[last:]])

    def drop_before(self, since: int) -> None:
        first = int(np.searchsorted(self.t, since))
        if first:
            self.t, self.value, self.quality = self.t[first:], self.value[first:], self.quality[first:]
