"""Takes from a panel's course all that later answers need of its minutes before a full hour, so that these are never
worked out again.
"""

from __future__ import annotations

import numpy as np

from dashboard.coat_course import CoatCourse, coat_rules, range_of, range_part, reached_on
from dashboard.course import PanelCourse, life_sums
from dashboard.curve import settled_columns
from dashboard.facts import Facts, start_of
from dashboard.follow import Trace
from dashboard.settled import NOTHING_SETTLED, Assumed, CoatAssumed, CoatSettled, Settled, Strand
from dashboard.standing_of import cold_minutes, warm_until
from model.blocks import MINUTE_MS, Blocks
from model.coat import HOUR_MS, Course, Path
from model.history import Samples, gaps, longest_join_ms
from model.milestones import reached
from model.observation import suspected_since

OPEN_MS = 30 * MINUTE_MS
"""So much before now is never settled: what comes a little late must not cost a whole life, and the newest minutes are
looked at one by one."""
TREND_MS = HOUR_MS


def settled_by(facts: Facts, at: int) -> int:
    """The last full hour that may be settled at `at`, UTC ms; 0 before the panel's first sample.

    Up to the panel's newest sample: the minutes after it hang on the next. The air's may end before: then nothing that
    still comes in its turn may be joined to what was there.
    """
    trace = facts.temperature
    assert trace is not None
    last = trace.last_usable(at)
    hour = may_be_settled(at)
    if last is not None:
        hour = min(hour, _hour(last))
    if trace.last_usable(hour) is None:
        return 0
    for other in (facts.air, facts.humidity):
        heard = None if other is None else other.last_usable(at)
        if (
            other is not None
            and heard is not None
            and heard < hour <= heard + longest_join_ms(other.interval_s)
        ):
            hour = min(hour, _hour(heard))
    return hour


def may_be_settled(at: int) -> int:
    """The last full hour that can be settled at `at`, UTC ms, whatever was read."""
    return _hour(at - OPEN_MS)


def settle(facts: Facts, course: PanelCourse, until: int, assumed: Assumed) -> Settled:
    """All of the course before `until` (UTC ms), from settled_by(); assumed: what it is to rest on."""
    trace, before, newest = facts.temperature, course.settled, course.newest
    assert trace is not None
    last_at = int(course.samples.t[np.searchsorted(course.samples.t, until, "right") - 1])
    begun = start_of(newest.coat, newest.card)
    since = begun if before is None else max(begun, before.last_at)
    history = _first(course.history, (until - course.history.start) // MINUTE_MS)
    minimum_C = newest.card.minimum_C
    warm = warm_until(history, minimum_C)
    past = before.gaps if before else ()
    return Settled(
        until=until,
        begin=course.begin,
        last_at=last_at,
        assumed=assumed,
        half_width_K=_widest(facts, trace, course, last_at),
        lagged=None if facts.surface is not None else _recent(course.samples, until - TREND_MS, last_at),
        coats=_coats(course, history, until, assumed),
        gaps=(*past, *gaps(course.samples, trace.interval_s, since, last_at)) if since < last_at else past,
        sums=life_sums(facts, newest, course.samples, last_at) if begun < last_at else None,
        warm_until=before.warm_until if warm is None and before is not None else warm,
        cold_minutes=(before.cold_minutes if before else 0) + cold_minutes(newest, history, minimum_C),
        film=course.rows.first(int(np.searchsorted(course.rows.t_ms, until, "right"))),
        chart=settled_columns(course, until),
    )


def _coats(course: PanelCourse, history: Blocks, until: int, assumed: Assumed) -> tuple[CoatSettled, ...]:
    before = course.settled.coats if course.settled else (NOTHING_SETTLED,) * len(course.coats)
    return tuple(
        _coat(of, so_far, under, history, until, assumed.accuracy_K)
        for of, so_far, under in zip(course.coats, before, assumed.coats, strict=True)
    )


def _coat(
    of: CoatCourse, before: CoatSettled, under: CoatAssumed, history: Blocks, until: int, accuracy_K: float
) -> CoatSettled:
    def strand(runs: dict[Path, Course], so_far: Strand | None) -> Strand | None:
        return _strand(of, runs, so_far, under, history.has_gap, until, accuracy_K)

    last = strand(dict(of.last), before.last)
    first = last if of.first is of.last else strand(dict(of.first), before.first)
    tests = of.coat.thumb_tests
    soft_since = before.soft_since
    if soft_since is None and under.soft_h is not None:
        eldest = range_part(of.first["central"], range_of(of.card, accuracy_K))
        soft_since = suspected_since(eldest.first(eldest.row(until) + 1), under.soft_h)
    return CoatSettled(
        last,
        first,
        {i: touch for i, touch in of.felt.items() if tests[i].at < until + MINUTE_MS},
        soft_since,
        of.aged_from if of.aged_from is not None and of.aged_from <= until else None,
    )


def _strand(
    of: CoatCourse,
    runs: dict[Path, Course],
    before: Strand | None,
    under: CoatAssumed,
    gap: bool,
    until: int,
    accuracy_K: float,
) -> Strand | None:
    """None before the coat's first minute has ended."""
    if runs["central"].row(until) < 0:
        return before
    apart = gap or (before is not None and len(before.states) > 1)
    kept = {path: run for path, run in runs.items() if apart or path == "central"}
    found = {}
    for path, run in kept.items():
        so_far = None if before is None else reached_on(before, path)
        new = reached(
            range_part(run, range_of(of.card, accuracy_K)), until, under.weights, coat_rules(of.coat), so_far
        )
        assert new is not None
        found[path] = new
    return Strand({path: run.state(until) for path, run in kept.items()}, found)


def _widest(facts: Facts, trace: Trace, course: PanelCourse, last_at: int) -> float | None:
    """Of the samples from the one before the first coat on."""
    before = None if facts.settled is None else facts.settled.half_width_K
    if trace.half_width is None or not len(trace.half_width):
        return before
    since = min(start_of(of.coat, of.card) for of in course.coats)
    if facts.settled is not None:
        since = facts.settled.last_at
    first, upto = (int(n) for n in np.searchsorted(trace.samples.t, (since, last_at), "right"))
    widest = float(np.max(trace.half_width[max(first - 1, 0) : upto]))
    return widest if before is None else max(before, widest)


def _recent(samples: Samples, since: int, last_at: int) -> Samples:
    first = max(int(np.searchsorted(samples.t, since, "right")) - 1, 0)
    upto = int(np.searchsorted(samples.t, last_at, "right"))
    return Samples(samples.t[first:upto].copy(), samples.value[first:upto].copy())


def _first(blocks: Blocks, minutes: int) -> Blocks:
    part = slice(minutes)
    return Blocks(
        blocks.start,
        blocks.cold[part],
        blocks.central[part],
        blocks.hot[part],
        blocks.measured[part],
        blocks.spread[part],
    )


def _hour(at: int) -> int:
    return at // HOUR_MS * HOUR_MS
