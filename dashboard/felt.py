"""What a thumb test does to the estimate, told at once: how the next milestone moves, and whether to ask "Sure?"."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

from dashboard.assess import assess
from dashboard.assessment import Assessment, Passing
from dashboard.course import follow_panel
from dashboard.display import HOUR, MINUTE, View
from dashboard.facts import Facts
from dashboard.fold import STEPS
from dashboard.panel import Event, Panel
from dashboard.words.thumb import DO, MOVED
from model.observation import FILM_WORDS
from model.resin_card import CLOSING
from model.verdict import Kind

SAME_MS = MINUTE
"""A shift below this is none."""
_SHUTS = frozenset(milestone.value for milestone in CLOSING)


@dataclass(frozen=True)
class Moved:
    """How the estimate moved.

    milestone    the first that had not passed; "" if there is none, or if nothing can be worked out
    shift_ms     of its likely time, later is positive; None if either lies beyond the outlook
    range_ms     from its early to its safe end after the test, None if that lies beyond the outlook; was_ms: before
    said         as a sentence
    """

    milestone: str
    shift_ms: int | None
    range_ms: int | None
    was_ms: int | None
    said: str


@dataclass(frozen=True)
class Told:
    """An entry as it is to be taken down, and how the estimate moves with it."""

    event: Event
    moved: Moved

    def answer(self) -> dict[str, Any]:
        """For the API's answer: `sure` is False if it counts only once somebody confirms it."""
        return {"sure": self.event.body.get("sure", True), "moved": asdict(self.moved)}


def weigh(facts: Facts | None, event: Event, at: int, view: View) -> Told:
    """Of a thumb test or its confirmation, at `at` (UTC ms); facts are those before it, None: collect never ran."""
    if facts is None:
        return Told(event, Moved("", None, None, None, MOVED["not_known"]))
    at = max(at, event.at)  # a phone's clock may run a little ahead, and what was felt then counts
    if event.kind == "thumb test" and is_unlikely(facts, event, at):
        event = replace(event, body={**event.body, "sure": False})
    return Told(event, moved(facts, event, at, view))


def after(panel: Panel, event: Event) -> Panel:
    """The panel as the entry leaves it."""
    return STEPS[event.kind](panel, event)


def is_unlikely(facts: Facts, event: Event, at: int) -> bool:
    """Whether what was felt speaks against temperatures and all other tests, as far as that can be worked out.

    Of a test on what lies on the film, never: it says nothing of the cure.
    """
    panel = after(facts.panel, event)
    if event.body["words"][0] in FILM_WORDS or not _followed(facts, at):
        return False
    course = follow_panel(replace(facts, panel=panel), at)
    for of in (course.newest, course.least):
        # The same tests as coat_course asks: those of the coat's first minute say nothing.
        told = [t for t in of.coat.thumb_tests if t.at <= at and of.paths["central"].row(t.at) >= 0]
        index = next((i for i, test in enumerate(told) if test.event == event.id), None)
        if index is not None:
            return index in of.learned.disagrees
    return False


def moved(facts: Facts, event: Event, at: int, view: View) -> Moved:
    """How the estimate at `at` (UTC ms) moves with the entry; facts are those before it."""
    if not _followed(facts, at):
        return Moved("", None, None, None, MOVED["not_known"])
    before, now = (assess(of, at) for of in (facts, replace(facts, panel=after(facts.panel, event))))
    if event.body.get("sure") is False:
        return replace(_compared(before, now, at, view), said=MOVED["unsure"])
    made = _compared(before, now, at, view)
    if now.verdict.kind is Kind.NOT_KNOWN and now.verdict.headline != before.verdict.headline:
        return replace(made, said=MOVED["instead"].format(headline=view.sentence(now.verdict.headline)))
    return made


def _followed(facts: Facts, at: int) -> bool:
    """Whether there are coats whose cards can be read, and a usable reading: what a course needs."""
    panel, trace = facts.panel, facts.temperature
    heard = trace is not None and len(trace.samples.t) > 0 and int(trace.samples.t[0]) <= at
    return heard and bool(panel.coats) and all(coat.card in facts.cards for coat in panel.coats)


def _compared(before: Assessment, now: Assessment, at: int, view: View) -> Moved:
    old = {passing.name: passing for passing in before.milestones}
    new = {passing.name: passing for passing in now.milestones}
    name = next((name for name in DO if name in old and name in new and not _is_past(old[name], at)), "")
    if not name:
        key = "past" if old and new else "not_known"
        return Moved("", None, None, None, MOVED[key])
    shift = _between(old[name].likely, new[name].likely)
    was, is_now = _between(old[name].early, old[name].late), _between(new[name].early, new[name].late)
    return Moved(name, shift, is_now, was, _said(name, shift, is_now, was, view))


def _is_past(passing: Passing, at: int) -> bool:
    """By its safe end, as headlines have it: the early one of what shuts."""
    safe = passing.early if passing.name in _SHUTS else passing.late
    return safe is not None and safe <= at


def _between(first: int | None, second: int | None) -> int | None:
    return None if first is None or second is None else second - first


def _said(name: str, shift: int | None, now: int | None, was: int | None, view: View) -> str:
    do = DO[name]
    values = {"Do": do[:1].upper() + do[1:]}
    if now is None or was is None or shift is None:
        key = "far" if now is None and was is None else "opened" if now is None else "closed"
    else:
        key = "same" if abs(shift) < SAME_MS else "later" if shift > 0 else "sooner"
        values["shift"] = view.hours(abs(shift) / HOUR)
    for name_, length in (("now", now), ("was", was)):
        if length is not None:
            values[name_] = view.hours(length / HOUR)
    if f"{key}_still" in MOVED and values["now"] == values["was"]:
        key += "_still"
    return MOVED[key].format(**values)
