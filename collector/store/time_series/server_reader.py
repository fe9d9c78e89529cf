"""One site, as far as a time-series server shows it: which of its commits have arrived, and what holds of its readings.

A server shows a new series later than others. So a commit counts only when all its readings are seen; after a minute
it counts without them, they are looked for less and less often during a day, and are told as missing.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from collector.reading import Quantity, Reading
from collector.store.reader import Batch
from collector.store.readings_schema import FLAGS, MOVED
from collector.store.time_series.asking import NoSense
from collector.store.time_series.commits import COMMIT, Commit, commits_of
from collector.store.time_series.held import READING, Held, Key, Revision, count_new, count_revised, held
from collector.store.time_series.lines import as_named, as_sent
from collector.store.time_series.rows import BACK_MS, LAST_MS, Engine, Rows
from collector.store.time_series.site_facts import COUNTED, SiteFacts, facts_at

DAY_MS = 86_400_000
PATIENCE_S = 60.0
"""So long is waited for what a commit, or a list of facts, says there is."""
AGAIN_S, AGAIN_FOR_S = 10.0, 86_400.0
LATE_MS = 120_000
"""A line may show so much later than one that was written after it."""


@dataclass
class Gap:
    """Readings of a commit that were not seen: looked for again at `next_s`, by the steady clock."""

    commit: Commit
    seen: int
    began_s: float
    next_s: float

    @property
    def missing(self) -> int:
        return max(0, self.commit.n - self.seen)


class SiteReader:
    """For one thread at a time, apart from held() and latest(), which any may ask. Each may raise Unanswered."""

    def __init__(self, engine: Engine, name: str, steady: Callable[[], float] = time.monotonic) -> None:
        self.name = name
        self.seq = 0
        self.gone_upto = 0
        """Commits up to that tick that are not known by now were of a readings.db that the site has no more."""
        self.counted_at = 0
        """The tick of the commit that `seq` is of."""
        self.facts: SiteFacts | None = None
        self.odd = ""
        """Why what it says of itself cannot be read; "": it can."""
        self._engine = engine
        self._steady = steady
        self._commits: dict[int, tuple[Commit, float]] = {}
        self._gaps: list[Gap] = []
        self._revisions: dict[int, Revision] = {}
        self._revisions_from = LAST_MS
        self._wanted: tuple[int, Mapping[str, int], float] | None = None
        self._latest: dict[Key, Reading | None] = {}
        self._tick = 0
        self._facts_tick = 0

    @property
    def missing(self) -> int:
        """Readings that it has sent and that the server does not show."""
        return sum(gap.missing for gap in self._gaps)

    @property
    def since(self) -> int:
        """From when on (UTC ms of its ticks) something new may be."""
        return max(0, self._tick - LATE_MS)

    def heard_of(self, tick: int) -> None:
        """It has written at that tick."""
        self._tick = max(self._tick, tick)

    def begin(self, now: int, upto: int) -> None:
        """Looks for where it stands. All but its newest commits are taken as arrived: nobody waits for those.

        upto    the newest batch that the site has: what is said of later ones was of a file that it has no more
        """
        found = self.newest_rows("commit", COMMIT, now)
        commits = [commit for commit in commits_of(found) if commit.seq <= upto]
        if not commits:
            self._revisions_from = 0
            return
        begins = commits[-1].tick - LATE_MS
        old = [commit for commit in commits if commit.tick <= begins]
        self.seq = max((commit.seq for commit in old), default=min(commit.since for commit in commits))
        self.counted_at, self._revisions_from = begins, begins
        for commit in commits:
            self._take(commit)
        for tick in [tick for tick, (commit, _) in self._commits.items() if tick <= begins]:
            del self._commits[tick]

    def newest_rows(self, measurement: str, fields: Sequence[str], now: int) -> list[Rows]:
        """The newest rows there are: all of the first stretch before `now` (UTC ms) that has any."""
        end = LAST_MS
        for back in BACK_MS:
            start = max(0, now - back)
            found = self._engine.rows(measurement, {"site": [as_sent(self.name)]}, fields, start, end)
            if any(len(rows.t) for rows in found):
                return found
            end = start - 1
            if end < 0:
                break
        return []

    def take_commits(self, rows: Iterable[Rows]) -> None:
        """Commits that the server shows now; those known already change nothing."""
        for commit in commits_of(rows):
            if commit.tick > self.gone_upto:
                self._take(commit)

    def _take(self, commit: Commit) -> None:
        self.heard_of(commit.tick)
        self._commits.setdefault(commit.tick, (commit, self._steady()))

    def take_facts(self, rows: Iterable[Rows]) -> None:
        """Lines `facts` that the server shows now: the newest is read as soon as it is whole."""
        for series in rows:
            told = series.whole(COUNTED)
            if len(told.t) and int(told.t[-1]) > self._facts_tick:
                self._facts_tick = int(told.t[-1])
                counts = {name: int(column[-1]) for name, column in told.columns.items()}
                first_s = self._steady() if self._wanted is None else self._wanted[2]
                self._wanted = (self._facts_tick, counts, first_s)
                self.heard_of(self._facts_tick)

    def read_facts(self) -> None:
        """What was known stands for a minute beside something newer that is not whole; then nothing is known."""
        if self._wanted is None:
            return
        tick, counts, first_s = self._wanted
        try:
            facts, self.odd = facts_at(self._engine, as_sent(self.name), tick, counts), ""
        except NoSense as error:  # of this site: the others go on
            facts, self.odd = None, str(error)
        if facts is not None:
            self.facts, self._wanted = facts, None
        elif self._steady() - first_s > PATIENCE_S:
            self.facts = None

    def arrived(self) -> Iterator[tuple[Batch, int]]:
        """Commits that count from now on, in order, each with the batch after which it begins; then what is to be read
        again because something that was missing is seen now (with the last seq, which says nothing new)."""
        begins = self._tick - LATE_MS
        for tick, (commit, first_s) in sorted(self._commits.items()):
            if commit.seq > self.seq:
                patient = self._steady() - first_s < PATIENCE_S
                if commit.revised == MOVED and patient and self.facts is not None and self.facts.tick < tick:
                    return  # where its readings lie now makes no sense without what is known of its clock now
                if commit.since > self.seq and patient:
                    return  # one before it is not seen yet
                rows = self._rows_of(commit)
                seen = _seen(rows, commit)
                if seen < commit.n and patient:
                    return
                yield self._count(commit, rows, seen)
            if tick < begins:
                del self._commits[tick]
        yield from self._found_later()

    def _count(self, commit: Commit, rows: Sequence[Rows], seen: int) -> tuple[Batch, int]:
        since = min(commit.since, self.seq)
        if commit.revised:
            self._revisions[commit.seq] = commit.revision
            self._latest.clear()
        if seen < commit.n:
            now = self._steady()
            self._gaps.append(Gap(commit, seen, now, now + AGAIN_S))
        self.seq, self.counted_at = commit.seq, commit.tick
        for key, one in held(rows, self._covering(commit.t_min, commit.t_max), self.seq).items():
            last = self._latest.get(key)
            if key in self._latest and (last is None or one.t[-1] >= last.at):
                self._latest[key] = one.reading(*key, -1)
        return Batch(commit.seq, commit.t_min, commit.t_max, commit.revised), since

    def _found_later(self) -> Iterator[tuple[Batch, int]]:
        now = self._steady()
        for gap in [gap for gap in self._gaps if gap.next_s <= now]:
            commit = gap.commit
            seen = _seen(self._rows_of(commit), commit)
            gap.next_s = now + 2 * max(AGAIN_S, gap.next_s - gap.began_s)
            if seen > gap.seen:
                gap.seen = seen
                self._latest.clear()
                yield Batch(self.seq, commit.t_min, commit.t_max, FLAGS), self.seq
            if not gap.missing or now - gap.began_s > AGAIN_FOR_S:
                self._gaps.remove(gap)

    def _rows_of(self, commit: Commit) -> list[Rows]:
        where = {"site": [as_sent(self.name)]} | ({"rev": [str(commit.rev)]} if commit.rev else {})
        return self._engine.rows("reading", where, READING, commit.t_min, commit.t_max) if commit.n else []

    def held(
        self, start: int, end: int, probes: Sequence[str] = (), quantity: Quantity | None = None
    ) -> dict[Key, Held]:
        """What holds from start to end (UTC ms, both in), of all series or of those named."""
        where = {"site": [as_sent(self.name)]}
        if probes:
            where["probe"] = [as_sent(probe) for probe in probes]
        if quantity is not None:
            where["quantity"] = [quantity.value]
        return self.of_rows(self._engine.rows("reading", where, READING, start, end))

    def of_rows(self, rows: Sequence[Rows]) -> dict[Key, Held]:
        """What holds of rows of this site."""
        rows = [series for series in rows if len(series.t)]
        if not rows:
            return {}
        upto = self.seq
        first, last = min(int(series.t[0]) for series in rows), max(int(series.t[-1]) for series in rows)
        return held(rows, self._covering(first, last), upto)

    def _covering(self, start: int, end: int) -> list[Revision]:
        """Revised commits that cover some of that time. Those of long ago are read when they are first needed: a
        commit is never sent before its readings were measured, but for a day by which a clock may be ahead.
        """
        needed, step = max(0, start - DAY_MS), 7 * DAY_MS
        while needed < self._revisions_from:
            begin = max(needed, self._revisions_from - step)
            where = {"site": [as_sent(self.name)]}
            for commit in commits_of(self._engine.rows("commit", where, COMMIT, begin, self._revisions_from)):
                if commit.revised:
                    self._revisions[commit.seq] = commit.revision
            self._revisions_from, step = begin, 2 * step
        return [item for item in list(self._revisions.values()) if item.t_min <= end and item.t_max >= start]

    def latest(self, keys: Iterable[Key], now: int) -> dict[Key, Reading]:
        """The newest reading of each series that has any. What was found is kept up with by the commits; for any
        thread.
        """
        keys = list(keys)
        known = dict(self._latest)
        for quantity in Quantity:
            missing = {probe for probe, of in keys if of is quantity and (probe, of) not in known}
            known |= self._search(missing, quantity, now)
        return {key: reading for key in keys if (reading := known.get(key)) is not None}

    def _search(self, missing: set[str], quantity: Quantity, now: int) -> dict[Key, Reading | None]:
        """None of those that have none. Kept only if no commit came meanwhile, which may have brought a newer one."""
        found: dict[Key, Reading | None] = {}
        upto, end = self.seq, LAST_MS
        for back in BACK_MS:
            if not missing or end < 0:
                break
            start = max(0, now - back)
            for (probe, of), one in self.held(start, end, sorted(missing), quantity).items():
                found[probe, of] = one.reading(probe, of, -1)
                missing.discard(probe)
            end = start - 1
        found |= dict.fromkeys([(probe, quantity) for probe in missing])
        if self.seq == upto:
            self._latest |= found
        return found


def _seen(rows: Sequence[Rows], commit: Commit) -> int:
    if commit.revised:
        return count_revised(rows, commit.seq)
    return count_new(rows, commit.since, commit.seq)


def by_site(rows: Iterable[Rows]) -> dict[str, list[Rows]]:
    """The same, by the site's name."""
    found: dict[str, list[Rows]] = {}
    for series in rows:
        found.setdefault(as_named(series.tags.get("site", "")), []).append(series)
    return found
