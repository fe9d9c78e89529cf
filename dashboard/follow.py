"""What is kept in memory of the readings: of every probe the last hours, and a log of the days before, kept up with by
moving a cursor.

A batch that brings only newer readings is appended; one that brings older ones is merged, so that a late
reading changes what is worked out next exactly as if it had come in time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

import numpy as np

from collector.reading import UNUSABLE, ProbeFacts, Quality, Quantity, Reading, Suspicion, silent_after_ms
from collector.store.reader import Batch
from collector.store.readings_schema import MOVED
from collector.store.reads import Reads, Where, open_store, unsure_of
from collector.store.runs import Run, Unsure
from collector.store.site_state import SiteState
from dashboard.devices import ProbeLog
from dashboard.doubts import matters, spans, standing, unanswered
from dashboard.kept_series import KEPT_MS, THIN_MS, KeptSeries, Log, Read, slot
from dashboard.probe_trace import Trace as Trace
from dashboard.slices import MOST_ROWS, Slices

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
TAIL_MS = 6 * HOUR_MS
"""Readings as they were read are kept for so long, longer only where an open panel asks for it."""

AT_ONCE_MS = HOUR_MS
"""So much is read at once after a start: an hour of a thousand probes every ten seconds takes less than a second."""

PIECE_MS = 6 * HOUR_MS
"""One series is read in pieces: the store looks at all readings of that time, and cuts off what takes a second."""
STRIDES_H = (24, 12, 6, 3, 2, 1)
AROUND_H = 3

MOST_LATE = 256
"""Changes of older readings that are told apart, of each series."""

Key = tuple[str, Quantity]
NONE: Read = np.empty(0, np.int64), np.empty(0), np.empty(0, np.int64)


class Follower:
    """Series by (probe, quantity); refresh() takes in what was committed meanwhile.

    Kept raw: `logs`, by probe, says how they are corrected when a trace is asked for.
    turned   called while much is read at once
    """

    def __init__(self, readings: Where, now: int, turned: Callable[[], None] = lambda: None) -> None:
        self._readings = readings
        self._now = now
        self._turned = turned
        self._series: dict[Key, KeptSeries] = {}
        self._made: dict[tuple[str, Quantity, bool], tuple[object, Trace]] = {}
        self._late: dict[Key, list[tuple[int, int]]] = {}
        self._changes: dict[str, int] = {}
        self._needed: Mapping[str, int] = {}
        self._reloads = 0
        self._begins = True
        self._owed: list[Batch] = []
        self.slices = Slices()
        self.batch = 0
        self.probes: dict[str, ProbeFacts] = {}
        self.logs: Mapping[str, ProbeLog] = {}
        self.clocks: Mapping[str, list[Run]] = {}
        self.sites: list[SiteState] = []
        self.site_of: Mapping[str, str] = {}
        self.seqs: Mapping[str, int] = {}
        self.suspicions: list[Suspicion] = []

    def refresh(self) -> set[str]:
        """Probes that have something new since the last call. Raises NotYet while collect has never run."""
        reader = open_store(self._readings)
        try:
            self.probes = {probe.id: probe for probe in reader.probes()}
            self.clocks, self.sites = reader.clocks(), reader.sites()
            # A site of which nothing is believed just now has no probes: whose they were is remembered.
            self.site_of = {**self.site_of, **{probe: reader.site_of(probe) for probe in self.probes}}
            self.suspicions = reader.suspicions()
            touched = self._first_load(reader) if self._begins else self._next(reader)
            self.seqs = reader.seqs(self.batch)
            return touched
        finally:
            reader.close()

    def _next(self, reader: Reads) -> set[str]:
        """What was committed since. If the store cannot be read half-way, what is owed is taken in the next time."""
        touched: set[str] = set()
        while True:
            readings, seq = reader.readings_after(self.batch, 20_000)
            # Asked for afterwards: what was revised meanwhile may be among those readings.
            revised = [batch for batch in reader.batches_after(self.batch) if batch.revised]
            if any(batch.revised == MOVED for batch in revised):
                self._begins = True
                return self._first_load(reader)
            if seq == self.batch:
                break
            self._owed += (owed := [batch for batch in revised if batch.seq <= seq])
            taken = [one for one in readings if not self._is_owed(one, owed)] if owed else readings
            self._take(taken)
            touched.update(reading.probe for reading in taken)
            self.batch = seq
        while self._owed:
            touched |= self._read_again(reader, self._owed[0])
            del self._owed[0]
        return touched

    def _is_owed(self, reading: Reading, owed: list[Batch]) -> bool:
        """Whether it is read again at once: most of a span that was revised is what it was, and no news."""
        known = (reading.probe, reading.quantity) in self._series
        return known and any(batch.t_min <= reading.at <= batch.t_max for batch in owed)

    def seqs_of(self, probes: Iterable[str]) -> dict[str, int]:
        """What `batch` means for the sites of those probes; empty in a house of one."""
        sites = {self.site_of.get(probe, "") for probe in probes}
        return {site: seq for site, seq in self.seqs.items() if site in sites}

    def site_state(self, probe: str | None) -> SiteState | None:
        """How that probe's site stands; None in a house of one."""
        name = self.site_of.get(probe or "")
        return next((site for site in self.sites if site.name == name), None)

    def unsure(self, probes: Iterable[str]) -> tuple[Unsure, ...]:
        """The stretches whose place in time is not known exactly, by the clocks that those probes go by."""
        return unsure_of(self.clocks, {self.site_of.get(probe, "") for probe in probes})

    def _read_again(self, reader: Reads, span: Batch) -> set[str]:
        """Flags or values between these times are others than when they were taken in; returns the probes whose are."""
        self._reloads += 1
        self.slices.forget(span.t_min)
        oldest = slot(self._now - KEPT_MS)
        start, end = max(slot(span.t_min), oldest), slot(span.t_max) + THIN_MS - 1
        others: set[Key] = set()
        for begin in range(start, end + 1, AT_ONCE_MS):
            stop = min(begin + AT_ONCE_MS - 1, end)
            read = reader.every(begin, stop)
            others |= {
                key for key, of in self._series.items() if of.replace(begin, stop, read.get(key, NONE))
            }
        for key in self._series:
            if key in others:
                self._changed(key, start)
            if span.t_min < oldest:
                self._changed(key, span.t_min)
        return {probe for probe, _ in (self._series if span.t_min < oldest else others)}

    def _first_load(self, reader: Reads) -> set[str]:
        """All series a few hours at a time: of what is older than they are kept only the log stays."""
        self._series = {}
        self.batch = reader.last_batch()
        self._reloads += 1
        self.slices.forget()
        oldest = slot(self._now - KEPT_MS)
        start = min([oldest, *self._needed.values()])
        while start <= self._now + DAY_MS:
            self._extend(reader.every(start, start + AT_ONCE_MS - 1), slot(start), start + AT_ONCE_MS)
            start += AT_ONCE_MS
        self._extend(reader.every(start, 2**62), slot(start), start)
        for probe in self.probes:
            for quantity in Quantity:
                self._load_last(reader, (probe, quantity))
        for key in self._series:
            self._changed(key, 0)
        self._owed.clear()
        self._begins = not self._series and not self.batch
        return {probe for probe, _ in self._series}

    def _extend(self, read: Mapping[Key, Read], start: int, end: int) -> None:
        oldest = slot(self._now - KEPT_MS)
        for key, more in read.items():
            series = self._series.setdefault(key, KeptSeries.empty(start))
            series.extend(more)
            series.drop_before(min(self._since(key[0]), end), oldest)
        self._turned()

    def _load_last(self, reader: Reads, key: Key) -> None:
        """Of a probe that fell silent before all that was looked at."""
        if key in self._series:
            return
        last = reader.latest(*key)
        if last is not None:
            start = slot(last.at - TAIL_MS)
            self._series[key] = KeptSeries.empty(start)
            self._series[key].extend(reader.samples(*key, start, last.at))

    def _take(self, readings: list[Reading]) -> None:
        grouped: dict[Key, list[Reading]] = {}
        for reading in readings:
            grouped.setdefault((reading.probe, reading.quantity), []).append(reading)
        oldest = slot(self._now - KEPT_MS)
        if grouped:
            self.slices.forget(min(reading.at for reading in readings))
        for key, group in grouped.items():
            kept = [reading for reading in group if reading.at >= oldest]
            if len(kept) < len(group):
                self._changed(key, min(reading.at for reading in group))
            if kept:
                since = min(self._since(key[0]), *(reading.at for reading in kept))
                series = self._series.setdefault(key, KeptSeries.empty(since))
                self._changed(key, series.add(kept))

    def _changed(self, key: Key, earliest: int | None) -> None:
        """Something came; earliest: UTC ms, if it is no newer than what was there."""
        number = self._changes[key[0]] = self._changes.get(key[0], 0) + 1
        if earliest is not None:
            late = self._late.setdefault(key, [])
            late.append((number, earliest))
            # None is forgotten: those of long ago count as one, of the earliest time.
            if len(late) > MOST_LATE:
                old = late[: MOST_LATE // 2]
                late[: len(old)] = [(old[-1][0], min(at for _, at in old))]

    def _late_by(self, key: Key, until: int) -> int:
        """Number of the last change up to that time, UTC ms; 0 if everything came in its turn."""
        return next((number for number, at in reversed(self._late.get(key, ())) if at <= until), 0)

    def trace(self, probe: str | None, quantity: Quantity, beside: bool = False) -> Trace | None:
        """The series of one probe; None if there is no such probe. `beside`: another probe stands for the panel."""
        facts = self.probes.get(probe or "")
        if facts is None:
            return None
        series = self._series.get((facts.id, quantity)) or KeptSeries.empty(self._since(facts.id))
        log = self.logs.get(facts.id)
        mine = matters(self.suspicions, facts.id, quantity, beside)
        mark = facts, self._changes.get(facts.id, 0), series.since, len(series.log[0]), log, mine
        made = self._made.get((facts.id, quantity, beside))
        if made is None or made[0] != mark:
            made = (
                mark,
                self._trace(facts, quantity, (series.t, series.value, series.quality), beside, series.log),
            )
            self._made[facts.id, quantity, beside] = made
        return made[1]

    def past(
        self,
        probe: str | None,
        quantity: Quantity,
        start: int,
        end: int,
        beside: bool = False,
        shared: bool = False,
    ) -> Trace | None:
        """As trace(), of the times from `start` to `end` (UTC ms) alone, also where those are no longer kept here.

        Read from the store, a few hours at a time; shared: other panels go through the same hours.
        """
        facts = self.probes.get(probe or "")
        if facts is None:
            return None
        reader = open_store(self._readings)
        try:
            if shared:
                parts = [self.slices.read(reader, (facts.id, quantity), start, end)]
            else:
                pieces = range(start, end + 1, PIECE_MS)
                parts = [reader.samples(facts.id, quantity, at, min(at + PIECE_MS - 1, end)) for at in pieces]
        finally:
            reader.close()
        t, value, quality = (np.concatenate(column) for column in zip(*parts, strict=True))
        return self._trace(facts, quantity, (t, value, quality), beside, None)

    def version_of(self, probe: str, end: int) -> tuple[object, ...]:
        """Another one whenever readings of a probe up to `end` (UTC ms), or what counts of them, may have changed."""
        series = self._series.get((probe, Quantity.TEMPERATURE))
        heard = None if series is None else series.heard
        late = self._late_by((probe, Quantity.TEMPERATURE), end)
        about = [item for item in self.suspicions if item.probe == probe]
        of = self.probes.get(probe), repr(self.logs.get(probe)), repr(about)
        return min(heard or 0, end), self._reloads, late, *of

    def mark(self, probe: str | None, quantity: Quantity, beside: bool, until: int) -> tuple[object, ...]:
        """Another one whenever a trace up to `until` (UTC ms) is another; `until` no older than what is kept."""
        facts, series = self.probes.get(probe or ""), self._series.get((probe or "", quantity))
        if facts is None:
            return (probe, quantity, beside)
        log = self.logs.get(facts.id)
        stretches = log.stretches(quantity) if log else ()
        mine = matters(self.suspicions, facts.id, quantity, beside)
        doubts = spans(mine, log.put_right if log else ())
        return (
            facts,
            quantity,
            beside,
            None if series is None else series.heard_by(until),
            self._late_by((facts.id, quantity), until),
            tuple(item for item in stretches if item[0] <= until),
            tuple((begin, min(end, until)) for begin, end in doubts if begin <= until),
        )

    def steady(self, probe: str | None, quantity: Quantity, beside: bool) -> tuple[object, ...]:
        """Another one whenever a trace is another for any reason but a newer reading that came in its turn."""
        facts, late = self.probes.get(probe or ""), self._late.get((probe or "", quantity))
        log = self.logs.get(probe or "")
        mine = matters(self.suspicions, probe or "", quantity, beside)
        return facts, late[-1] if late else None, log, mine

    def stride_ms(self) -> int:
        """So much time of all series, and what lies around it, can be kept as slices."""
        intervals = [self.probes[probe].interval_s for probe, _ in self._series if probe in self.probes]
        rows_an_hour = sum(HOUR_MS / 1000 / interval for interval in intervals)
        hours = (MOST_ROWS / max(rows_an_hour, 1.0)) - AROUND_H
        return next((stride for stride in STRIDES_H if stride <= hours), STRIDES_H[-1]) * HOUR_MS

    def holds(self, probe: str, since: int) -> bool:
        """Whether its readings from then on (UTC ms) are kept as they were read."""
        return all(series.since <= since for (name, _), series in self._series.items() if name == probe)

    def _trace(
        self, facts: ProbeFacts, quantity: Quantity, read: Read, beside: bool, kept: Log | None
    ) -> Trace:
        log = self.logs.get(facts.id)
        stretches = log.stretches(quantity) if log else ()
        said = log.put_right if log else ()
        mine = matters(self.suspicions, facts.id, quantity, beside)
        made = Trace.of(facts, quantity, *read, stretches, spans(mine, said), kept)
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
        patience = silent_after_ms(facts.interval_s)
        good = series.t[(series.quality & int(UNUSABLE)) == 0]
        last = int(series.t[-1])
        if (
            at - last > patience
            or (len(good) and last - int(good[-1]) <= patience)
            or (last == int(series.t[0]) and not len(series.log[0]))
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
        return (
            series is None or not len(series.t) or at - int(series.t[-1]) > silent_after_ms(facts.interval_s)
        )

    def heard(self, probe: str) -> int | None:
        """UTC ms of the probe's newest reading of any quantity, usable or not; None if it was never heard."""
        times = [
            int(series.t[-1]) for (name, _), series in self._series.items() if name == probe and len(series.t)
        ]
        return max(times, default=None)

    def keep(self, now: int, needed: Mapping[str, int] | None = None) -> None:
        """Drops what nobody needs at `now` (UTC ms): of each probe its readings from TAIL_MS ago stay, or from when
        `needed` says, and a log of the days before.
        """
        self._now, self._needed = now, needed or {}
        for (probe, _), series in self._series.items():
            series.drop_before(self._since(probe), slot(now - KEPT_MS))

    def _since(self, probe: str) -> int:
        return min(self._now - TAIL_MS, self._needed.get(probe, self._now))
