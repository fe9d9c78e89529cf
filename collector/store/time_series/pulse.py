"""By its heartbeats: when a site was last heard, and how far its forwarder is behind."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import groupby

from collector.store.site_state import APART_MS, SiteState
from collector.store.time_series.rows import Rows

BEAT = ("seq", "newest", "now", "kept")
BY = "by"
KEPT = 240
SHARED_MS = 120_000
"""Of the last ticks: in two minutes each of two forwarders speaks four times."""


class Pulse:
    """One site's. Its own clock may be wrong: what counts is when a new heartbeat is first seen here."""

    def __init__(self, name: str) -> None:
        self.state = SiteState(name)
        self.tick = 0
        self.newest = 0
        self._owed = 0
        self._waiting: deque[tuple[int, int]] = deque(maxlen=KEPT)

    def take(self, rows: Iterable[Rows], now: int, at_once: bool) -> None:
        """Heartbeats that the server shows at `now` (UTC ms). at_once: they were looked for shortly before, so that one
        that is seen for the first time was sent since."""
        rows = list(rows)
        self._look_who_sends(rows)
        for series in rows:
            told = series.whole(BEAT)
            columns = [told.columns[name].astype("int64").tolist() for name in BEAT]
            for tick, seq, newest, theirs, kept in zip(told.t.tolist(), *columns, strict=True):
                if tick > self.tick:
                    self.tick, self.newest = tick, newest
                    self._beat(seq, newest, theirs, kept, now, at_once)

    def _look_who_sends(self, rows: Iterable[Rows]) -> None:
        """Whether two forwarders speak in turns. One that was started anew speaks only after the one it was before."""
        told = sorted(pair for series in rows for pair in _who(series))
        if told:
            since = told[-1][0] - SHARED_MS
            turns = [by for by, _ in groupby(by for tick, by in told if tick >= since)]
            self.state = replace(self.state, shared=len(set(turns)) < len(turns))

    def _beat(self, seq: int, newest: int, theirs: int, kept: int, now: int, at_once: bool) -> None:
        heard = now if at_once else min(now, theirs)
        if self.state.is_cut(now):
            self._owed = newest
        owed = min(self._owed, newest)  # a backup that was put back there owes no more than it has
        self._waiting.append((heard, newest))
        while self._waiting and (newest <= seq or self._waiting[0][1] <= seq):
            self._waiting.popleft()
        self.state = replace(
            self.state,
            heard_at=heard,
            behind=max(0, newest - seq),
            lags_since=self._waiting[0][0] if self._waiting else None,
            catches_up=seq < owed,
            kept=kept,
            ahead_ms=theirs - now if at_once or theirs - now > APART_MS else self.state.ahead_ms,
        )

    def readings_came(self, now: int, newest_at: int) -> None:
        """A commit has arrived whose newest reading was measured then (UTC ms)."""
        self.state = replace(self.state, arrived_at=now, newest_at=newest_at)


def _who(series: Rows) -> Iterator[tuple[int, float]]:
    """Ticks and who sent them, as far as that is seen yet."""
    told = series.whole((BY,))
    return zip(told.t.tolist(), told.columns[BY].tolist(), strict=True)
