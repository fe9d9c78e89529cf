"""What an engine answers with, and what we ask of one: rows of a measurement between two times."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

FIRST_MS, LAST_MS = 0, 9_000_000_000_000
"""Between these UTC ms (1970 and 2255) servers take times: in ns they must fit into 63 bits."""
HOUR_MS = 3_600_000
BACK_MS = (HOUR_MS, 6 * HOUR_MS, 24 * HOUR_MS, 7 * 24 * HOUR_MS, 30 * 24 * HOUR_MS, LAST_MS)
"""How far back the newest of something is looked for, step by step."""

NO_TIME = -1
MOST = 2.0**53
"""Up to it every whole number is one of float64."""
ODD = (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError, RecursionError)
"""What reading an answer raises that is not of the form it should be."""


@dataclass(frozen=True, slots=True)
class Rows:
    """One series. t: UTC ms, increasing; columns: by field one value each, NaN where the server shows none (yet).

    left_out   times (UTC ms) of its rows that make no sense; NO_TIME where that is it. None is whole in the rest.
    """

    tags: Mapping[str, str]
    t: NDArray[np.int64]
    columns: Mapping[str, NDArray[np.float64]]
    left_out: frozenset[int] = frozenset()

    def whole(self, fields: Sequence[str]) -> Rows:
        """Only the rows of which all those fields are there, and only those fields."""
        empty = np.full(len(self.t), np.nan)
        columns = {name: self.columns.get(name, empty) for name in fields}
        keep = np.ones(len(self.t), np.bool_)
        for column in columns.values():
            keep &= ~np.isnan(column)
        return Rows(self.tags, self.t[keep], {name: column[keep] for name, column in columns.items()})


def sound(tags: Mapping[str, str], told: Any, columns: Mapping[str, NDArray[np.float64]]) -> Rows:
    """One series as an answer tells it, without the rows that no site has sent: a time that no server takes, a number
    beyond what we count in.

    told   the times, UTC ms. Raises one of ODD for what is no series: unlike lengths, tags that are no text.
    """
    if not all(isinstance(text, str) for pair in tags.items() for text in pair):
        raise ValueError("a tag that is no text")
    t = np.array(told, np.float64)
    takes = (t >= FIRST_MS) & (t <= LAST_MS)
    keep = takes.copy()
    for column in columns.values():
        if column.shape != t.shape or t.ndim != 1:
            raise ValueError("columns of unlike length")
        keep &= ~(np.abs(column) > MOST)
    left_out = np.where(takes, t, NO_TIME)[~keep]
    kept = {name: column[keep] for name, column in columns.items()}
    return Rows(tags, t[keep].astype(np.int64), kept, frozenset(left_out.astype(np.int64).tolist()))


class Engine(Protocol):
    """One time-series server. Any method raises Unanswered while it does not answer as it should."""

    def rows(
        self,
        measurement: str,
        where: Mapping[str, Sequence[str]],
        fields: Sequence[str],
        start: int,
        end: int,
    ) -> list[Rows]:
        """Every series of the measurement from start to end (UTC ms, both in) that has a row there.

        where   by tag the values of which it must have one
        fields  which; none: all there are
        """
        ...


def clamped(start: int, end: int) -> tuple[int, int]:
    """The same span within what servers take."""
    return max(start, FIRST_MS), min(end, LAST_MS)


def merged(
    tags: Mapping[str, str],
    fields: Mapping[str, tuple[NDArray[np.int64], NDArray[np.float64]]],
    left_out: frozenset[int] = frozenset(),
) -> Rows:
    """Fields that were told apart, each with times of its own (a repeat: the last counts), side by side."""
    every = [np.empty(0, np.int64), *(t for t, _ in fields.values())]
    times = np.unique(np.concatenate(every))
    columns = {}
    for name, (t, value) in fields.items():
        column = np.full(len(times), np.nan)
        column[np.searchsorted(times, t)] = value
        columns[name] = column
    return Rows(tags, times, columns, left_out)
