"""Several sites on one time-series server, as one store.

A probe's id is `site:probe` here, its zone `site · zone`, also with one site. A batch's number is the sum of the
sites' own; what each sum meant is remembered as long as this process runs, a good while back.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from collector.clock import Clock
from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.store.reader import Batch, Ledger, Samples
from collector.store.readings_schema import MOVED
from collector.store.runs import Run
from collector.store.site_state import SiteState
from collector.store.time_series.asking import Unanswered
from collector.store.time_series.commits import COMMIT
from collector.store.time_series.held import READING, Held
from collector.store.time_series.lines import as_named, as_sent
from collector.store.time_series.not_held import KeptAtTheSite
from collector.store.time_series.pulse import BEAT, Pulse
from collector.store.time_series.rows import LAST_MS, Engine, Rows
from collector.store.time_series.server_reader import LATE_MS, SiteReader
from collector.store.time_series.site_facts import COUNTED

LOOK_S = 1.0
REMEMBERED = 10_000
"""Commits; whoever has not looked for longer reads everything again."""
LIVELY_MS = 10 * 60_000


@dataclass(frozen=True, slots=True)
class Step:
    """What a commit did: from then on the sum is `batch.seq`. Of its site: after site_since up to site_seq."""

    site: SiteReader
    batch: Batch
    site_seq: int
    site_since: int


class Sites:
    """The store that [read_from] names. For any thread; open() looks for news at most once a second."""

    def __init__(
        self,
        engine: Engine,
        names: Sequence[str],
        clock: Clock,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        self.engine = engine
        self.readers = {name: SiteReader(engine, name, steady) for name in names}
        self.steps: list[Step] = []
        self.seqs_at: dict[int, dict[str, int]] = {}
        self._clock = clock
        self._steady = steady
        self._pulses = {name: Pulse(name) for name in names}
        self._looking = threading.Lock()
        self._looked_s: float | None = None
        self._answered_s: float | None = None
        self._begun = False
        self._joined: set[str] = set()
        self._in_sum: set[str] = set()
        self._again: list[tuple[SiteReader, Batch]] = []
        self.away = ""

    def open(self) -> ServerReader:
        """While the server does not answer, what was seen stands and grows old; if it never has, nothing is known."""
        with self._looking if not self._begun else _if_free(self._looking) as mine:
            if mine and (self._looked_s is None or self._steady() - self._looked_s >= LOOK_S):
                try:
                    self._look()
                    self.away = ""
                except Unanswered as error:
                    self.away = str(error)
                self._looked_s = self._steady()
        return ServerReader(self)

    @property
    def batch(self) -> int:
        return sum(self._seqs().values())

    def states(self) -> list[SiteState]:
        """How each site stands now."""
        return [
            replace(
                self._pulses[name].state,
                missing=reader.missing,
                known=reader.facts is not None,
                why=self.away,
            )
            for name, reader in self.readers.items()
        ]

    def believed(self) -> list[SiteReader]:
        """Sites of which something is known, and whose clock is not ahead of ours."""
        return [reader for name, reader in self.readers.items() if self._is_believed(name)]

    def _is_believed(self, name: str) -> bool:
        return self.readers[name].facts is not None and not self._pulses[name].state.is_ahead

    def now(self) -> int:
        return self._clock.now()

    def _look(self) -> None:
        now = self._clock.now()
        if not self._begun:
            self._begin(now)
        for readers in self._by_liveliness(now):
            since = min(reader.since for reader in readers)
            self._take(readers, since, now)
        for name, reader in self.readers.items():
            reader.read_facts()
            if self._joins(name, reader):
                for batch, since in reader.arrived():
                    self._arrived(reader, batch, since, now, name)
        self._answered_s = self._steady()

    def _begin(self, now: int) -> None:
        for name, reader in self.readers.items():
            self._pulses[name].take(reader.newest_rows("heartbeat", BEAT, now), now, at_once=False)
            reader.heard_of(self._pulses[name].tick)
            reader.take_facts(reader.newest_rows("facts", COUNTED, now))
            reader.begin(now)
        self.seqs_at = {self.batch: self._seqs()}
        self._begun = True

    def _joins(self, name: str, reader: SiteReader) -> bool:
        """Whether the site counts now. One that did not until now is read from the beginning; while it does not, its
        commits wait.
        """
        if not self._is_believed(name):
            self._joined.discard(name)
            return False
        if name not in self._joined:
            self._joined.add(name)
            everything = Batch(reader.seq, 0, LAST_MS, MOVED)
            if name in self._in_sum:
                self._again.append((reader, everything))
            else:
                self._in_sum.add(name)
                if reader.seq:
                    self._step(Step(reader, everything, reader.seq, 0))
        return True

    def _by_liveliness(self, now: int) -> list[list[SiteReader]]:
        """Those that were cut long ago are asked for apart: what they may have to say begins then."""

        def lively(reader: SiteReader) -> bool:
            return reader.since > now - LIVELY_MS

        ordered = sorted(self.readers.values(), key=lively)
        return [list(group) for _, group in groupby(ordered, lively)]

    def _take(self, readers: Sequence[SiteReader], since: int, now: int) -> None:
        where = {"site": [as_sent(reader.name) for reader in readers]}
        recent = self._answered_s is not None and self._steady() - self._answered_s < LATE_MS / 2000
        for measurement, fields in (("commit", COMMIT), ("heartbeat", BEAT), ("facts", COUNTED)):
            found = by_site(self.engine.rows(measurement, where, fields, since, LAST_MS))
            for reader in readers:
                rows = found.get(reader.name, [])
                if measurement == "commit":
                    reader.take_commits(rows)
                elif measurement == "facts":
                    reader.take_facts(rows)
                else:
                    self._pulses[reader.name].take(rows, now, at_once=recent)
                    reader.heard_of(self._pulses[reader.name].tick)

    def _arrived(self, reader: SiteReader, batch: Batch, since: int, now: int, name: str) -> None:
        if (
            batch.seq == since
        ):  # says nothing new by itself: it goes with the next commit, whose sum is another
            self._again.append((reader, batch))
            return
        self._pulses[name].readings_came(now, batch.t_max)
        self._step(Step(reader, batch, batch.seq, since))

    def _step(self, step: Step) -> None:
        """One that moves the sum, and with it what waited for another sum."""
        total = self.batch
        waited = [Step(of, again, again.seq, again.seq) for of, again in self._again]
        self._again.clear()
        self.steps += [replace(one, batch=replace(one.batch, seq=total)) for one in (step, *waited)]
        self.seqs_at[total] = self._seqs()
        if len(self.steps) > REMEMBERED:
            del self.steps[: REMEMBERED // 2]
            first = self.steps[0].batch.seq
            self.seqs_at = {sum_: seqs for sum_, seqs in self.seqs_at.items() if sum_ >= first}

    def _seqs(self) -> dict[str, int]:
        return {name: reader.seq for name, reader in self.readers.items() if name in self._in_sum}


class _if_free:
    """A lock that is taken only if nobody has it: true if it was."""

    def __init__(self, lock: threading.Lock) -> None:
        self._lock = lock

    def __enter__(self) -> bool:
        self._mine = self._lock.acquire(blocking=False)
        return self._mine

    def __exit__(self, *_: object) -> None:
        if self._mine:
            self._lock.release()


def by_site(rows: Iterable[Rows]) -> dict[str, list[Rows]]:
    """The same, by the site's name."""
    found: dict[str, list[Rows]] = {}
    for series in rows:
        found.setdefault(as_named(series.tags.get("site", "")), []).append(series)
    return found


