"""The one bridge between what happened and what it means: facts and a time go in, an Assessment comes out.

Pure: no clock, no files. The same facts at the same time give the same answer, whatever order they came in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from collector.reading import silent_after_ms
from dashboard import mix_words, unknown
from dashboard.assessment import Assessment
from dashboard.assessment import Passing as Stored
from dashboard.coat_course import CoatCourse
from dashboard.course import PanelCourse, follow_panel, milestones_of, trend_of
from dashboard.curve import curve
from dashboard.facts import Facts, start_of
from dashboard.film import dew_now, film_of, first_minute
from dashboard.follow import Trace
from dashboard.lot_known import lot_why
from dashboard.mix_fault import first_fault
from dashboard.mix_hour import Asked, mix_hour, onto_of
from dashboard.night import bare_night, night_of
from dashboard.panel import Hold
from dashboard.standing_of import job_of, pot_now, standing_of, when
from dashboard.unsure_time import agreed, matters
from dashboard.words import LABELS
from model.coat import HOUR_MS
from model.decide import decide, in_the_pot, not_known, planned, shuts_by
from model.milestones import Passing
from model.passed import state_of
from model.resin_card import Milestone
from model.verdict import Flag, Kind, Mark, Say, State, Verdict

MINUTE_MS = 60_000
LEAST_TRUST_MS = 3 * MINUTE_MS
"""An answer is never good for less than this past its newest reading: watch needs a minute to renew it."""
NO_READING_TRUST_MS = 10 * MINUTE_MS
HELD_RANK = 5
CLOCK_MS = 2 * MINUTE_MS
"""So much may a phone's clock and ours differ before a coat lies in the future."""


def assess(facts: Facts, at: int) -> Assessment:
    """What to do with the panel at `at` (UTC ms), and all numbers behind it."""
    spans = matters(facts, at)
    answer = agreed(_assess, facts, at, spans) if spans else _assess(facts, at)
    answer = replace(answer, verdict=unknown.of_its_site(answer.verdict, facts.site, at))
    hold = facts.panel.hold
    return answer if hold is None else replace(answer, verdict=_held(answer.verdict, hold))


def _assess(facts: Facts, at: int) -> Assessment:
    """With all times as they are told."""
    trace = facts.temperature
    last = trace.last_usable(at) if trace else None
    newest = facts.panel.newest
    if newest is None:
        answer = _planned(facts, trace, last, at)
        if trace is None or last is None or trace.unheard(at):
            return answer
        return replace(answer, night=bare_night(facts, trace, at))
    missing = [coat.card for coat in facts.panel.coats if coat.card not in facts.cards]
    if missing:
        return _short(facts, at, unknown.no_card(missing[0]), last)
    if at < newest.mixed_at - CLOCK_MS:
        return _short(facts, at, unknown.clock_back(), last)
    card = facts.cards[newest.card]
    silent = trace is None or last is None or trace.unheard(at)
    if silent:
        pot = pot_now(newest, card, None)
        if pot is not None and at < pot.pour_by:
            return _short(facts, at, in_the_pot(pot), last)
    if trace is None:
        return _short(facts, at, unknown.probe_missing(facts.panel), last)
    if last is None:
        return _short(facts, at, unknown.nothing_usable(trace, newest), last)
    known_to = last if silent else at
    if silent and known_to <= start_of(newest, card):
        return _short(facts, at, unknown.quiet(trace, last, at, None), last)
    followed = follow_panel(facts, known_to)
    standing = standing_of(facts, followed, known_to)
    verdict = (
        unknown.quiet(trace, last, at, state_of(standing))
        if silent
        else _of_its_lot(_worded(decide(standing), trace, at), facts, followed.newest)
    )
    return _whole(facts, at, _unless_mixed_wrongly(verdict, facts, at), followed, trace, last)


def _unless_mixed_wrongly(verdict: Verdict, facts: Facts, at: int) -> Verdict:
    """The verdict, once the pot is empty, only if no coat is known to have been mixed wrongly."""
    if verdict.state is State.IN_THE_POT:
        return verdict
    fault = first_fault(((coat, facts.cards[coat.card]) for coat in facts.panel.coats), at)
    if fault is None:
        return verdict
    return not_known(fault.headline, (fault.why,), Flag.SUSPECT_MIX, Say("next_mix_fault"))


def _held(verdict: Verdict, hold: Hold) -> Verdict:
    """Nobody works on a panel on hold; a pot that runs is poured out all the same."""
    if verdict.state is State.IN_THE_POT:
        return verdict
    said = Say("why_held", {"held_at": hold.since, "who": hold.who or LABELS["nobody"]})
    return replace(
        verdict, kind=Kind.WAIT, mark=Mark.RAMP, headline=Say("held", {"reason": hold.reason}),
        why=(said, *verdict.why), next=None, rank=HELD_RANK,
    )  # fmt: skip


def _worded(verdict: Verdict, trace: Trace, at: int) -> Verdict:
    """A value past its correction's margin is used, but not without a word."""
    if not trace.beyond_at(at):
        return verdict
    return replace(verdict, why=(*verdict.why, Say("why_beyond_correction", {"probe": trace.probe})))


def _of_its_lot(verdict: Verdict, facts: Facts, newest: CoatCourse) -> Verdict:
    """What others of its lot say, where the answer rests on it."""
    known = facts.lots.get(newest.coat.number)
    if known is None or not newest.learned.on_lot or verdict.state in (State.NOT_KNOWN, State.IN_THE_POT):
        return verdict
    return replace(verdict, why=(*verdict.why, lot_why(known)))


def failed(facts: Facts, at: int) -> Assessment:
    """What is said when assess() itself failed: not known, and where to look."""
    return _short(facts, at, unknown.failed(), None)


