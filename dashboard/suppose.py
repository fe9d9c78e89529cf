"""What if: the panel warmed, another hour, another card. Worked out on request; nothing is stored or changed by it.

Pure: facts and a time go in, as into assess(), and the same minutes ahead are looked at. Times UTC ms.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from dashboard.coat_course import CoatCourse, range_of
from dashboard.course import PanelCourse, coats_through, follow_panel, least_cured, milestones_of
from dashboard.facts import Facts, last_start_of
from dashboard.outlooks import panel_outlook, panel_samples
from dashboard.standing_of import job_of, near
from model.blocks import MINUTE_MS, Blocks
from model.calibration import Calibration
from model.coat import CoatState, Course, Path, courses
from model.members import Weights
from model.milestones import Passing, passings
from model.resin_card import Milestone, ResinCard
from model.what_if import SUPPORTED_LEAD_K, Heat, cap_C, held, least_temperature, passed_if, standing

ASKED = (Milestone.TACK_FREE, Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL, Milestone.SAND)
"""What a what-if speaks of, of a coat that is to be mixed. Demoulding asks for evidence that no heat brings forward."""
LEAST_HOLD_C = 5.0
RISES_K_H = (2.0, 10.0)
"""What may be asked for; 5 to 10 K/h is usual after gel (common practice, no source)."""
TRIED_BELOW_CAP_K = (0.0, 5.0, 10.0)
"""Warmest is not always soonest to sand: a film that has just been warmed must cool again."""


@dataclass(frozen=True)
class Plan:
    """What somebody would do. hold_C None: no heat. start_ms None: no new coat; card None: the newest coat's."""

    hold_C: float | None
    from_ms: int
    to_ms: int
    rise_K_h: float
    start_ms: int | None = None
    card: str | None = None

    def heat(self, hold_C: float) -> Heat:
        return Heat(hold_C, self.from_ms, self.to_ms, self.rise_K_h)


@dataclass(frozen=True)
class Goal:
    """To be past `milestone` by then."""

    milestone: Milestone
    by_ms: int


@dataclass(frozen=True)
class Cap:
    """Warmest that may be held, degC, and what sets it: "card", "substrate" or "film"."""

    hold_C: float
    set_by: str


@dataclass(frozen=True)
class IfSo:
    """The milestones as it is and if so; the panel's likely course then, one value a minute from begins_ms on, degC.

    hold_C   what is really held: never above the cap
    gel_ms   when it likely gels, if the heat begins before that
    card, base   of a coat that is to be mixed: its card, and the one it is compared with, mixed now; else ""
    """

    now: Mapping[Milestone, Passing]
    then: Mapping[Milestone, Passing]
    begins_ms: int
    likely_C: tuple[float, ...]
    hold_C: float | None
    cap: Cap
    gel_ms: int | None
    card: str
    base: str


@dataclass(frozen=True)
class Least:
    """The least heat that does it. hold_C: degC; None: not by then, or not needed.

    not_needed   it comes by then as it is; passed: it has come
    best_C, best_ms   where it cannot be done: what brings it soonest within the cap, and when; None: not in two days
    longer_C     what would do it if it were held until then; None: nothing would, or it is held until then already
    """

    hold_C: int | None
    not_needed: bool = False
    passed: bool = False
    best_C: float | None = None
    best_ms: int | None = None
    longer_C: int | None = None


class CannotSuppose(ValueError):
    """Nothing can be worked out: the text is a key of the page's short words."""


