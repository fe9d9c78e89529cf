"""How a site stands that sends its readings to a time-series server."""

from __future__ import annotations

from dataclasses import dataclass

MINUTE_MS = 60_000
UNHEARD_MS = 2 * MINUTE_MS
"""A site speaks twice a minute; one that has not for so long is cut off, or down."""
LAGS_MS = 2 * MINUTE_MS
"""What a site has kept for so long without sending it on lags; a look or two is no lag."""
APART_MS = 2 * MINUTE_MS
"""A site whose clock is further ahead of ours is not believed: its readings would seem fresh when they are old."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """n: how many rows, each counted once; of: what the one found last is of; at: its time, UTC ms, if it has one."""

    n: int = 0
    of: str = ""
    at: int | None = None


@dataclass(frozen=True, slots=True)
class SiteState:
    """One site as a time-series server shows it.

    heard_at    UTC ms of our clock when it was last heard; None: never
    behind      batches that it has kept and not sent on
    lags_since  UTC ms of our clock since when at least one of them waits; None: none does
    catches_up  whether it was cut off and has not sent yet all that it had when it was heard again
    missing     readings that it has sent and that the server does not show
    left_out    rows of it on the server that make no sense
    kept        lines that the server refused and that lie at the site
    ahead_ms    how far its clock was before ours when it was last heard; below 0: behind
    shared      whether two computers send under its name: nothing of it is believed
    arrived_at  UTC ms of our clock when readings last came from it, and up to when they were measured (newest_at)
    why         what the server says, or what is wrong with it, where it does not answer; "": it answers
    answers_since  UTC ms of our clock since when the server has answered without a break; 0: for long
    known       whether what it says of its probes is here as a whole
    odd         what of that makes no sense here; "": it can be read
    """

    name: str
    heard_at: int | None = None
    behind: int = 0
    lags_since: int | None = None
    catches_up: bool = False
    missing: int = 0
    left_out: LeftOut = LeftOut()
    kept: int = 0
    ahead_ms: int = 0
    shared: bool = False
    arrived_at: int | None = None
    newest_at: int | None = None
    answers_since: int = 0
    known: bool = False
    why: str = ""
    odd: str = ""

    def is_cut(self, now: int) -> bool:
        """Whether it has not been heard for too long at `now` (UTC ms)."""
        return self.heard_at is None or now - self.heard_at > UNHEARD_MS

    def lags(self, now: int) -> bool:
        """Whether it is heard, and readings wait there."""
        waits = self.lags_since is not None and now - self.lags_since > LAGS_MS
        return waits and not self.is_cut(now)

    @property
    def is_ahead(self) -> bool:
        """Whether its clock is so far before ours that nothing of it is believed."""
        return self.ahead_ms > APART_MS
