"""Corrected values beside the raw ones, and what was sent already sent again when the shop's corrections change."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Protocol

from collector.forward.portion import LINES
from collector.forward.state import ForwardState
from collector.forward.waiting import SAFE_S
from collector.reading import Quantity, Reading
from collector.store.arrived import Numbered
from collector.store.reader import Batch
from collector.store.schema import StoreError
from collector.store.time_series import lines

LOOK_S = 10.0
PIECES = 100
"""Looked through in one turn, which is less than a second, if nothing is found in them."""

log = logging.getLogger("coldshed.forward")

Series = tuple[str, Quantity]
InForce = Mapping[Series, Sequence[tuple[int, str]]]
"""Of each series: from when on (UTC ms) which entry corrects it, "" for none; nothing does before the first."""


class Corrections(Protocol):
    """What the shop's logbook makes of raw values."""

    def in_force(self) -> InForce:
        """Read anew. Raises StoreError if it cannot be read."""
        ...

    def value(self, reading: Reading) -> float | None:
        """As in_force() last said; None if nothing corrects it."""
        ...


class NoCorrections:
    """For a site whose logbook is not beside."""

    def in_force(self) -> InForce:
        return {}

    def value(self, reading: Reading) -> float | None:
        return None


class Stored(Protocol):
    """What we need of the store's reader."""

    def revised_upto(self, seq: int) -> list[Batch]: ...

    def pieces_from(self, start: int) -> Iterator[list[Numbered]]: ...


@dataclass
class _Work:
    """Series that are sent again, each from a time on, because `entries` are in force now."""

    entries: InForce
    since: Mapping[Series, int]
    upto: int
    revised: list[Batch]
    pieces: Iterator[list[Numbered]]
    done: float | None = None


class Correcting:
    """Sees to the field `corrected`. forward.db knows which entries the server's values rest on."""

    def __init__(self, corrections: Corrections, site: str) -> None:
        self._corrections = corrections
        self._site = site
        self._looked = float("-inf")
        self._work: _Work | None = None
        self._unread = ""

    def value(self, reading: Reading) -> float | None:
        return self._corrections.value(reading)

    def begin_again(self) -> None:
        """What was sent again is not safe: it is, once more."""
        self._work = None
        self._looked = float("-inf")

    def look(self, store: Stored, state: ForwardState, now: float) -> None:
        """Whether other entries are in force than when the readings were sent; now: monotonic s."""
        if self._work is not None or now - self._looked < LOOK_S:
            return
        self._looked = now
        try:
            entries = self._corrections.in_force()
        except StoreError as error:
            if str(error) != self._unread:
                log.warning("corrections cannot be read; what was known of them stays: %s", error)
            self._unread = str(error)
            return
        since = changed(state.corrected_by(), entries)
        if not since:
            return
        if not state.acknowledged:
            state.note_corrected(entries)
            return
        revised = store.revised_upto(state.acknowledged)
        pieces = store.pieces_from(min(since.values()))
        self._work = _Work(entries, since, state.acknowledged, revised, pieces)

    def next_lines(self, state: ForwardState, now: float) -> list[str]:
        """The next lines to send again; none if there is nothing to do just now."""
        work, found = self._work, list[str]()
        if work is not None and work.done is None:
            for _ in range(PIECES):
                piece = next(work.pieces, None)
                if piece is None:
                    work.done = now
                    break
                found += [self._again(work, *item) for item in piece if _concerns(work, *item)]
                if len(found) >= LINES:
                    break
        elif work is not None and work.done is not None and now - work.done >= SAFE_S:
            state.note_corrected(work.entries)
            self._work = None
        return found

    def _again(self, work: _Work, reading: Reading, seq: int) -> str:
        """The line that holds at that time, with its value also where it is corrected no longer."""
        rev = max(
            (b.seq for b in work.revised if b.seq > seq and b.t_min <= reading.at <= b.t_max), default=0
        )
        value = self.value(reading)
        return lines.reading_line(self._site, reading, seq, rev, reading.value if value is None else value)


def _concerns(work: _Work, reading: Reading, seq: int) -> bool:
    since = work.since.get((reading.probe, reading.quantity))
    return since is not None and reading.at >= since and seq <= work.upto


def changed(before: InForce, now: InForce) -> dict[Series, int]:
    """Of each series that is corrected otherwise: from when on (UTC ms)."""
    found = {}
    for series in {*before, *now}:
        was, is_now = _told(before.get(series, ())), _told(now.get(series, ()))
        for one, other in zip_longest(was, is_now):
            if one != other:
                found[series] = min(item[0] for item in (one, other) if item is not None)
                break
    return found


def _told(stretches: Sequence[tuple[int, str]]) -> list[tuple[int, str]]:
    """Only where another entry begins to count."""
    kept: list[tuple[int, str]] = []
    for since, entry in stretches:
        if entry != (kept[-1][1] if kept else ""):
            kept.append((since, entry))
    return kept