class ServerReader(KeptAtTheSite):
    """See store.reads.Reads: what a dashboard asks, answered from what the sites have sent."""

    def __init__(self, store: Sites) -> None:
        self._store = store
        self._sites = {
            f"{site.name}:{probe.id}": (site, probe)
            for site in store.believed()
            for probe in (site.facts.probes if site.facts else ())
        }

    def close(self) -> None:
        """Nothing is held open."""

    def probes(self) -> list[ProbeFacts]:
        """Sorted by id."""
        found = [
            replace(probe, id=name, zone=f"{site.name} · {probe.zone}")
            for name, (site, probe) in self._sites.items()
        ]
        return sorted(found, key=lambda probe: probe.id)

    def suspicions(self) -> list[Suspicion]:
        """By probe, kind and beginning."""
        found = [
            _told(site.name, item)
            for site in self._store.believed()
            for item in (site.facts.suspicions if site.facts else ())
        ]
        return sorted(found, key=lambda item: (item.probe, item.kind, item.since))

    def clocks(self) -> Mapping[str, list[Run]]:
        """By the site's name."""
        return {site.name: list(site.facts.runs) for site in self._store.believed() if site.facts}

    def site_of(self, probe: str) -> str:
        """By what the sites say of their probes, never by the text; "" if none of them has it."""
        known = self._sites.get(probe)
        return known[0].name if known else ""

    def sites(self) -> list[SiteState]:
        """In the order of the settings."""
        return self._store.states()

    def last_batch(self) -> int:
        """The sum of what has arrived of each site."""
        return self._store.batch

    def seqs(self, batch: int) -> Mapping[str, int]:
        """What that sum meant, when it was the sum; empty if nobody knows any more."""
        return dict(self._store.seqs_at.get(batch, {}))

    def batches_after(self, seq: int) -> list[Batch]:
        """The commits after that sum, in the order in which they arrived here. A sum of long ago, or of another
        process: all is to be read again."""
        last = self._store.batch
        if seq == last:
            return []
        if seq not in self._store.seqs_at:
            return [Batch(last, 0, LAST_MS, MOVED)]
        return [step.batch for step in list(self._store.steps) if step.batch.seq > seq]

    def readings_after(self, seq: int, limit: int) -> tuple[list[Reading], int]:
        """Readings of the commits after that sum, as store.reader.Reader tells them."""
        found: list[Reading] = []
        for step in [step for step in list(self._store.steps) if step.batch.seq > seq]:
            if len(found) >= limit and step.batch.seq > seq:
                break
            found += _readings(step)
            seq = step.batch.seq
        return found, seq

    def samples(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Samples:
        """One series from start to end, both ends in, whatever its quality."""
        one = self._one(probe, quantity, start_ms, end_ms)
        return one.t, one.value, one.quality

    def ledger(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Ledger:
        """The same, and the batch of its site that each reading came in."""
        one = self._one(probe, quantity, start_ms, end_ms)
        return one.t, one.value, one.quality, one.seq

    def _one(self, probe: str, quantity: Quantity, start: int, end: int) -> Held:
        if probe not in self._sites:
            return Held.nothing()
        site, facts = self._sites[probe]
        return site.held(start, end, [facts.id], quantity).get((facts.id, quantity), Held.nothing())

    def every(self, start_ms: int, end_ms: int) -> dict[tuple[str, Quantity], Samples]:
        """Every series from start to end, both ends in, in one question to the server."""
        sites = self._store.believed()
        if not sites:
            return {}
        where = {"site": [as_sent(site.name) for site in sites]}
        found = by_site(self._store.engine.rows("reading", where, READING, start_ms, end_ms))
        return {
            (f"{site.name}:{probe}", quantity): (one.t, one.value, one.quality)
            for site in sites
            for (probe, quantity), one in site.of_rows(found.get(site.name, [])).items()
        }

    def latest(self, probe: str, quantity: Quantity) -> Reading | None:
        """The newest reading of a series, whatever its quality; None if there is none."""
        if probe not in self._sites:
            return None
        site, facts = self._sites[probe]
        found = site.latest([(facts.id, quantity)], self._store.now()).get((facts.id, quantity))
        return None if found is None else replace(found, probe=probe)

    def newest(self) -> list[Reading]:
        """Of every series of the sites' probes the newest reading, whatever its quality."""
        found = []
        for site in self._store.believed():
            keys = [(probe.id, of) for probe in (site.facts.probes if site.facts else ()) for of in Quantity]
            latest = site.latest(keys, self._store.now())
            found += [replace(item, probe=f"{site.name}:{item.probe}") for item in latest.values()]
        return found


def _readings(step: Step) -> list[Reading]:
    """In the order of their times. Of a revised commit all that holds between its times."""
    site, batch = step.site, step.batch
    found = []
    for (probe, quantity), one in site.held(batch.t_min, batch.t_max).items():
        new = (one.seq > step.site_since) & (one.seq <= step.site_seq)
        chosen = one if batch.revised else one.only(new)
        found += [chosen.reading(f"{site.name}:{probe}", quantity, i) for i in range(len(chosen))]
    return sorted(found, key=lambda reading: (reading.at, reading.probe, reading.quantity))


def _told(site: str, item: Suspicion) -> Suspicion:
    """By the names that this store uses."""
    numbers = dict(item.numbers)
    if "other" in numbers:
        numbers["other"] = f"{site}:{numbers['other']}"
    return replace(item, probe=f"{site}:{item.probe}", numbers=numbers)
