"""Waiting between attempts: longer each time up to a cap, and never past the moment somebody says stop."""

from __future__ import annotations

import time
from collections.abc import Callable

FIRST_S = 0.25
LONGEST_S = 15.0
STEP_S = 0.05


class GrowingWait:
    """Real seconds, doubled after each pause until reset. A link that is back is found within `longest`."""

    def __init__(self, first: float = FIRST_S, longest: float = LONGEST_S) -> None:
        self._first = self._next = first
        self._longest = longest

    def pause(self, stop: Callable[[], bool]) -> None:
        """Waits; returns early if `stop` says so."""
        rest(self._next, stop)
        self._next = min(2 * self._next, self._longest)

    def reset(self) -> None:
        """It worked: the next wait is the shortest again."""
        self._next = self._first


def rest(seconds: float, stop: Callable[[], bool]) -> None:
    """Waits that many real seconds; returns early if `stop` says so."""
    end = time.monotonic() + seconds
    while not stop() and (left := end - time.monotonic()) > 0:
        time.sleep(min(STEP_S, left))
