"""The one bridge between what happened and what it means: facts and a time go in, an Assessment comes out.

Pure: no clock, no files. The same facts at the same time give the same answer, whatever order they came in.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from collector.reading import Quality
from dashboard.assessment import Assessment
from dashboard.assessment import Passing as Stored
from dashboard.coat_course import CoatCourse
from dashboard.course import PanelCourse, follow_panel
from dashboard.curve import curve
from dashboard.facts import Facts, start_of
from dashboard.film import film_now, film_of
from dashboard.follow import Trace
from dashboard.logbook import Coat, Panel
from model.coat import HOUR_MS
from model.decide import decide, not_known, planned, shuts_by, state_of
from model.hold import (
    hard_not_cured,
    hours_to,
    hours_to_conversion,
    lowest_moving_temperature,
    stopped_by_cold,
)
from model.milestones import Passing
from model.pot import CUP
from model.resin_card import CLOSING, Milestone
from model.standing import Glassy, Standing, Stopped, When
from model.verdict import Flag, Kind, Say, State, Verdict

MINUTE_MS = 60_000
WARM_C = 20.0
"""The temperature at which "how long if warmed" is answered: a heated room."""
LEAST_TRUST_MS = 3 * MINUTE_MS
"""An answer is never good for less than this past its newest reading: watch needs a minute to renew it."""
NO_READING_TRUST_MS = 10 * MINUTE_MS
LARGE_POT_G = 500.0
"""More than anybody should mix at once: a smaller pot lasts longer."""


def assess(facts: Facts, at: int) -> Assessment:
    """What to do with the panel at `at` (UTC ms), and all numbers behind it."""
    newest = facts.panel.newest
    if newest is None:
        return _answer(facts, at, planned(), readings_to=_last(facts), good_until=at + 24 * HOUR_MS)
    missing = [coat.card for coat in facts.panel.coats if coat.card not in facts.cards]
    if missing:
        return _unknown(facts, at, not_known(Say("no_card", {"card": missing[0]}), (Say("why_no_card"),)))
    trace = facts.temperature
    if trace is None:
        return _unknown(facts, at, _probe_missing(facts.panel))
    last = _last_usable(trace, at)
    if last is None:
        return _unknown(facts, at, _nothing_usable(trace, newest))
    quiet = at - last > 3000 * trace.interval_s
    known_to = last if quiet else at
    if known_to <= start_of(newest, facts.cards[newest.card]):
        if quiet:
            return _unknown(facts, at, _quiet(trace, last, at, None))
        known_to = at
    followed = follow_panel(facts, known_to)
    standing = _standing(facts, followed, known_to)
    verdict = _quiet(trace, last, at, state_of(standing)) if quiet else decide(standing)
    return _full_answer(facts, at, verdict, followed, last)


def failed(facts: Facts, at: int) -> Assessment:
    """What is said when assess() itself failed: not known, and where to look."""
    return _unknown(facts, at, not_known(Say("failed"), (Say("why_failed"),)))


def _standing(facts: Facts, followed: PanelCourse, at: int) -> Standing:
    newest, least = followed.newest, followed.least
    stopped, glassy = _stopped(newest, followed.panel_C, at), _glassy(least, followed.panel_C, at)
    gap = max(followed.gaps, key=lambda item: item[1] - item[0], default=None)
    return Standing(
        at=at,
        mixed_at=newest.coat.mixed_at,
        panel_C=followed.panel_C,
        trend=followed.trend,
        minimum_C=newest.card.minimum_C,
        maximum_C=newest.card.maximum_C,
        newest=_whens(newest),
        least=_whens(least),
        film=film_now(followed.film, _film_start(followed), facts.panel.washed_at),
        sanded=facts.panel.sanded_at is not None,
        pour_by=_pour_by(newest, followed.panel_C),
        stopped=stopped,
        glassy=glassy,
        since_cold=_cold_since(followed, newest.card.minimum_C) if stopped else None,
        gap=gap,
        missing_h=followed.missing_h,
        cap=_cap(facts, newest),
    )


def _whens(course: CoatCourse) -> dict[str, When]:
    return {milestone.value: _when(passing) for milestone, passing in course.passings.items()}


def _when(passing: Passing) -> When:
    """The safe end stands where the headline looks: the early end of what shuts, the late end of what opens."""
    if passing.milestone in CLOSING:
        return When(passing.safe, passing.likely, passing.late, passing.passed)
    return When(passing.early, passing.likely, passing.safe, passing.passed)


def _stored(passing: Passing) -> Stored:
    when = _when(passing)
    return Stored(passing.milestone.value, when.early, when.likely, when.late, passing.passed)


def _late_ones(least: CoatCourse) -> dict[Milestone, Passing]:
    """Sanding and what comes after it look at the least cured coat."""
    late = (Milestone.SAND, Milestone.DEMOULD, Milestone.CURED)
    return {milestone: least.passings[milestone] for milestone in late}


def _film_start(followed: PanelCourse) -> int:
    """UTC ms at which the first minute of the newest coat's life begins."""
    middle = followed.newest.middle
    return int(middle.t_ms[0]) - MINUTE_MS


