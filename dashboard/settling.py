"""Keeps what is settled of each open panel's course, so that an answer works out only what is new.

One rule tells whether it still holds: all that it was made from, up to its hour, must be what it was. That is its mark:
the panel's entries, its cards, and of each probe that stands or stood for it the newest reading by that hour, the last
change of an older one, its corrections and what stands against it. Where the mark is another, or what was learned of
a coat is, or where the answer is for a time at which that hour could not be settled yet, the panel is worked out anew
from its first coat, a day at a time. Nothing is stored: after a start every panel is worked out once.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from collector.reading import Quantity
from dashboard.course import accuracy_of, coats_that_count, course_of
from dashboard.facts import Facts, run_up_from, start_of
from dashboard.follow import DAY_MS, Follower, Trace
from dashboard.outlooks import panel_samples
from dashboard.panel import Panel
from dashboard.settle import TREND_MS, settle, settled_by
from dashboard.settled import Assumed, CoatAssumed, Settled, Unsettled
from dashboard.stays import Ask
from dashboard.unsure_time import matters
from model.blocks import MINUTE_MS, Blocks
from model.history import HOUR_MS

Answer = TypeVar("Answer")
FactsOf = Callable[[Ask], Facts]
"""A panel's facts, its traces asked for one by one."""
MOST_TURNS = 5
"""So often what was learned is learned anew from what it gave; it is the same by the third turn."""
NEIGHBOUR_MS = HOUR_MS
"""Minutes hang on the samples beside them: so much is read before what is not settled."""
AHEAD_MS = DAY_MS
"""Readings that a clock ahead of ours has dated into the future are read too, as a follower has them."""
_Asked = tuple[str | None, Quantity, bool]


@dataclass(frozen=True)
class _Kept:
    """mark   of what is settled"""

    mark: tuple[object, ...]
    settled: Settled


class Settling:
    """For the panels of one follower.

    turned   called after each day that is worked out anew
    """

    def __init__(self, follower: Follower, turned: Callable[[], None] = lambda: None) -> None:
        self._follower = follower
        self._turned = turned
        self._kept: dict[str, _Kept] = {}

    def needed(self, panels: Iterable[Panel]) -> dict[str, int]:
        """By probe, from when on (UTC ms) its readings are needed to go on from what is settled."""
        found: dict[str, int] = {}
        for panel in panels:
            kept = self._kept.get(panel.id)
            if kept is not None:
                since = _after(kept.settled)
                found |= {probe: min(since, found.get(probe, since)) for probe in panel.probes}
        return found

    def keep_only(self, panels: Collection[str]) -> None:
        self._kept = {name: kept for name, kept in self._kept.items() if name in panels}

    def ask(self, panel: Panel, facts_of: FactsOf, at: int, answer: Callable[[Facts, int], Answer]) -> Answer:
        """What `answer` makes of the panel's facts as of `at` (UTC ms), with what is settled of its course."""
        facts, asked = self._followed(facts_of)
        to = _known_to(facts, at)
        if to is None:
            return answer(facts, at)
        if matters(facts, at):  # told for other times too: all of its life is needed
            return answer(whole(self._follower, facts_of, facts, at), at)
        settled = self._settled(facts, asked, at)
        if settled is None and to > _begin(facts):
            settled = self._anew(facts_of, facts, to, _first_guess(facts, to))
        for _ in range(MOST_TURNS):
            settled = self._onwards(facts_of, facts, asked, to, settled)
            try:
                return answer(replace(self._enough(facts_of, facts, to, settled), settled=settled), at)
            except Unsettled as reason:
                settled = self._anew(facts_of, facts, to, reason.found)
        return answer(whole(self._follower, facts_of, facts, at), at)

    def _followed(self, facts_of: FactsOf) -> tuple[Facts, tuple[_Asked, ...]]:
        asked: list[_Asked] = []

        def ask(probe: str | None, quantity: Quantity, beside: bool) -> Trace | None:
            asked.append((probe, quantity, beside))
            return self._follower.trace(probe, quantity, beside)

        return facts_of(ask), tuple(asked)

    def _settled(self, facts: Facts, asked: tuple[_Asked, ...], at: int) -> Settled | None:
        """What is kept, if it still holds and is no more than may be settled at `at` (UTC ms): a clock may be set back,
        and readings after its hour, which its last minutes hang on, may come in doubt.
        """
        kept = self._kept.get(facts.panel.id)
        if kept is None or kept.settled.until > settled_by(facts, at):
            return None
        if kept.mark != self._mark(facts, asked, kept.settled.until):
            return None
        return kept.settled

    def _mark(self, facts: Facts, asked: tuple[_Asked, ...], until: int) -> tuple[object, ...]:
        return facts.panel, dict(facts.cards), tuple(self._follower.mark(*one, until) for one in asked)

    def _onwards(
        self, facts_of: FactsOf, facts: Facts, asked: tuple[_Asked, ...], to: int, settled: Settled | None
    ) -> Settled | None:
        """Settled as far as it may be by now; kept for the next answer."""
        if settled is None:
            return None
        enough = self._enough(facts_of, facts, to, settled)
        if settled_by(enough, to) > settled.until:
            settled = _further(replace(enough, settled=settled), to, settled.assumed) or settled
        self._kept[facts.panel.id] = _Kept(self._mark(facts, asked, settled.until), settled)
        return settled

    def _enough(self, facts_of: FactsOf, facts: Facts, to: int, settled: Settled | None) -> Facts:
        """The facts with all readings that follow what is settled, from the store where they are not kept any more."""
        since, trace = _needs(facts, settled), facts.temperature
        assert trace is not None
        if settled is None:
            joined = trace.last_usable(_begin(facts)) is not None
        else:
            joined = trace.last_usable(settled.until) == settled.last_at
        if joined and all(self._follower.holds(probe, since) for probe in facts.panel.probes):
            return facts
        return between(
            self._follower, facts_of, since if joined else _needs(facts, settled, whole=True), to + AHEAD_MS
        )

    def _anew(self, facts_of: FactsOf, facts: Facts, to: int, assumed: Assumed) -> Settled | None:
        """From the first coat on; None while nothing is to be settled."""
        settled: Settled | None = None
        end = _begin(facts)
        while end < to:
            end = min(end + DAY_MS, to)
            since = _needs(facts, settled, whole=True)
            part = replace(between(self._follower, facts_of, since, end), settled=settled)
            settled = _further(part, end, assumed) or settled
            self._turned()
        return settled


