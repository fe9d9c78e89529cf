"""Keeps every flag what the checks find when they look at all readings in the order of their times.

What comes in order is looked at as it comes. What comes late is looked at beside the present, stored and marked; in
quiet moments, or a minute later at most, the checks go over the readings again from there, from a copy of what they
knew then. So neither the order of arrival nor a restart leaves a trace in the flags.
"""

from __future__ import annotations

import copy
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from collector.checks import Checks
from collector.reading import NOT_OF_THE_VALUE, ProbeFacts, Quality, Reading
from collector.store import rechecks
from collector.store.reader import Reader
from collector.store.rechecks import Changed, Stored
from collector.store.writer import Writer

LOOK_BACK_MS = 24 * 3_600_000
"""Without a copy from before, the checks begin this long before the first late reading; no rule but one looks further
back: how long a value usually rests is learned from its last 20 rests."""
SLICE_MS = 15 * 60_000
"""Of readings looked at in one step: some thousand, some ten milliseconds."""
COPY_MS = 10 * 60_000
COPIES = 150
"""A day of them."""
SERIES_COPIED = 6000
"""Series in all copies together, some 2 KB each: of many series copies are kept less often."""
AGAIN_S = 60.0


class Recheck:
    """For the pipeline's thread. `monotonic` in seconds."""

    def __init__(
        self,
        writer: Writer,
        probes: Sequence[ProbeFacts],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._writer = writer
        self._probes = probes
        self._monotonic = monotonic
        self.begin_anew()

    def begin_anew(self) -> None:
        """Nothing is known of what was stored, or it lies elsewhere now: a day of it is looked at again."""
        self._checks = Checks(self._probes)
        self._copies: list[tuple[int, Checks]] = []
        """By time: what the checks knew when they had looked at all readings before it."""
        self._replay: tuple[int, Checks] | None = None
        self._not_before = self._monotonic()
        newest = Reader(self._writer.connection).newest()
        for reading in newest:
            self._checks.remember(reading)
        self._last = max((reading.at for reading in newest), default=None)
        if self._last is not None:
            self._writer.mark_recheck(self._last)
        self._since = rechecks.due(self._writer.connection)

    @property
    def due(self) -> bool:
        """True while flags may be others than in order."""
        return self._since is not None

    @property
    def overdue(self) -> bool:
        """True if something has waited for a minute."""
        return self.due and self._monotonic() >= self._not_before + AGAIN_S

    def flag(self, readings: Sequence[Reading]) -> tuple[list[Reading], frozenset[int]]:
        """The same readings with their flags, as far as they can be told yet, and the times of those that came late."""
        if not readings:
            return [], frozenset()
        last, times = self._last, [reading.at for reading in readings]
        # What comes a second time for one moment counts as late too: temperature and humidity are looked at together.
        late = frozenset(at for at in times if last is not None and at <= last)
        if self._since is None and not late:
            self._keep_copy(min(times), self._checks)
        self._last = max(times) if last is None else max(last, *times)
        return self._checks.flag(readings), late

    def stored(self) -> None:
        """A batch is committed: what it marked is due."""
        marked = rechecks.due(self._writer.connection)
        if marked is None:
            return
        self._since = marked if self._since is None else min(marked, self._since)
        self._copies = [kept for kept in self._copies if kept[0] <= self._since]
        if self._replay is not None and self._since < self._replay[0]:
            self._replay = None

    def quiet(self) -> None:
        """One step, if something is due and the last time is a minute ago. Raises apsw.Error."""
        if self._since is not None and (self._replay is not None or self._monotonic() >= self._not_before):
            self._step(self._since)

    def settle(self) -> None:
        """All that is due, at once. Raises apsw.Error."""
        while self._since is not None:
            self._step(self._since)

    def _step(self, since: int) -> None:
        start, checks = self._replay or self._from_copy(since)
        first = rechecks.first_from(self._writer.connection, start)
        if first is None:
            self._writer.reflag((), None)
            self._checks, self._since, self._replay = checks, None, None
            self._not_before = self._monotonic() + AGAIN_S
            return
        end = first + SLICE_MS
        rows = rechecks.in_order(self._writer.connection, start, end)
        changes = [change for change in _looked_at(checks, rows) if change.row.reading.at >= since]
        if changes:
            self._writer.reflag(changes, max(since, end))
        self._since = max(since, end)
        self._keep_copy(end, checks)
        self._replay = (end, checks)

    def _from_copy(self, since: int) -> tuple[int, Checks]:
        """From where the checks must go on, and what they knew there."""
        if self._copies:
            at, checks = self._copies[-1]
            return at, copy.deepcopy(checks)
        return since - LOOK_BACK_MS, Checks(self._probes)

    def _keep_copy(self, at: int, checks: Checks) -> None:
        kept = max(min(COPIES, SERIES_COPIED // max(checks.series, 1)), 2)
        if not self._copies or at - self._copies[-1][0] >= COPY_MS * COPIES // kept:
            self._copies = [*self._copies[1 - kept :], (at, copy.deepcopy(checks))]


def _looked_at(checks: Checks, rows: Sequence[Stored]) -> Iterator[Changed]:
    """Those whose flags are others than were stored."""
    found = checks.flag([replace(row.reading, quality=Quality.GOOD) for row in rows])
    for row, reading in zip(rows, found, strict=True):
        quality = (row.reading.quality & NOT_OF_THE_VALUE) | (reading.quality & ~NOT_OF_THE_VALUE)
        if quality != row.reading.quality:
            yield Changed(row, quality)
