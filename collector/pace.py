"""How often the store is written to: a commit wears a card by the same few pages however little is in it."""

from __future__ import annotations

from collections.abc import Callable

COMMIT_EVERY_S = 5.0
"""In the long run. Eight probes that speak whenever they like would else make eight commits in ten seconds."""
AT_ONCE = 60
"""Commits that are not held back after a quiet time: setting up a probe, a file, the first minutes."""


class Pace:
    """An allowance of commits: AT_ONCE at first and at most, and a new one every COMMIT_EVERY_S."""

    def __init__(self, now: Callable[[], float], rate: float = 1.0) -> None:
        """`now` in seconds, never set back; a demo's clock runs `rate` times as fast, and so does the allowance."""
        self._now = now
        self._every = COMMIT_EVERY_S / rate
        self._left = float(AT_ONCE)
        self._seen = now()

    def wait(self) -> float:
        """Seconds until the next commit should be made; 0 if it may be made now."""
        self._refill()
        return max(0.0, (1.0 - self._left) * self._every)

    def spend(self) -> None:
        """A commit was made. One made early, because a batch was full, is not held against the next."""
        self._refill()
        self._left = max(0.0, self._left - 1.0)

    def _refill(self) -> None:
        now = self._now()
        self._left = min(float(AT_ONCE), self._left + (now - self._seen) / self._every)
        self._seen = now
