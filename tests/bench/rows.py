"""Rows of the benchmarks' table: what is measured is declared once, the code that measures finds only numbers.

A row's peer is measured in the same run, in turns with ours, so that a busy machine slows both. Its ratio is ours over
the peer's, the middle of all pairs of turns.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Row:
    """What one row is about; `beside` names its peer. One goal at most: of the ratio where there is a peer, else of
    ours; or `ours_at_most`, of ours though there is a peer.
    """

    what: str
    unit: str = ""
    beside: str = ""
    at_least: float | None = None
    at_most: float | None = None
    ours_at_most: float | None = None

    @property
    def goal(self) -> str:
        if self.at_least is not None:
            return f"at least {self.at_least:,g}"
        if self.at_most is not None:
            return f"at most {self.at_most:,g}"
        return "" if self.ours_at_most is None else f"ours at most {self.ours_at_most:,g}"

    def met(self, found: Found) -> bool:
        """Whether the goal was reached; True where there is none."""
        if self.ours_at_most is not None:
            return found.ours <= self.ours_at_most
        value = found.ours if found.ratio is None else found.ratio
        low = -math.inf if self.at_least is None else self.at_least
        high = math.inf if self.at_most is None else self.at_most
        return low <= value <= high


@dataclass(frozen=True)
class Found:
    """What was measured of one row: the middle of so many rounds."""

    ours: float
    peer: float | None = None
    ratio: float | None = None
    rounds: int = 1


@dataclass(frozen=True)
class Section:
    """Rows that are measured together, in a process of their own; `measure` finds all of them."""

    name: str
    title: str
    rows: Mapping[str, Row]
    measure: Callable[[], Mapping[str, Found]]
    limit_s: float = 240.0

    def found(self) -> dict[str, Found]:
        """Raises ValueError if other rows were measured than are declared."""
        found = dict(self.measure())
        if found.keys() != self.rows.keys():
            raise ValueError(
                f"{self.name}: not both declared and measured: {found.keys() ^ self.rows.keys()}"
            )
        return found


def alone(ours: Sequence[float]) -> Found:
    return Found(median(ours), rounds=len(ours))


def compared(ours: Sequence[float], peers: Sequence[float]) -> Found:
    """Of turns that were taken right after one another."""
    ratio = median(own / peer for own, peer in zip(ours, peers, strict=True))
    return Found(median(ours), median(peers), ratio, len(ours))


def each(count: float, seconds: Sequence[float]) -> list[float]:
    """So many a second."""
    return [count / taken for taken in seconds]


def scaled(by: float, values: Sequence[float]) -> list[float]:
    return [by * value for value in values]


def turns(
    rounds: int, *runs: Callable[[], object], clock: Callable[[], float] = time.process_time
) -> list[list[float]]:
    """Seconds that each run took in each round; a first round is not counted, and every other one is run backwards."""
    taken: list[list[float]] = [[] for _ in runs]
    for number in range(-1, rounds):
        for run, seconds in list(zip(runs, taken, strict=True))[:: 1 if number % 2 else -1]:
            begin = clock()
            run()
            if number >= 0:
                seconds.append(clock() - begin)
    return taken


def spell(value: float) -> str:
    """Three digits that count, thousands apart: 1,180 and 0.0625 and 4.1e-07."""
    if value == 0.0:
        return "0"
    value = float(f"{value:.3g}")
    place = math.floor(math.log10(abs(value)))
    if place < -4:
        return f"{value:.1e}"
    digits = 2 - place
    return f"{value:,.{max(digits, 0)}f}"
