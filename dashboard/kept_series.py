"""One series as it is followed: its last hours as they were read, and before that the first good one of each ten
minutes, which is all that an outlook learns from.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from collector.reading import UNUSABLE, Reading
from dashboard.folded import THIN_MS as THIN_MS
from dashboard.folded import Floats, Folded, Times
from dashboard.folded import Read as Read

KEPT_MS = 15 * 86_400_000
"""Fourteen nights for the outlook and a day to spare."""

Log = tuple[Times, Floats]


def thin(t: Times, value: Floats) -> Log:
    """The first of each ten minutes; t increasing."""
    first = np.flatnonzero(np.diff(t // THIN_MS, prepend=np.iinfo(np.int64).min) != 0)
    return t[first], value[first]


def thin_good(read: Read) -> Log:
    """The first of each ten minutes that a model may use."""
    t, value, quality = read
    good = (quality & int(UNUSABLE)) == 0
    return thin(t[good], value[good])


def slot(at: int) -> int:
    """Where the ten minutes of a time begin, UTC ms."""
    return at // THIN_MS * THIN_MS


@dataclass
class KeptSeries:
    """t, value, quality  all readings from `since`, the beginning of some ten minutes, on; log  what is left of those
    before it; folded  digests of all of those. Times UTC ms, values raw.
    """

    t: Times
    value: Floats
    quality: Times
    log: Log
    since: int
    folded: Folded = field(default_factory=Folded)

    @classmethod
    def empty(cls, since: int) -> KeptSeries:
        none = np.empty(0, np.int64)
        return cls(none, np.empty(0), none, (none, np.empty(0)), slot(since))

    def add(self, readings: list[Reading]) -> int | None:
        """The earliest of those that are no newer than what was there, UTC ms; None if all are newer."""
        t = np.array([reading.at for reading in readings], np.int64)
        value = np.array([reading.value for reading in readings])
        quality = np.array([int(reading.quality) for reading in readings], np.int64)
        earliest = int(t.min())
        late = earliest < self.since or (len(self.t) > 0 and earliest <= int(self.t[-1]))
        if late or len(t) > 1:
            order = np.argsort(t, kind="stable")
            t, value, quality = t[order], value[order], quality[order]
        if earliest < self.since:
            before = t < self.since
            self._fold((t[before], value[before], quality[before]))
            t, value, quality = t[~before], value[~before], quality[~before]
        self.t, self.value, self.quality = (
            np.concatenate([self.t, t]),
            np.concatenate([self.value, value]),
            np.concatenate([self.quality, quality]),
        )
        if late or len(t) > 1:
            # The store keeps one row for a time, so equal times mean the same row: keep the first.
            self.t, first = np.unique(self.t, return_index=True)
            self.value, self.quality = self.value[first], self.quality[first]
        return earliest if late else None

    def extend(self, read: Read) -> None:
        """By what follows all that is there."""
        self.t, self.value, self.quality = (
            np.concatenate([was, new])
            for was, new in zip((self.t, self.value, self.quality), read, strict=True)
        )

    @property
    def heard(self) -> int | None:
        """The newest reading, usable or not, UTC ms."""
        return int(self.t[-1]) if len(self.t) else None

    def heard_by(self, at: int) -> int | None:
        """The same of those up to `at`."""
        upto = int(np.searchsorted(self.t, at, "right"))
        return int(self.t[upto - 1]) if upto else None

    def replace(self, start: int, end: int, read: Read) -> bool:
        """What is read again of [start, end], whole ten minutes where they lie before `since`. False: as it was."""
        first, last = np.searchsorted(self.t, start), np.searchsorted(self.t, end, "right")
        inside = read[0] >= self.since
        same = all(
            np.array_equal(was[first:last], now[inside])
            for was, now in zip((self.t, self.value, self.quality), read, strict=True)
        )
        if not same:
            self.t, self.value, self.quality = (
                np.concatenate([was[:first], now[inside], was[last:]])
                for was, now in zip((self.t, self.value, self.quality), read, strict=True)
            )
        if start >= self.since:
            return not same
        older = read[0][~inside], read[1][~inside], read[2][~inside]
        if not self.folded.replace(start, min(end, self.since - 1), older):
            return not same
        t, value = self.log
        outside = (t < start) | (t > end)
        self.log = t[outside], value[outside]
        self._log_too(thin_good(older))
        return True

    def drop_before(self, since: int, oldest: int) -> None:
        """Of what lies before `since` only the log is left, of what lies before `oldest` nothing; the last good reading
        before `since` and what follows it stay, so that the minutes after it can be told.
        """
        good = self.t[(self.quality & int(UNUSABLE)) == 0]
        before = int(np.searchsorted(good, since, "right"))
        keep_from = max(slot(int(good[before - 1]) if before else since), self.since)
        first = int(np.searchsorted(self.t, keep_from))
        if first:
            self._fold((self.t[:first], self.value[:first], self.quality[:first]))
            # Copies: a view would hold all that was dropped.
            rest = slice(first, None)
            self.t, self.value, self.quality = (
                self.t[rest].copy(),
                self.value[rest].copy(),
                self.quality[rest].copy(),
            )
        self.since = keep_from
        gone = int(np.searchsorted(self.log[0], oldest))
        if gone:
            self.log = self.log[0][gone:].copy(), self.log[1][gone:].copy()
            self.folded.forget(oldest)

    def _fold(self, read: Read) -> None:
        self._log_too(thin_good(read))
        self.folded.add(read)

    def _log_too(self, more: Log) -> None:
        t, value = (np.concatenate([was, new]) for was, new in zip(self.log, more, strict=True))
        order = np.argsort(t, kind="stable")
        self.log = thin(t[order], value[order])