def unread(facts: Facts, at: int) -> Assessment:
    """What is said when the store did not give what assess() needs."""
    site = facts.site
    return failed(facts, at) if site is None else _short(facts, at, unknown.unread(site), None)


def _planned(facts: Facts, trace: Trace | None, last: int | None, at: int) -> Assessment:
    """Before the first coat: with a card planned for it, the answer of Before you mix."""
    planned_coat = facts.panel.next_planned
    card = facts.cards.get(planned_coat.card or "") if planned_coat is not None else None
    if card is None or trace is None:
        return _short(facts, at, _before_mixing(facts, trace, last, at), last)
    hour = mix_hour(facts, card, Asked(onto_of(facts.panel)), at, ahead_h=0)
    answer = _short(facts, at, mix_words.verdict(hour), last)
    return answer if hour.good_until is None else replace(answer, good_until=hour.good_until)


def _before_mixing(facts: Facts, trace: Trace | None, last: int | None, at: int) -> Verdict:
    """No coat yet: what the hour is like, or that nobody knows."""
    if trace is None:
        return unknown.probe_missing(facts.panel)
    if last is None:
        return unknown.nothing_usable(trace, None)
    if trace.unheard(at):
        return planned((Say("why_planned_doubt" if trace.doubt else "why_planned_silent"),))
    upto = int(np.searchsorted(trace.samples.t, at, "right"))
    panel_C, trend = float(trace.samples.value[upto - 1]), trend_of(trace.samples, at)
    dew = dew_now(facts, at)
    if dew is None:
        return planned((Say("why_planned_no_air", {"panel_C": panel_C, "trend": trend}),))
    why = Say("why_planned", {"panel_C": panel_C, "trend": trend, "margin_K": panel_C - dew})
    return planned((why,) if facts.surface is not None else (why, Say("why_air_only")))


def _short(facts: Facts, at: int, verdict: Verdict, last: int | None) -> Assessment:
    """An answer without a course behind it."""
    panel = facts.panel
    newest = panel.newest
    ends = shuts_by(verdict, at)
    return Assessment(
        panel=panel.id,
        name=panel.name,
        zone=panel.zone,
        coat=newest.number if newest else 0,
        coats=len(panel.coats),
        card=newest.card if newest else "",
        at=at,
        readings_to=last,
        good_until=ends if ends is not None else at + NO_READING_TRUST_MS,
        batch=facts.batch,
        seqs=tuple(sorted(facts.seqs.items())),
        verdict=verdict,
        mixed_at=newest.mixed_at if newest else None,
        cautions=_cautions(verdict),
        corrections=facts.corrections,
        entries=panel.mark,
        cards=tuple(sorted((card.id, card.digest) for card in facts.cards.values())),
    )


def _whole(
    facts: Facts, at: int, verdict: Verdict, followed: PanelCourse, trace: Trace, last: int
) -> Assessment:
    """An answer with all numbers behind it. What a silent probe did not see is a gap up to `at`."""
    newest, least = followed.newest, followed.least
    milestones = _shown(facts, newest, least)
    known = facts.lots.get(newest.coat.number) if newest.learned.on_lot else None
    silent = [(followed.at, at)] if at > followed.at else []
    return replace(
        _short(facts, at, verdict, last),
        good_until=_good_until(verdict, trace, last, at),
        milestones=tuple(_stored(passing, at) for passing in milestones.values()),
        conversion=least.conversion_range,
        rate=least.rate_range,
        age_h=least.age_range_h,
        effective=newest.learned.effective,
        lot=known.key if known else None,
        lot_panels=known.panels if known else (),
        glass_transition_C=least.glass_transition_C,
        panel_C=followed.panel_C,
        air_C=followed.air_C,
        air_RH=followed.air_RH,
        dew_point_C=followed.dew_point_C,
        margin_K=followed.panel_C - followed.dew_point_C if followed.dew_point_C is not None else None,
        minimum_C=newest.card.minimum_C,
        measured_h=followed.measured_h,
        missing_h=followed.missing_h + sum(end - begin for begin, end in silent) / HOUR_MS,
        temperature_time_factor_Ch=followed.temperature_time_factor_Ch,
        equivalent_age_h=followed.equivalent_age_h,
        equivalent_age_interval_mean_h=followed.equivalent_age_interval_mean_h,
        reference_C=newest.card.reference_C,
        film=film_of(followed.film, first_minute(newest), facts.panel.washed_at),
        gaps=tuple(followed.gaps + silent),
        curve=curve(followed, known=not silent),
        night=None if silent else night_of(facts, followed.ahead, newest.card.minimum_C, followed.source),
    )


def _good_until(verdict: Verdict, trace: Trace, last: int, at: int) -> int:
    """The end that the verdict names, or the time by which a reading must have come, whichever is sooner."""
    if verdict.kind is Kind.NOT_KNOWN:
        return at + NO_READING_TRUST_MS
    trusted = last + max(silent_after_ms(trace.interval_s), LEAST_TRUST_MS)
    ends = shuts_by(verdict, at)
    return trusted if ends is None else min(trusted, ends)


def _shown(facts: Facts, newest: CoatCourse, least: CoatCourse) -> Mapping[Milestone, Passing]:
    """The panel's milestones; a coat in clamps or under peel ply has no recoat window."""
    hidden = () if job_of(facts.panel, newest).bonds else (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL)
    every = milestones_of(newest, least)
    return {milestone: passing for milestone, passing in every.items() if milestone not in hidden}


def _stored(passing: Passing, at: int) -> Stored:
    seen = when(passing, at)
    return Stored(passing.milestone.value, seen.early, seen.likely, seen.late, passing.passed)


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
