"""Keeps what is settled of each open panel's course, so that an answer works out only what is new.

One rule tells whether it still holds: all that it was made from, up to its hour, must be what it was. That is its mark:
the panel's entries, its cards, and of each probe that stands or stood for it the newest reading by that hour, the last
change of an older one, its corrections and what stands against it. Where the mark is another, or what was learned of
a coat is, or where the answer is for a time at which that hour could not be settled yet, the panel is worked out anew
from its first coat, a day at a time. Nothing is stored: after a start every panel is worked out once.
"""

from __future__ import annotations

import heapq
import logging
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TypeVar

from collector.reading import Quantity
from dashboard.anew import Anew, FactsOf, after, begin_of, between, further, needed_from
from dashboard.course import accuracy_of, coats_that_count
from dashboard.facts import Facts, run_up_from
from dashboard.follow import DAY_MS, Follower, Trace
from dashboard.panel import Panel
from dashboard.settle import settled_by
from dashboard.settled import Assumed, CoatAssumed, Settled, Unsettled
from dashboard.unsure_time import matters

log = logging.getLogger("coldshed.watch")

Answer = TypeVar("Answer")
MOST_TURNS = 5
"""So often what was learned is learned anew from what it gave; it is the same by the third turn."""
AHEAD_MS = DAY_MS
"""Readings that a clock ahead of ours has dated into the future are read too, as a follower has them."""
_Asked = tuple[str | None, Quantity, bool]


@dataclass(frozen=True)
class _Kept:
    """mark   of what is settled"""

    mark: tuple[object, ...]
    settled: Settled


@dataclass(frozen=True)
class _Way:
    """steady   of its traces when it set out"""

    anew: Anew
    asked: tuple[_Asked, ...]
    steady: tuple[object, ...]


class Settling:
    """For the panels of one follower.

    turned   called after each day that is worked out anew
    """

    def __init__(self, follower: Follower, turned: Callable[[], None] = lambda: None) -> None:
        self._follower = follower
        self._turned = turned
        self._kept: dict[str, _Kept] = {}
        self._ways: dict[str, _Way] = {}
        self._been: set[str] = set()

    def needed(self, panels: Iterable[Panel]) -> dict[str, int]:
        """By probe, from when on (UTC ms) its readings are needed to go on from what is settled."""
        found: dict[str, int] = {}
        for panel in panels:
            kept = self._kept.get(panel.id)
            if kept is not None:
                since = after(kept.settled)
                found |= {probe: min(since, found.get(probe, since)) for probe in panel.probes}
        return found

    def together(
        self,
        panels: Iterable[Panel],
        facts_of: Callable[[Panel], FactsOf],
        at: int,
        enough: Callable[[], bool],
    ) -> set[str]:
        """Works out anew, side by side, all those of which nothing is settled; until `enough`.

        Returns those that are still on their way: the next call goes on with them.
        """
        for panel in panels:
            if panel.id not in self._ways and panel.id not in self._been:
                self._been.add(panel.id)
                with self._left_to_ask(panel.id):
                    self._set_out(panel, facts_of(panel), at)
        order = [(way.anew.end, name) for name, way in self._ways.items()]
        heapq.heapify(order)
        while order and not enough():
            name = heapq.heappop(order)[1]
            with self._left_to_ask(name):
                way = self._ways[name]
                way.anew.go_on()
                if way.anew.is_done:
                    self._arrived(self._ways.pop(name))
                else:
                    heapq.heappush(order, (way.anew.end, name))
            self._turned()
        if not self._ways:
            self._follower.slices.forget()
        return set(self._ways)

    @contextmanager
    def _left_to_ask(self, panel: str) -> Iterator[None]:
        """What goes wrong with one panel holds up no other; ask() meets it again and tells."""
        try:
            yield
        except Exception:
            log.info("panel %r is worked out by itself", panel, exc_info=True)
            self._ways.pop(panel, None)

    def _set_out(self, panel: Panel, facts_of: FactsOf, at: int) -> None:
        facts, asked = self._followed(facts_of)
        to = _known_to(facts, at)
        if to is None or to <= begin_of(facts) or matters(facts, at) or self._settled(facts, asked, at):
            return
        anew = Anew.of(self._follower, facts_of, facts, to, _first_guess(facts, to))
        self._ways[panel.id] = _Way(anew, asked, self._steady(asked))

    def _arrived(self, way: _Way) -> None:
        """What was worked out is kept, unless something of long ago has changed on the way: then ask() begins again."""
        settled = way.anew.settled
        if settled is not None and way.steady == self._steady(way.asked):
            mark = self._mark(way.anew.facts, way.asked, settled.until)
            self._kept[way.anew.facts.panel.id] = _Kept(mark, settled)

    def _steady(self, asked: tuple[_Asked, ...]) -> tuple[object, ...]:
        return tuple(self._follower.steady(*one) for one in asked)

    def keep_only(self, panels: Collection[str]) -> None:
        self._kept = {name: kept for name, kept in self._kept.items() if name in panels}
        self._ways = {name: way for name, way in self._ways.items() if name in panels}
        self._been &= set(panels)

    def ask(self, panel: Panel, facts_of: FactsOf, at: int, answer: Callable[[Facts, int], Answer]) -> Answer:
        """What `answer` makes of the panel's facts as of `at` (UTC ms), with what is settled of its course."""
        facts, asked = self._followed(facts_of)
        to = _known_to(facts, at)
        if to is None:
            return answer(facts, at)
        if matters(facts, at):  # told for other times too: all of its life is needed
            return answer(whole(self._follower, facts_of, facts, at), at)
        settled = self._settled(facts, asked, at)
        if settled is None and to > begin_of(facts):
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
            settled = further(replace(enough, settled=settled), to, settled.assumed) or settled
        self._kept[facts.panel.id] = _Kept(self._mark(facts, asked, settled.until), settled)
        return settled

    def _enough(self, facts_of: FactsOf, facts: Facts, to: int, settled: Settled | None) -> Facts:
        """The facts with all readings that follow what is settled, from the store where they are not kept any more."""
        since, trace = needed_from(facts, settled), facts.temperature
        assert trace is not None
        if settled is None:
            joined = trace.last_usable(begin_of(facts)) is not None
        else:
            joined = trace.last_usable(settled.until) == settled.last_at
        if joined and all(self._follower.holds(probe, since) for probe in facts.panel.probes):
            return facts
        return between(
            self._follower,
            facts_of,
            since if joined else needed_from(facts, settled, whole=True),
            to + AHEAD_MS,
        )

    def _anew(self, facts_of: FactsOf, facts: Facts, to: int, assumed: Assumed) -> Settled | None:
        """From the first coat on; None while nothing is to be settled."""
        way = Anew.of(self._follower, facts_of, facts, to, assumed)
        while not way.is_done:
            way.go_on()
            self._turned()
        return way.settled


def whole(follower: Follower, facts_of: FactsOf, facts: Facts, at: int) -> Facts:
    """The facts with all readings of the coats' lives, read from the store."""
    if not facts.panel.coats or facts.temperature is None:
        return facts
    return between(follower, facts_of, run_up_from(facts), at + AHEAD_MS)


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


def _first_guess(facts: Facts, to: int) -> Assumed:
    return Assumed(
        accuracy_of(facts, to),
        tuple(CoatAssumed(coat.number, None, None) for coat, _ in coats_that_count(facts)),
    )