def _stopped(course: CoatCourse, panel_C: float, at: int) -> Stopped | None:
    """Whether the next thing to be said, recoat or sand, is out of this cold's reach."""
    ahead = (Milestone.RECOAT_FROM, "recoat"), (Milestone.SAND, "sand")
    following = next(((m, word) for m, word in ahead if not course.passings[m].is_past), None)
    if following is None:
        return None
    milestone, word = following
    likely = course.passings[milestone].likely
    ahead_h = (likely - at) / HOUR_MS if likely is not None else float("inf")
    reference_h = _held(course, milestone, course.card.reference_C)
    if not stopped_by_cold(ahead_h, reference_h, panel_C, course.card.minimum_C):
        return None
    move = lowest_moving_temperature(course.central, milestone, course.conversion, course.age_h)
    warm = max(WARM_C, course.card.minimum_C)
    return Stopped(
        move_C=float(move) if move is not None else course.card.reference_C,
        do=word,
        warm_C=warm,
        warmed_h=_warmed(course, milestone, warm),
    )


def _glassy(course: CoatCourse, panel_C: float, at: int) -> Glassy | None:
    target = float(course.central.conversion[Milestone.SAND][0])
    here, there = (
        hours_to_conversion(course.central, target, T, course.conversion)
        for T in (panel_C, course.card.reference_C)
    )
    if not hard_not_cured(course.glass_transition_C[1], panel_C, course.conversion, target, here, there):
        return None
    warm = max(WARM_C, course.card.minimum_C)
    warmed = _warmed(course, Milestone.SAND, warm)
    softens = max(course.glass_transition_C[0] - 10.0, panel_C)
    return Glassy(soften_C=softens, warm_C=warm, warmed_h=warmed[2] if warmed else None)


def _held(course: CoatCourse, milestone: Milestone, T_C: float) -> float:
    return hours_to(course.central, milestone, T_C, course.conversion, course.age_h)


def _warmed(course: CoatCourse, milestone: Milestone, T_C: float) -> tuple[float, float, float] | None:
    """Hours to a milestone if held at T_C, from the quick end, the middle and the slow end of where it stands."""
    slow, middle, quick = (
        hours_to(course.central, milestone, T_C, conversion, age)
        for conversion, age in zip(course.conversion_range, course.age_range_h, strict=True)
    )
    return (quick, middle, slow) if np.isfinite(slow) else None


def _pour_by(course: CoatCourse, panel_C: float) -> int | None:
    """While nobody has said that the coat is on: when a full cup of it must be out.

    Neither the pot's mass nor the bottles' temperature is known here, so it is a large cup, from bottles as warm
    as the sheet's pot life supposes, or as the panel where that is warmer: warm bottles in a cold shed count.
    """
    if course.coat.applied_at is not None:
        return None
    warmest = max(panel_C, course.card.pot.temperature_C)
    life = course.pot.life(LARGE_POT_G, CUP, warmest, warmest, course.quick_rate)
    return course.coat.mixed_at + round(life.pour_by_h * HOUR_MS)


def _cold_since(followed: PanelCourse, minimum_C: float) -> int | None:
    """Since when the panel has been below the card's minimum without a break; None if it is not below it."""
    blocks = followed.history
    warm = np.flatnonzero(blocks.central >= minimum_C)
    if len(warm) and warm[-1] == len(blocks) - 1:
        return None
    return blocks.start + (int(warm[-1]) + 1 if len(warm) else 0) * MINUTE_MS


def _cap(facts: Facts, newest: CoatCourse) -> Say | None:
    if facts.surface is None:
        return Say("why_air_only")
    return Say("why_invented_card", {"card": newest.card.id}) if newest.card.invented else None


def _probe_missing(panel: Panel) -> Verdict:
    named = panel.surface_probe or panel.air_probe
    if named is None:
        return not_known(Say("no_probe"), (Say("why_no_probe"),))
    return not_known(Say("never_heard", {"probe": named}), (Say("why_never_heard"),), Flag.PROBE_SILENT)


def _nothing_usable(trace: Trace, newest: Coat) -> Verdict:
    if trace.newest is None:
        return not_known(
            Say("never_heard", {"probe": trace.probe}), (Say("why_never_heard"),), Flag.PROBE_SILENT
        )
    why = Say("why_no_readings", {"mixed_at": newest.mixed_at})
    return not_known(Say("no_readings"), (why,), Flag.PROBE_SUSPECT)


