"""Works out what is settled of a panel from its first coat on, a stretch of time after the other.

After a start that is asked for all panels: then each goes one stretch while the others wait, so that the hours of the
readings are read once for all of them, however many panels and days there are.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from collector.reading import Quantity
from dashboard.course import coats_that_count, course_of
from dashboard.facts import Facts, run_up_from, start_of
from dashboard.follow import Follower, Trace
from dashboard.outlooks import panel_samples
from dashboard.settle import TREND_MS, may_be_settled, settle, settled_by
from dashboard.settled import Assumed, Settled
from dashboard.stays import Ask
from model.blocks import MINUTE_MS, Blocks
from model.history import HOUR_MS

FactsOf = Callable[[Ask], Facts]
"""A panel's facts, its traces asked for one by one."""
NEIGHBOUR_MS = HOUR_MS
"""Minutes hang on the samples beside them: so much is read before what is not settled."""


@dataclass
class Anew:
    """One panel on its way from its first coat to `to` (UTC ms), so far at `end`; settled: None while nothing is."""

    follower: Follower
    facts_of: FactsOf
    facts: Facts
    to: int
    assumed: Assumed
    end: int
    settled: Settled | None = None

    @classmethod
    def of(cls, follower: Follower, facts_of: FactsOf, facts: Facts, to: int, assumed: Assumed) -> Anew:
        return cls(follower, facts_of, facts, to, assumed, begin_of(facts))

    @property
    def is_done(self) -> bool:
        return self.end >= self.to

    def go_on(self) -> None:
        """One stretch further. All panels stop at the same times."""
        stride = self.follower.stride_ms()
        self.end = min((self.end // stride + 1) * stride, self.to)
        reached = begin_of(self.facts) if self.settled is None else self.settled.until
        if may_be_settled(self.end) <= reached:
            return  # nothing is read for a coat that is too young
        part = replace(self._readings(), settled=self.settled)
        self.settled = further(part, self.end, self.assumed) or self.settled

    def _readings(self) -> Facts:
        """What follows all that is settled; where nothing is, also what tells where the panel came from."""
        since = needed_from(self.facts, self.settled)
        if self.settled is not None or self.facts.surface is not None:
            near = between(self.follower, self.facts_of, since, self.end, shared=True)
            trace = near.temperature
            if self.settled is not None or (trace and trace.last_usable(begin_of(self.facts)) is not None):
                return near
        return between(self.follower, self.facts_of, run_up_from(self.facts), self.end)


def between(follower: Follower, facts_of: FactsOf, start: int, end: int, shared: bool = False) -> Facts:
    """The facts with the readings of these times (UTC ms), and the logs that are followed.

    shared   other panels go through the same hours
    """

    def ask(probe: str | None, quantity: Quantity, beside: bool) -> Trace | None:
        trace = follower.past(probe, quantity, start, end, beside, shared)
        now = follower.trace(probe, quantity, beside)
        if trace is None or now is None:
            return None
        return replace(trace, newest=now.newest, logged=now.logged)

    return facts_of(ask)


def further(facts: Facts, to: int, assumed: Assumed) -> Settled | None:
    """What is settled by `to` (UTC ms), from what was before; None if that is no more."""
    trace = facts.temperature
    if trace is None or trace.last_usable(to) is None:
        return None
    until = settled_by(facts, to)
    since = begin_of(facts) if facts.settled is None else facts.settled.until
    if until <= since:
        return None
    nothing = np.empty(0)
    ahead = Blocks(to // MINUTE_MS * MINUTE_MS, nothing, nothing, nothing, np.empty(0, np.bool_), nothing)
    samples = panel_samples(facts, trace, to)
    course = course_of(facts, samples, ahead, None, to, assumed.accuracy_K)
    return settle(facts, course, until, assumed)


def begin_of(facts: Facts) -> int:
    """When the oldest coat that counts began, UTC ms."""
    return min(start_of(coat, card) for coat, card in coats_that_count(facts))


def needed_from(facts: Facts, settled: Settled | None, *, whole: bool = False) -> int:
    """From when on readings are needed, UTC ms; whole: also those that only tell where the panel came from."""
    if settled is not None:
        return after(settled)
    return run_up_from(facts) if whole or facts.surface is None else begin_of(facts) - NEIGHBOUR_MS


def after(settled: Settled) -> int:
    """From when on readings are needed to go on from it, UTC ms."""
    return min(settled.last_at, settled.until - TREND_MS - NEIGHBOUR_MS)