@dataclass(frozen=True)
class Supposition:
    """One panel at one time, ready to be asked."""

    facts: Facts
    at: int
    course: PanelCourse | None
    history: Blocks | None
    ahead: Blocks
    new_card: ResinCard | None

    @classmethod
    def of(cls, facts: Facts, at: int, new_card: ResinCard | None = None) -> Supposition:
        """new_card: of a coat that is to be mixed. Raises CannotSuppose where a temperature or a card is not known."""
        trace = facts.temperature
        if trace is None or trace.doubt is not None or trace.value_at(at) is None:
            raise CannotSuppose("if_not_known")
        if not facts.panel.coats:
            ahead, _ = panel_outlook(facts, panel_samples(facts, trace, at), at)
            return cls(facts, at, None, None, ahead, new_card)
        if any(coat.card not in facts.cards for coat in facts.panel.coats):
            raise CannotSuppose("if_bad_card")
        course = follow_panel(facts, at)
        return cls(facts, at, course, course.history, course.ahead, new_card)

    def if_so(self, plan: Plan) -> IfSo:
        """What the plan would change. Raises CannotSuppose if there is no coat to speak of."""
        cap = self.cap()
        hold = None if plan.hold_C is None else min(plan.hold_C, cap.hold_C)
        heat = None if hold is None else plan.heat(hold)
        warmed = self.ahead if heat is None else held(self.ahead, heat)
        now, then = self._new_coat(plan, heat) if self.new_card else (self._as_it_is(), self._through(warmed))
        gel = then[Milestone.RECOAT_FROM].likely
        early = heat is not None and gel is not None and heat.from_ms < gel
        base = self.facts.panel.newest
        return IfSo(
            now={milestone: near(now[milestone], self.at) for milestone in self._shown()},
            then={milestone: near(then[milestone], self.at) for milestone in self._shown()},
            begins_ms=self.ahead.start,
            likely_C=tuple(float(value) for value in warmed.central),
            hold_C=hold,
            cap=cap,
            gel_ms=gel if early and not then[Milestone.RECOAT_FROM].is_past else None,
            card=self.new_card.id if self.new_card else "",
            base=(base.card if base else self.new_card.id) if self.new_card else "",
        )

    def _shown(self) -> tuple[Milestone, ...]:
        """A coat in clamps or under peel ply has no recoat window, but waits for what holds it."""
        if self.new_card is not None:
            return ASKED
        job = job_of(self.facts.panel, self._newest())
        window = (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL) if job.bonds else ()
        ply = (Milestone.PEEL_PLY_OFF,) if job.under_ply else ()
        clamps = (Milestone.CLAMPS_OFF,) if job.clamped else ()
        return (Milestone.TACK_FREE, *window, Milestone.SAND, *ply, *clamps)

    def cap(self) -> Cap:
        """The card's, the substrate's, and that of a film which is glassy already: it would soften again."""
        panel, film = self.facts.panel, self._soften_C()
        calibration = (
            self._range(self.new_card) if self.new_card else self._newest().paths["central"].calibration
        )
        whole = cap_C(calibration, panel.substrate, film)
        if film is not None and whole < cap_C(calibration, panel.substrate):
            return Cap(whole, "film")
        return Cap(whole, "substrate" if whole < cap_C(calibration, "") else "card")

    def least(self, plan: Plan, goal: Goal) -> Least:
        """The lowest whole degree held in the plan's hours that reaches the goal; see model.what_if."""
        cap, by = self.cap(), goal.by_ms
        asked = self._asked(plan, goal)
        if all(of.is_past(goal.milestone, self.at) for of in asked):
            return Least(None, not_needed=True, passed=True)
        if all(of.is_past(goal.milestone, by) for of in asked):
            return Least(None, not_needed=True)
        degree = _degree(asked, plan, goal, cap)
        if degree is not None:
            return Least(degree)
        best_C, best_ms = _best(asked, plan, goal, cap, self.at)
        longer = replace(plan, to_ms=by) if plan.to_ms < by else None
        longer_C = _degree(asked, longer, goal, cap) if longer is not None else None
        return Least(None, best_C=best_C, best_ms=best_ms, longer_C=longer_C)

    def _asked(self, plan: Plan, goal: Goal) -> list[_Asked]:
        """The coats that decide: of sanding every one that counts, else the newest."""
        if self.new_card is not None:
            start = max(plan.start_ms or self.ahead.start, self.ahead.start)
            calibration = self._range(self.new_card)
            return [_Asked(calibration, courses(calibration, self.ahead, start), self.ahead, start, None)]
        newest = self._newest()
        assert self.course is not None
        coats = self.course.coats if goal.milestone is Milestone.SAND else (newest,)
        return [_asked(coat, self._whole(self.ahead)) for coat in coats]

    def _as_it_is(self) -> Mapping[Milestone, Passing]:
        if self.course is None:
            raise CannotSuppose("if_no_coat")
        return milestones_of(self.course.newest, self.course.least)

    def _through(self, warmed: Blocks) -> Mapping[Milestone, Passing]:
        followed = coats_through(self.facts, self._whole(warmed), self.at)
        return milestones_of(followed[-1], least_cured(followed))

    def _new_coat(
        self, plan: Plan, heat: Heat | None
    ) -> tuple[Mapping[Milestone, Passing], Mapping[Milestone, Passing]]:
        """Mixed now of the card in use and without heat, and as planned."""
        assert self.new_card is not None
        usual = self._newest().card if self.course is not None else self.new_card
        begin = self.ahead.start
        start = max(plan.start_ms or begin, begin)
        return (
            passed_if(self._range(usual), self.ahead, begin, begin),
            passed_if(self._range(self.new_card), self.ahead, start, start, heat),
        )

    def _newest(self) -> CoatCourse:
        if self.course is None:
            raise CannotSuppose("if_no_coat")
        return self.course.newest

    def _range(self, card: ResinCard) -> Calibration:
        trace = self.facts.temperature
        assert trace is not None
        return range_of(card, trace.half_width_from(self.at))

    def _whole(self, ahead: Blocks) -> Blocks:
        return ahead if self.history is None else self.history.joined(ahead)

    def _soften_C(self) -> float | None:
        """What model.what_if.cap_C() takes: of a part that lies on its mould no more than the film's low end."""
        if self.course is None:
            return None
        low, glassy_at = self.course.least.glass_transition_C[0], self.course.panel_C
        if low < glassy_at:
            return None
        return low if self.facts.panel.demoulded_at is None else low - SUPPORTED_LEAD_K


