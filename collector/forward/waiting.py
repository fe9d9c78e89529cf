"""What the server has acknowledged, until it is safe: a minute old, and the server was asked whether it has it."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

from collector.forward.read_back import Sent

SAFE_S = 60.0
"""Acknowledged for so long, and nothing broken since: on the server's disk. One server that runs in this house's tests
loses up to 9 s of what it has acknowledged when it is killed."""
ASK_S = 45.0
"""After its acknowledgement the server is asked whether it has it; at most every ASK_EVERY_S, so before SAFE_S."""
ASK_EVERY_S = 10.0
ASK_ROWS = 50_000
ASK_SPAN_MS = 24 * 3_600_000
"""What is asked for at once, at most, unless one portion is more."""


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """Acknowledged `at` (monotonic s); how often the server did not have it when it was asked."""

    sent: Sent
    at: float
    missed: int = 0


class Waiting:
    """Two queues, each in the order of batches: not asked for yet, then asked for and found."""

    def __init__(self) -> None:
        self._new: deque[Acknowledged] = deque()
        self._found: deque[Acknowledged] = deque()
        self._asked = float("-inf")

    def clear(self) -> None:
        """All of it is sent again."""
        self._new.clear()
        self._found.clear()

    def add(self, item: Acknowledged) -> None:
        self._new.append(item)

    def add_first(self, item: Acknowledged) -> None:
        """Sent again: nothing that came after is safe before it is."""
        self._new.appendleft(item)

    def take_due(self, now: float) -> Acknowledged | None:
        """What the server is to be asked for now; several portions as one where they belong together."""
        if not self._is_due(now) or now - self._asked < ASK_EVERY_S:
            return None
        item = self._new.popleft()
        while self._is_due(now) and _fit(item, self._new[0]):
            later = self._new.popleft()
            item = replace(later, sent=item.sent.with_next(later.sent))
        if not self._is_due(now):
            self._asked = now
        return item

    def found(self, item: Acknowledged) -> None:
        """The server has it, or cannot be asked."""
        self._found.append(item)

    def safe(self, now: float) -> tuple[int, int]:
        """The last batch that has become safe by now, and the tick of the commit that says so; zeros if none has."""
        seq = tick = 0
        while self._found and now - self._found[0].at >= SAFE_S:
            sent = self._found.popleft().sent
            if sent.seq >= seq:
                seq, tick = sent.seq, max(sent.ticks, default=0)
        return seq, tick

    def _is_due(self, now: float) -> bool:
        return bool(self._new) and now - self._new[0].at >= ASK_S


def _fit(item: Acknowledged, later: Acknowledged) -> bool:
    if item.missed or later.missed or item.sent.revised or later.sent.revised:
        return False
    both = item.sent.with_next(later.sent)
    return both.n <= ASK_ROWS and both.t_max - both.t_min <= ASK_SPAN_MS
