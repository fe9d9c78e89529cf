"""Several sites on one time-series server, as one store.

A probe's id is `site:probe` here, its zone `site · zone`, also with one site. A batch's number is the sum of the
sites' own; what each sum meant is remembered as long as this process runs, a good while back.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from collector.clock import Clock
from collector.store.reader import Batch
from collector.store.readings_schema import MOVED
from collector.store.site_state import SiteState
from collector.store.time_series.asking import Unanswered
from collector.store.time_series.commits import COMMIT
from collector.store.time_series.left_out import Sifted
from collector.store.time_series.lines import as_sent
from collector.store.time_series.pulse import BEAT, BY, Pulse
from collector.store.time_series.rows import LAST_MS, Engine
from collector.store.time_series.server_reader import LATE_MS, SiteReader, by_site
from collector.store.time_series.site_facts import COUNTED
from collector.store.time_series.sites_reader import ServerReader

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
        self.engine = Sifted(engine)
        self.readers = {name: SiteReader(self.engine, name, steady) for name in names}
        self.steps: list[Step] = []
        self.seqs_at: dict[int, dict[str, int]] = {}
        self._clock = clock
        self._steady = steady
        self._pulses = {name: Pulse(name) for name in names}
        self._looking = threading.Lock()
        self._looked_s: float | None = None
        self._answered_s: float | None = None
        self._answered_at: int | None = None
        self._answers_since = 0
        self._begun = False
        self._joined: set[str] = set()
        self._in_sum: set[str] = set()
        self._mixed: set[str] = set()
        self._before: dict[str, int] = {}
        """What a site's batches had counted up to before a backup was put back there: a sum never falls."""
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
        return sum(self._seqs().values()) + sum(self._before.values())

    def states(self) -> list[SiteState]:
        """How each site stands now."""
        return [self._state(name, reader) for name, reader in self.readers.items()]

    def _state(self, name: str, reader: SiteReader) -> SiteState:
        """While the server does not answer all that is asked, a site counts as heard only up to when it last did: of
        one whose readings cannot be read a heartbeat says nothing.
        """
        state = self._pulses[name].state
        heard = state.heard_at
        if self.away and heard is not None:
            heard = None if self._answered_at is None else min(heard, self._answered_at)
        return replace(
            state,
            heard_at=heard,
            missing=reader.missing,
            left_out=self.engine.of(name),
            known=reader.facts is not None,
            why=self.away,
            answers_since=self._answers_since,
            odd=reader.odd,
        )

    def believed(self) -> list[SiteReader]:
        """Sites of which something is known, whose clock is not ahead of ours, and whose name is of one alone."""
        return [reader for name, reader in self.readers.items() if self._is_believed(name)]

    def _is_believed(self, name: str) -> bool:
        state = self._pulses[name].state
        return self.readers[name].facts is not None and not state.is_ahead and not state.shared

    def now(self) -> int:
        return self._clock.now()

    def _look(self) -> None:
        now = self._clock.now()
        if not self._begun:
            self._begin(now)
        for readers in self._by_liveliness(now):
            since = min(reader.since for reader in readers)
            self._take(readers, since, now)
        for name, reader in list(self.readers.items()):
            pulse = self._pulses[name]
            if pulse.state.shared:
                self._mixed.add(name)
                self._joined.discard(name)
                continue
            if (
                name in self._mixed
            ):  # whose commits these were nobody knows: what the one that is left has now counts
                self._begins_anew(name, now)
                self._mixed.discard(name)
                continue
            if pulse.tick > reader.counted_at and pulse.newest < reader.seq:
                self._begins_anew(name, now)
                continue
            reader.read_facts()
            if self._joins(name, reader):
                for batch, since in reader.arrived():
                    self._arrived(reader, batch, since, now, name)
        if self.away or self._answered_at is None:
            self._answers_since = now
        self._answered_s, self._answered_at = self._steady(), now

    def _begin(self, now: int) -> None:
        for name, reader in self.readers.items():
            self._pulses[name].take(reader.newest_rows("heartbeat", (*BEAT, BY), now), now, at_once=False)
            reader.heard_of(self._pulses[name].tick)
            reader.take_facts(reader.newest_rows("facts", COUNTED, now))
            reader.begin(now, self._pulses[name].newest)
        self.seqs_at = {self.batch: self._seqs()}
        self._begun = True

    def _begins_anew(self, name: str, now: int) -> None:
        """Its readings.db ends before what had arrived, as after a backup was put back there, or two have sent under
        its name. What it has now counts.
        """
        old, pulse = self.readers[name], self._pulses[name]
        self._before[name] = self._before.get(name, 0) + old.seq
        reader = self.readers[name] = SiteReader(self.engine, name, self._steady)
        reader.heard_of(pulse.tick)
        reader.facts = old.facts
        reader.begin(now, pulse.newest)
        reader.gone_upto = old.counted_at
        self._joined.discard(name)

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
        for measurement, fields in (("commit", COMMIT), ("heartbeat", (*BEAT, BY)), ("facts", COUNTED)):
            found = by_site(self.engine.rows(measurement, where, fields, since, LAST_MS))
            for reader in readers:
                rows = found.get(reader.name, [])
                if measurement == "commit" and reader.name not in self._mixed:
                    reader.take_commits(rows)
                elif measurement == "facts":
                    reader.take_facts(rows)
                elif measurement == "heartbeat":
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
