"""Where a panel stands, in the numbers that decide() looks at, from its course and its facts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dashboard.coat_course import CoatCourse
from dashboard.course import PanelCourse
from dashboard.evidence import proven, proven_cured
from dashboard.facts import Facts
from dashboard.film import felt_at, film_now, first_minute, ply_that_counts
from dashboard.panel import Coat, Panel
from dashboard.panel import Pot as PouredPot
from dashboard.pot_times import standing_pot
from model.blocks import MINUTE_MS, Blocks
from model.blush import AIR_ONLY_K, WET_MARGIN_K, WET_MINUTES
from model.coat import HOUR_MS
from model.coat_kinds import RULES, CoatKind
from model.hold import (
    hard_not_cured,
    hours_to,
    hours_to_conversion,
    lowest_moving_temperature,
    stopped_by_cold,
)
from model.milestones import Passing
from model.resin_card import CLOSING, Milestone, ResinCard
from model.standing import FilmNow, Glassy, Job, Pot, Standing, Stopped, When
from model.verdict import Say

MOULDS = ("metal mould", "composite mould")
"""What a laminate lies on that has a flange to be trimmed."""
WARM_C = 20.0
"""The temperature at which "how long if warmed" is answered: a heated room."""
FAR_MS = 48 * HOUR_MS
"""Nobody knows the weather, and so a film, further ahead than this to the hour."""
SMOOTHED_MIN = 15
"""Minutes whose mean counts as "now": one cold reading must not turn the answer."""


def standing_of(facts: Facts, followed: PanelCourse, at: int) -> Standing:
    """The panel's standing at `at` (UTC ms)."""
    newest, least = followed.newest, followed.least
    panel_C = _smoothed(followed)
    job = job_of(facts.panel, newest)
    stopped = _stopped(newest, panel_C, at, job)
    minimum = newest.card.minimum_C
    return Standing(
        at=at,
        panel_C=panel_C,
        trend=followed.trend,
        minimum_C=minimum,
        maximum_C=newest.card.maximum_C,
        newest=whens(newest, at),
        least=whens(least, at),
        film=_film(facts, followed),
        sanded_at=sanding_that_counts(facts.panel, least),
        pot=pot_now(newest.coat, newest.card, panel_C, newest.quick_rate),
        stopped=stopped,
        glassy=_glassy(least, panel_C),
        since_cold=_cold_since(followed, minimum),
        cold_h=_cold_hours(followed, minimum),
        gap=max(followed.gaps, key=lambda item: item[1] - item[0], default=None),
        missing_h=followed.missing_h,
        under_K=_under_dew_K(facts, followed),
        suspect_since=followed.suspect_since,
        disagrees=bool(newest.learned.disagrees),
        torn=newest.learned.torn,
        soften_C=least.glass_transition_C[0] - 10.0,
        cap=_cap(facts, newest.card),
        proven=proven(facts.panel, facts.cards),
        proven_cured=proven_cured(facts.panel, facts.cards),
        job=job,
    )


def job_of(panel: Panel, newest: CoatCourse) -> Job:
    """What the newest coat's kind asks for and nobody has done yet."""
    coat, kind = newest.coat, CoatKind(newest.coat.kind)

    def undone(at: int | None) -> bool:
        return at is None or at < coat.mixed_at

    mould = kind is CoatKind.LAMINATE and panel.substrate in MOULDS
    return Job(
        flange=(mould or kind is CoatKind.IN_MOULD) and undone(panel.trimmed_at),
        taped=coat.taped and undone(panel.tape_pulled_at),
        carves=kind is CoatKind.FAIRING and undone(panel.sanded_at),
        clamped=kind is CoatKind.GLUE_LINE and undone(panel.clamps_off_at),
        under_ply=coat.peel_ply and coat.peel_ply_off_at is None,
        ply_off_at=ply_that_counts(newest),
        warmer_K=RULES[kind].warmer_K,
        vertical=panel.vertical,
        coat_to_come=panel.next_planned is not None,
    )


def _film(facts: Facts, followed: PanelCourse) -> FilmNow:
    """Under peel ply nothing is washed: what settles on it leaves with it."""
    newest = followed.newest
    if newest.coat.peel_ply and newest.coat.peel_ply_off_at is None:
        return FilmNow(None)
    return film_now(
        followed.film, first_minute(newest), followed.washed_at, facts.measures_moisture, felt_at(newest)
    )


def sanding_that_counts(panel: Panel, least: CoatCourse) -> int | None:
    """When the panel was sanded, UTC ms; None if it was not, or only before even the quick end could be: paper on gum,
    or a rasp on a fairing, leaves nothing that bonds.
    """
    soonest = least.passings[Milestone.SAND].early
    done = panel.sanded_at
    return done if done is not None and soonest is not None and done >= soonest else None


def _under_dew_K(facts: Facts, followed: PanelCourse) -> float | None:
    """How far the panel is under the dew point, K, if it was measured to be at it in each of the last minutes."""
    dew = followed.dew[-WET_MINUTES:]
    rows = len(followed.dew)
    middle = followed.newest.middle
    margin = middle.panel_C[:rows][-WET_MINUTES:] - dew - (AIR_ONLY_K if facts.surface is None else 0.0)
    measured = middle.measured[:rows][-WET_MINUTES:]
    if len(dew) < WET_MINUTES or not np.all(measured & (margin <= WET_MARGIN_K)):
        return None
    return float(-margin[-1])


def whens(course: CoatCourse, at: int) -> dict[str, When]:
    """A coat's passings as headlines need them at `at` (UTC ms)."""
    return {milestone.value: when(passing, at) for milestone, passing in course.passings.items()}


