"""Which of the rows that a server shows hold: lines.py says when a later commit puts them out of force."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from collector.reading import Quality, Quantity, Reading
from collector.store.time_series.lines import as_named
from collector.store.time_series.rows import Rows

READING = ("value", "quality", "seq", "lag")
_QUANTITIES = {quantity.value: quantity for quantity in Quantity}
Key = tuple[str, Quantity]
"""Probe, as its site calls it, and quantity."""


class Revision(NamedTuple):
    """A commit by which whatever had been sent before of t_min to t_max (UTC ms) holds no longer."""

    seq: int
    t_min: int
    t_max: int


@dataclass(frozen=True, slots=True)
class Held:
    """One series as readings.db would serve it: times UTC ms, increasing; `seq` the batch that each came in."""

    t: NDArray[np.int64]
    value: NDArray[np.float64]
    quality: NDArray[np.int64]
    seq: NDArray[np.int64]
    lag: NDArray[np.int64]

    @classmethod
    def nothing(cls) -> Held:
        empty = np.empty(0, np.int64)
        return cls(empty, np.empty(0), empty, empty, empty)

    def __len__(self) -> int:
        return len(self.t)

    def only(self, keep: NDArray[np.bool_]) -> Held:
        return Held(self.t[keep], self.value[keep], self.quality[keep], self.seq[keep], self.lag[keep])

    def reading(self, probe: str, quantity: Quantity, i: int) -> Reading:
        at = int(self.t[i])
        return Reading(
            probe, quantity, float(self.value[i]), at, at + int(self.lag[i]), Quality(int(self.quality[i]))
        )


def held(rows: Iterable[Rows], revisions: Sequence[Revision], upto: int) -> dict[Key, Held]:
    """What holds of one site's rows once its commits up to `upto` count. `revisions`: those that cover their times,
    in any order; later ones than `upto` are left out.
    """
    grouped: dict[Key, list[Rows]] = {}
    for series in rows:
        name, quantity = series.tags.get("probe"), _QUANTITIES.get(series.tags.get("quantity", ""))
        if name is not None and quantity is not None:
            grouped.setdefault((as_named(name), quantity), []).append(series.whole(READING))
    counting = sorted(item for item in revisions if item.seq <= upto)
    found = {key: _one(parts, counting, upto) for key, parts in grouped.items()}
    return {key: one for key, one in found.items() if len(one)}


def count_new(rows: Iterable[Rows], since: int, upto: int) -> int:
    """How many whole rows there are of the batches after `since` up to `upto`, beside those of revisions."""
    seqs = [series.whole(READING).columns["seq"] for series in rows if not _rev(series.tags)]
    return sum(int(np.count_nonzero((seq > since) & (seq <= upto))) for seq in seqs)


def count_revised(rows: Iterable[Rows], rev: int) -> int:
    """How many whole rows there are of that revision, whenever they first came."""
    return sum(len(series.whole(READING).t) for series in rows if _rev(series.tags) == rev)


def _rev(tags: Mapping[str, str]) -> int:
    text = tags.get("rev", "")
    return int(text) if text.isdecimal() else 0


def _one(parts: Sequence[Rows], revisions: Sequence[Revision], upto: int) -> Held:
    t = np.concatenate([part.t for part in parts])
    columns = {name: np.concatenate([part.columns[name] for part in parts]) for name in READING}
    revs = np.concatenate([np.full(len(part.t), _rev(part.tags), np.int64) for part in parts])
    seq = columns["seq"].astype(np.int64)
    version = np.where(revs > 0, revs, seq)
    order = np.lexsort((columns["value"], -version, t))
    t, version = t[order], version[order]
    in_force = np.zeros(len(t), np.int64)
    for revision in revisions:  # ascending, so that the highest stands in the end
        begin, end = np.searchsorted(t, revision.t_min), np.searchsorted(t, revision.t_max, "right")
        in_force[begin:end] = revision.seq
    keep = (version >= in_force) & (version <= upto)
    t, order = t[keep], order[keep]
    first = np.diff(t, prepend=-1) != 0
    t, order = t[first], order[first]
    quality, lag = (columns[name][order].astype(np.int64) for name in ("quality", "lag"))
    return Held(t, columns["value"][order], quality, seq[order], lag)