def whole(follower: Follower, facts_of: FactsOf, facts: Facts, at: int) -> Facts:
    """The facts with all readings of the coats' lives, read from the store."""
    if not facts.panel.coats or facts.temperature is None:
        return facts
    return between(follower, facts_of, run_up_from(facts), at + AHEAD_MS)


def between(follower: Follower, facts_of: FactsOf, start: int, end: int) -> Facts:
    """The facts with the readings of these times (UTC ms), and the logs that are followed."""

    def ask(probe: str | None, quantity: Quantity, beside: bool) -> Trace | None:
        trace = follower.past(probe, quantity, start, end, beside)
        now = follower.trace(probe, quantity, beside)
        if trace is None or now is None:
            return None
        return replace(trace, newest=now.newest, logged=now.logged)

    return facts_of(ask)


def _further(facts: Facts, to: int, assumed: Assumed) -> Settled | None:
    """What is settled by `to` (UTC ms), from what was before; None if that is no more."""
    trace = facts.temperature
    if trace is None or trace.last_usable(to) is None:
        return None
    until = settled_by(facts, to)
    since = _begin(facts) if facts.settled is None else facts.settled.until
    if until <= since:
        return None
    nothing = np.empty(0)
    ahead = Blocks(to // MINUTE_MS * MINUTE_MS, nothing, nothing, nothing, np.empty(0, np.bool_), nothing)
    samples = panel_samples(facts, trace, to)
    course = course_of(facts, samples, ahead, None, to, assumed.accuracy_K)
    return settle(facts, course, until, assumed)


def _known_to(facts: Facts, at: int) -> int | None:
    """As far as the panel's course is known; None without a coat, its card or a reading."""
    trace = facts.temperature
    coats = facts.panel.coats
    if not coats or trace is None or any(coat.card not in facts.cards for coat in coats):
        return None
    last = trace.last_usable(at)
    if last is None:
        return None
    return last if trace.unheard(at) else at


def _begin(facts: Facts) -> int:
    return min(start_of(coat, card) for coat, card in coats_that_count(facts))


def _needs(facts: Facts, settled: Settled | None, *, whole: bool = False) -> int:
    """From when on readings are needed, UTC ms; whole: also those that only tell where the panel came from."""
    if settled is not None:
        return _after(settled)
    return run_up_from(facts) if whole or facts.surface is None else _begin(facts) - NEIGHBOUR_MS


def _after(settled: Settled) -> int:
    return min(settled.last_at, settled.until - TREND_MS - NEIGHBOUR_MS)


def _first_guess(facts: Facts, to: int) -> Assumed:
    return Assumed(
        accuracy_of(facts, to),
        tuple(CoatAssumed(coat.number, None, None) for coat, _ in coats_that_count(facts)),
    )