def _quiet(trace: Trace, last: int, at: int, then: State | None) -> Verdict:
    """The probe has sent nothing usable for three intervals: it is silent, or it sends what cannot be true."""
    newest = trace.newest
    if newest is not None and newest.at > last and at - newest.at <= 3000 * trace.interval_s:
        headline = Say("probe_suspect", {"probe": trace.probe, "read_C": newest.value})
        return not_known(headline, (Say(_suspect_why(newest.quality)),), Flag.PROBE_SUSPECT)
    why = Say("why_probe_silent", {"was": then.value}) if then else Say("why_probe_silent_early")
    return not_known(Say("probe_silent", {"silent_at": last}), (why,), Flag.PROBE_SILENT)


def _suspect_why(quality: Quality) -> str:
    for flag, key in (
        (Quality.POWER_ON_VALUE, "why_suspect_power_on"),
        (Quality.DISCONNECTED, "why_suspect_disconnected"),
        (Quality.STUCK, "why_suspect_stuck"),
        (Quality.OUT_OF_RANGE, "why_suspect_range"),
    ):
        if flag in quality:
            return key
    return "why_suspect_rate"


def _last_usable(trace: Trace, at: int) -> int | None:
    upto = int(np.searchsorted(trace.samples.t, at, "right"))
    return int(trace.samples.t[upto - 1]) if upto else None


def _last(facts: Facts) -> int | None:
    trace = facts.temperature
    return trace.last_usable if trace else None


def _unknown(facts: Facts, at: int, verdict: Verdict) -> Assessment:
    return _answer(facts, at, verdict, readings_to=_last(facts), good_until=at + NO_READING_TRUST_MS)


def _answer(
    facts: Facts, at: int, verdict: Verdict, *, readings_to: int | None, good_until: int
) -> Assessment:
    panel = facts.panel
    newest = panel.newest
    return Assessment(
        panel=panel.id,
        name=panel.name,
        zone=panel.zone,
        coat=newest.number if newest else 0,
        coats=len(panel.coats),
        card=newest.card if newest else "",
        at=at,
        readings_to=readings_to,
        good_until=good_until,
        batch=facts.batch,
        verdict=verdict,
        mixed_at=newest.mixed_at if newest else None,
        cautions=_cautions(verdict),
    )


def _full_answer(facts: Facts, at: int, verdict: Verdict, followed: PanelCourse, last: int) -> Assessment:
    trace = facts.temperature
    interval_ms = 1000 * (trace.interval_s if trace else 60)
    trusted = last + max(round(3 * interval_ms), LEAST_TRUST_MS)
    ends = shuts_by(verdict)
    if verdict.kind is Kind.NOT_KNOWN:
        trusted = at + NO_READING_TRUST_MS
    elif ends is not None:
        trusted = min(trusted, ends)
    least = followed.least
    plain = _answer(facts, at, verdict, readings_to=last, good_until=trusted)
    return replace(
        plain,
        milestones=tuple(
            _stored(passing) for passing in (dict(followed.newest.passings) | _late_ones(least)).values()
        ),
        conversion=least.conversion_range,
        glass_transition_C=least.glass_transition_C,
        panel_C=followed.panel_C,
        air_C=followed.air_C,
        air_RH=followed.air_RH,
        dew_point_C=followed.dew_point_C,
        margin_K=followed.panel_C - followed.dew_point_C if followed.dew_point_C is not None else None,
        minimum_C=followed.newest.card.minimum_C,
        measured_h=followed.measured_h,
        missing_h=followed.missing_h,
        temperature_time_factor_Ch=followed.temperature_time_factor_Ch,
        equivalent_age_h=followed.equivalent_age_h,
        equivalent_age_interval_mean_h=followed.equivalent_age_interval_mean_h,
        reference_C=followed.newest.card.reference_C,
        film=film_of(followed.film, _film_start(followed), facts.panel.washed_at),
        gaps=tuple(followed.gaps),
        curve=curve(followed, at),
    )


def _cautions(verdict: Verdict) -> tuple[str, ...]:
    """Keys of the cautions that belong beside this verdict."""
    beside = {
        State.IN_THE_POT: ("pot", "gloves"),
        State.WORKABLE: ("gloves",),
        State.PLANNED: ("gloves",),
        State.RECOATABLE: ("gloves",),
        State.SANDABLE: ("dust",),
        State.FIRM: ("dust",),
    }.get(verdict.state, ())
    cold = ("heater", "burner") if Flag.STOPPED_BY_COLD in verdict.flags else ()
    return (*cold, *beside, "estimate")