@dataclass(frozen=True)
class _Asked:
    """A coat as model.what_if takes it, and its course as it is."""

    calibration: Calibration
    paths: Mapping[Path, Course]
    blocks: Blocks
    start_ms: int
    weights: Weights | None

    def is_past(self, milestone: Milestone, at: int) -> bool:
        return passings(self.paths, at, self.weights)[milestone].is_past


def _asked(coat: CoatCourse, whole: Blocks) -> _Asked:
    """From its last pot on: what becomes ready counts from there."""
    start = last_start_of(coat.coat, coat.card)
    return _Asked(coat.paths["central"].calibration, coat.paths, whole, start, coat.weights)


def _degree(asked: list[_Asked], plan: Plan, goal: Goal, cap: Cap) -> int | None:
    """The least whole degree that is enough for all of them; None: not by then."""
    if goal.by_ms <= plan.from_ms:
        return None
    found = [
        least_temperature(
            of.calibration, of.blocks, of.start_ms, goal.milestone, goal.by_ms, plan.heat(0.0), cap.hold_C,
            of.weights,
        )
        for of in asked
    ]  # fmt: skip
    degrees = [degree for degree in found if degree is not None]
    if len(degrees) < len(asked):
        return None
    if len(asked) == 1:
        return degrees[0]
    # What is enough for one coat may be too warm for another to be sanded just then.
    for degree in range(max(degrees), int(cap.hold_C) + 1):
        heat = plan.heat(float(degree))
        if all(_passed(of, goal.by_ms, heat)[goal.milestone].is_past for of in asked):
            return degree
    return None


def _best(asked: list[_Asked], plan: Plan, goal: Goal, cap: Cap, at: int) -> tuple[float, int | None]:
    """Of some holds up to the cap the one that brings the goal soonest."""
    found: list[tuple[int, float]] = []
    warmest_C = float(int(cap.hold_C))
    from_ms = plan.from_ms // MINUTE_MS * MINUTE_MS
    states = [standing(of.calibration, of.blocks, of.start_ms, from_ms) for of in asked]
    for below in TRIED_BELOW_CAP_K:
        heat = plan.heat(max(warmest_C - below, LEAST_HOLD_C))
        reached = [
            _passed(of, at, heat, state)[goal.milestone].safe for of, state in zip(asked, states, strict=True)
        ]
        known = [time for time in reached if time is not None]
        if len(known) == len(reached):
            found.append((max(known), heat.hold_C))
    if not found:
        return warmest_C, None
    time, hold = min(found)
    return hold, time


def _passed(
    of: _Asked, at: int, heat: Heat, state: dict[Path, CoatState] | None = None
) -> Mapping[Milestone, Passing]:
    return passed_if(of.calibration, of.blocks, of.start_ms, at, heat, of.weights, state)


def first_minute_ahead(at: int) -> int:
    """The first minute that a heater can still be planned for, UTC ms."""
    return (at // MINUTE_MS + 2) * MINUTE_MS


def warmest(found: IfSo, from_ms: int, to_ms: int) -> float:
    """The panel's warmest likely minute between two times, degC."""
    first, last = ((ms - found.begins_ms) // MINUTE_MS for ms in (from_ms, to_ms))
    return float(np.max(found.likely_C[max(first, 0) : max(last, first + 1)]))
