"""What a check says of one probe, bin by bin: for a suspicion, against it, or nothing because it cannot be told."""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from collector.suspicion.grid import Floats

Bools = NDArray[np.bool_]
Number = float | str

HOUR_BINS = 30


@dataclass(frozen=True)
class Votes:
    """One kind of suspicion of one probe over the bins of a site; each bin is judged by what came up to it.

    window    bins that one judgement looks back on
    numbers   what to tell of it, from the index of the bin that voted for it
    toggles   a second vote, later, ends what the first began: an exchange undone
    """

    probe: str
    kind: str
    speaks_for: Bools
    against: Bools
    window: int
    numbers: Callable[[int], Mapping[str, Number]]
    toggles: bool = False

    def moved(self, bins: int) -> Votes:
        """The same over a site that begins so many bins earlier."""
        lead = np.zeros(bins, bool)
        return replace(
            self,
            speaks_for=np.concatenate([lead, self.speaks_for]),
            against=np.concatenate([lead, self.against]),
            numbers=lambda index: self.numbers(index - bins),
        )


def usual(value: Floats, share: float, least: int = 5, since: int = HOUR_BINS) -> Floats:
    """What a series was like until an hour ago: that quantile of its past, NaN while fewer than `least` are known.

    Looked at each tenth minute, both for the past and for the present.
    """
    out = np.full(len(value), np.nan)
    sampled, past = value[::5].tolist(), list[float]()
    for i in range(since, len(value), 5):
        newest = sampled[(i - since) // 5]
        if newest == newest:  # not NaN
            insort(past, newest)
        if len(past) >= least:
            out[i : i + 5] = past[round(share * (len(past) - 1))]
    return out


def none(like: Bools) -> Bools:
    return np.zeros(len(like), bool)


def held(event: Bools, n: int) -> Bools:
    """Whether it has been so for n bins on end."""
    return np.asarray(np.convolve(event, np.ones(n))[: len(event)] > n - 0.5)


def recent(event: Bools, n: int) -> Bools:
    """Whether it was so in any of the last n bins."""
    return np.asarray(np.convolve(event, np.ones(n))[: len(event)] > 0.5)
