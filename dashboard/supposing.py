"""Answers what-ifs for pages: one at a time, and the same question about the same answer only once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace

from dashboard.asked import Question
from dashboard.assessment import Assessment
from dashboard.facts import Facts
from dashboard.live import CardOf
from dashboard.panel import Panel
from dashboard.suppose import CannotSuppose, IfSo, Least, Supposition

KEPT = 64
WAIT_S = 3.0
"""So long a question waits for the one before it; each takes less than a second."""

FactsOf = Callable[[Panel, int], Facts]


class Busy(Exception):
    """Another question is being worked out."""


@dataclass(frozen=True)
class Reply:
    """What was found: the least heat if that was asked, and what the plan does, with that heat in it.

    question   with the heat that was found; if_so: None where there is nothing to suppose
    """

    question: Question
    least: Least | None
    if_so: IfSo | None


class Supposing:
    """Safe to call from several threads. Facts are looked at as of the answer that stands on the page."""

    def __init__(self, facts_of: FactsOf, card_of: CardOf) -> None:
        self._facts_of, self._card_of = facts_of, card_of
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[object, ...], Reply | CannotSuppose] = OrderedDict()

    def ask(self, panel: Panel, item: Assessment, asked: Question) -> Reply:
        """Raises CannotSuppose with a key of the page's words, Busy, or NotYet while collect has never run."""
        if item.night is None:
            raise CannotSuppose("if_not_known")
        if not self._lock.acquire(timeout=WAIT_S):
            raise Busy
        try:
            key = (panel.id, panel.mark, item.at, item.batch, asked)
            found = self._kept.get(key)
            if found is None:
                found = self._answer(panel, item, asked)
                self._kept[key] = found
                while len(self._kept) > KEPT:
                    self._kept.popitem(last=False)
        finally:
            self._lock.release()
        if isinstance(found, CannotSuppose):
            raise found
        return found

    def _answer(self, panel: Panel, item: Assessment, asked: Question) -> Reply | CannotSuppose:
        card = None
        if asked.plan.start_ms is not None:
            name = asked.plan.card or _next_card(panel)
            if name is None:
                return CannotSuppose("if_no_coat")
            card = self._card_of(name)
            if card is None:
                return CannotSuppose("if_bad_card")
        try:
            supposed = Supposition.of(self._facts_of(panel, item.at), item.at, card)
            least = supposed.least(asked.plan, asked.goal) if asked.wants_least else None
            plan = asked.plan
            if least is not None:
                plan = replace(plan, hold_C=least.hold_C if least.hold_C is not None else least.best_C)
            return Reply(replace(asked, plan=plan), least, supposed.if_so(plan))
        except CannotSuppose as error:
            return error


def _next_card(panel: Panel) -> str | None:
    """Of the coat that comes next by the plan, else of the newest."""
    planned = panel.next_planned
    if planned is not None and planned.card is not None:
        return planned.card
    return panel.newest.card if panel.newest else None
