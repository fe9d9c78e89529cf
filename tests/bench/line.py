"""One line of the benchmarks' table, and the way to time."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Line:
    """One line of the table; `limit` is what was asked: at most, or at least if `more` is better."""

    name: str
    value: float
    unit: str
    limit: float | None = None
    more: bool = False

    def __str__(self) -> str:
        line = f"{self.name:<62}{self.value:>12.4g} {self.unit:<6}"
        if self.limit is None:
            return line
        met = self.value >= self.limit if self.more else self.value <= self.limit
        word = "at least" if self.more else "at most"
        ratio = f"{self.value / self.limit:.3g} of it" if self.limit else ""
        return f"{line}{word} {self.limit:<8g}{ratio:<14}{'' if met else 'NOT MET'}"


def best_s(run: Callable[[], object], times: int = 7) -> float:
    """Processor time of the quickest of several runs, s."""
    found = []
    for _ in range(times):
        begin = time.process_time()
        run()
        found.append(time.process_time() - begin)
    return min(found)


def of_the_peer(ours_s: Sequence[float], peers_s: Sequence[float]) -> float:
    """How fast ours is beside a peer that took its turn right after or before: the median over the pairs of turns."""
    return median(peer / own for own, peer in zip(ours_s, peers_s, strict=True))