def when(passing: Passing, at: int) -> When:
    """The safe end stands where a headline looks: the early end of what shuts, the late end of what opens.

    As of `at` (UTC ms): see near().
    """
    told = near(passing, at)
    if passing.milestone in CLOSING:
        return When(told.safe, told.likely, told.late, told.passed)
    return When(told.early, told.likely, told.safe, told.passed)


def near(passing: Passing, at: int) -> Passing:
    """The same without times that lie further than two days from `at` (UTC ms): those are not told."""
    early, likely, late, safe = (
        time if time is not None and time - at <= FAR_MS else None
        for time in (passing.early, passing.likely, passing.late, passing.safe)
    )
    return replace(passing, early=early, likely=likely, late=late, safe=safe)


def pot_now(coat: Coat, card: ResinCard, panel_C: float | None, quick_rate: float = 1.0) -> Pot | None:
    """While nobody has said that the coat is on: when the newest pot of it must be empty.

    What was poured, and the bottles' warmth, as far as somebody said; else a large cup from warm bottles. A panel
    warmer than the bottles counts: so is the air around the pot. panel_C None: not known, as warm as the bottles.
    """
    if coat.applied_at is not None:
        return None
    newest = max(coat.pots, key=lambda pot: pot.mixed_at, default=PouredPot(coat.mixed_at))
    times = standing_pot(newest, card, panel_C, quick_rate)
    pour_by, usable = (
        newest.mixed_at + round(hours * HOUR_MS) for hours in (times.pour_by_h, times.usable_h)
    )
    return Pot(newest.mixed_at, pour_by, usable)


def _smoothed(followed: PanelCourse) -> float:
    recent = followed.history.central[-SMOOTHED_MIN:]
    return float(np.mean(recent)) if len(recent) else followed.panel_C


def _ahead(job: Job) -> tuple[tuple[Milestone, str], ...]:
    """What the cure brings next, and its word."""
    if job.clamped:
        return (Milestone.RECOAT_FROM, "set"), (Milestone.CLAMPS_OFF, "clamps off")
    if job.under_ply:
        return (Milestone.RECOAT_FROM, "set"), (Milestone.PEEL_PLY_OFF, "peel ply off")
    return (Milestone.RECOAT_FROM, "recoat"), (Milestone.SAND, "sand")


def _stopped(course: CoatCourse, panel_C: float, at: int, job: Job) -> Stopped | None:
    """Whether the next thing to be said, recoat or sand, clamps or ply, is out of this cold's reach."""
    ahead = _ahead(job)
    following = next(((m, word) for m, word in ahead if not course.passings[m].is_past), None)
    if following is None:
        return None
    milestone, word = following
    likely = course.passings[milestone].likely
    ahead_h = (likely - at) / HOUR_MS if likely is not None else float("inf")
    reference_h = hours_to(
        course.central, milestone, course.card.reference_C, course.conversion, course.age_h
    )
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


def _glassy(course: CoatCourse, panel_C: float) -> Glassy | None:
    target = float(course.central.conversion[Milestone.SAND][0])
    here, there = (
        hours_to_conversion(course.central, target, T, course.conversion)
        for T in (panel_C, course.card.reference_C)
    )
    if not hard_not_cured(course.glass_transition_C[1], panel_C, course.conversion, target, here, there):
        return None
    warm = max(WARM_C, course.card.minimum_C)
    warmed = _warmed(course, Milestone.SAND, warm)
    softens = course.glass_transition_C[0] - 10.0
    return Glassy(soften_C=softens, warm_C=warm, warmed_h=warmed[1] if warmed else None)


def _warmed(course: CoatCourse, milestone: Milestone, T_C: float) -> tuple[float, float, float] | None:
    """Hours to a milestone if held at T_C, for the quick end, the middle and the slow end of the range."""
    slow, middle, quick = (
        hours_to(course.central, milestone, T_C, conversion, age) / rate
        for conversion, age, rate in zip(
            course.conversion_range, course.age_range_h, course.rate_range, strict=True
        )
    )
    return (quick, middle, slow) if np.isfinite(slow) else None


def _cold_since(followed: PanelCourse, minimum_C: float) -> int | None:
    """Since when the panel has been below the card's minimum without a break; None if it is not below it."""
    history, settled = followed.history, followed.settled
    warm = warm_until(history, minimum_C)
    if not len(history) or warm == history.end:
        return None
    if warm is None and settled is not None:
        warm = settled.warm_until
    return followed.begin if warm is None else warm


def warm_until(history: Blocks, minimum_C: float) -> int | None:
    """End of the last minute at or above the card's minimum, UTC ms; None: there is none."""
    warm = np.flatnonzero(history.central >= minimum_C)
    return history.start + (int(warm[-1]) + 1) * MINUTE_MS if len(warm) else None


def _cold_hours(followed: PanelCourse, minimum_C: float) -> float:
    """Hours of the newest coat's life below the card's minimum."""
    settled = followed.settled.cold_minutes if followed.settled else 0
    return float(settled + cold_minutes(followed.newest, followed.history, minimum_C)) / 60.0


def cold_minutes(newest: CoatCourse, history: Blocks, minimum_C: float) -> int:
    """Minutes of the newest coat's life in `history` below the card's minimum."""
    begun = max((first_minute(newest) - history.start) // MINUTE_MS, 0)
    return int(np.count_nonzero(history.central[begun:] < minimum_C))


def _cap(facts: Facts, card: ResinCard) -> Say | None:
    if facts.surface is None:
        return Say("why_air_only")
    return Say("why_invented_card", {"card": card.id}) if card.invented else None
