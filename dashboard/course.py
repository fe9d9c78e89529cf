"""Follows one panel's coats through the temperatures the panel had, and those it is likely to have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from dashboard.coat_course import CoatCourse, follow_coat
from dashboard.facts import Facts, counting, start_of
from dashboard.film import (
    dew_by_minute,
    dew_now,
    exposure_of,
    film_rows,
    wash_that_counts,
    wash_that_stands,
)
from dashboard.outlooks import panel_outlook, panel_samples
from dashboard.panel import Coat
from dashboard.settled import Assumed, CoatAssumed, FilmRows, Settled, Unsettled
from model.blocks import Blocks
from model.blush import FilmExposure
from model.coat import HOUR_MS
from model.degree_hours import LifeSums
from model.history import Samples, gaps, longest_join_ms, minute_blocks
from model.milestones import Passing
from model.resin_card import Milestone, ResinCard
from model.verdict import Say

WIDENING_K_H = 3.0
"""How fast an unheated shed or a heated room changes at most, K/h: bounds what can have happened in a gap."""
DATUM_C = 0.0
"""Datum of the temperature-time factor shown beside the kinetics, degC: a person can check it by hand."""
TREND_K_H = 0.3


@dataclass(frozen=True)
class PanelCourse:
    """A panel at `at` (UTC ms): its newest coat, the coat that is furthest from sanding, and what it lived through.

    coats     all that count, the newest last
    suspect_since   since when the mix of one of its coats is suspected
    begin     of the oldest of them, UTC ms; samples: the panel's temperature up to now
    assumed   what all that is settled of it rests on, besides facts and entries
    history   minutes from `begin`, or from where what is settled of it ends, up to now
    ahead     minutes from now on, as they are likely to be; source: what is said of the forecast file, if there is one
    dew       dew point of the air in each of the newest coat's minutes among them, degC, NaN where unknown
    rows      what the newest coat's film met while it was young
    washed_at   when its film was washed so that it counts: not while it was tacky, nor before it got wet while young
    """

    at: int
    begin: int
    newest: CoatCourse
    least: CoatCourse
    coats: tuple[CoatCourse, ...]
    assumed: Assumed
    suspect_since: int | None
    samples: Samples
    history: Blocks
    ahead: Blocks
    source: Say | None
    air: Blocks | None
    dew: np.ndarray[tuple[int], np.dtype[np.float64]]
    rows: FilmRows
    film: FilmExposure
    washed_at: int | None
    gaps: list[tuple[int, int]]
    panel_C: float
    trend: str
    air_C: float | None
    air_RH: float | None
    dew_point_C: float | None
    measured_h: float
    missing_h: float
    temperature_time_factor_Ch: float
    equivalent_age_h: float
    equivalent_age_interval_mean_h: float
    settled: Settled | None


def follow_panel(facts: Facts, at: int) -> PanelCourse:
    """The panel's course up to `at` and through the outlook. Needs a coat, its card, and a usable reading by `at`.

    With what is settled of it in the facts only what follows that is worked out. Raises Unsettled if that rests on
    what is otherwise now.
    """
    trace = facts.temperature
    assert trace is not None
    if facts.settled is not None:
        _must_count(facts, facts.settled)
    samples, accuracy_K = panel_samples(facts, trace, at), accuracy_of(facts, at)
    ahead, source = panel_outlook(facts, samples, at)
    course = course_of(facts, samples, ahead, source, at, accuracy_K)
    if facts.settled is not None and not facts.settled.assumed.same(course.assumed):
        raise Unsettled(course.assumed)
    return course


def course_of(
    facts: Facts, samples: Samples, ahead: Blocks, source: Say | None, at: int, accuracy_K: float
) -> PanelCourse:
    """The course of a panel whose temperatures up to `at` and after it are these, by a probe of that half-width."""
    trace, settled = facts.temperature, facts.settled
    assert trace is not None
    history = history_of(facts, samples, at)
    followed = coats_through(facts, history.joined(ahead), at, accuracy_K)
    newest, least = followed[-1], least_cured(followed)
    assumed = Assumed(
        accuracy_K, tuple(CoatAssumed(of.coat.number, of.weights, of.soft_h) for of in followed)
    )
    suspected = [of.suspect_since for of in followed if of.suspect_since is not None]
    begun = min(start_of(newest.coat, newest.card), at)
    since = begun if settled is None else max(begun, settled.last_at)
    holes = [*(settled.gaps if settled else ()), *gaps(samples, trace.interval_s, since, at)]
    missing_h = sum(last - first for first, last in holes) / HOUR_MS
    dew = dew_by_minute(facts, newest, at)
    film = film_rows(facts, newest, dew)
    washed_at = wash_that_stands(facts, newest, film, wash_that_counts(facts, newest))
    sums = life_sums(facts, newest, samples, at)
    return PanelCourse(
        at=at,
        begin=history.start if settled is None else settled.begin,
        newest=newest,
        least=least,
        coats=tuple(followed),
        assumed=assumed,
        suspect_since=min(suspected, default=None),
        samples=samples,
        history=history,
        ahead=ahead,
        source=source,
        air=_air_blocks(facts, max(begun, history.start), at),
        dew=dew,
        rows=film,
        film=exposure_of(facts, newest, film, washed_at),
        gaps=holes,
        panel_C=float(samples.value[-1]),
        trend=trend_of(samples, at),
        air_C=facts.air.value_at(at) if facts.air else None,
        air_RH=facts.humidity.value_at(at) if facts.humidity else None,
        dew_point_C=dew_now(facts, at),
        washed_at=washed_at,
        measured_h=(at - begun) / HOUR_MS - missing_h,
        missing_h=missing_h,
        temperature_time_factor_Ch=sums.temperature_time_factor_Ch,
        equivalent_age_h=sums.equivalent_age_h,
        equivalent_age_interval_mean_h=sums.equivalent_age_interval_mean_h,
        settled=settled,
    )


def _must_count(facts: Facts, settled: Settled) -> None:
    """The coats that count must be those that are settled."""
    numbers = tuple(coat.number for coat, _ in coats_that_count(facts))
    if numbers != tuple(coat.number for coat in settled.assumed.coats):
        raise Unsettled(
            Assumed(settled.assumed.accuracy_K, tuple(CoatAssumed(n, None, None) for n in numbers))
        )


def history_of(facts: Facts, samples: Samples, at: int) -> Blocks:
    """The panel's minutes from the oldest coat that counts, or from what is settled of it, up to `at`."""
    trace = facts.temperature
    assert trace is not None
    start = _start(facts, at) if facts.settled is None else facts.settled.until
    history = minute_blocks(samples, trace.interval_s, start, at, WIDENING_K_H)
    if facts.surface is not None:
        return history
    return _either(history, minute_blocks(trace.samples, trace.interval_s, start, at, WIDENING_K_H))


def _start(facts: Facts, at: int) -> int:
    return min(*(start_of(coat, card) for coat, card in coats_that_count(facts)), at)


def accuracy_of(facts: Facts, at: int) -> float:
    """The widest half-width, K (95 %), of a sample of the coats' lives."""
    trace, settled = facts.temperature, facts.settled
    assert trace is not None
    if settled is None:
        return trace.half_width_from(_start(facts, at))
    since = trace.half_width_from(settled.last_at)
    return since if settled.half_width_K is None else max(settled.half_width_K, since)


def coats_through(facts: Facts, whole: Blocks, at: int, accuracy_K: float | None = None) -> list[CoatCourse]:
    """The coats that count through `whole`, the panel's history and what lies ahead of it; the newest last."""
    settled = facts.settled
    accuracy_K = accuracy_of(facts, at) if accuracy_K is None else accuracy_K
    so_far = {
        assumed.number: coat
        for assumed, coat in (zip(settled.assumed.coats, settled.coats, strict=True) if settled else ())
    }
    return [
        follow_coat(coat, card, whole, at, accuracy_K, facts.lots.get(coat.number), so_far.get(coat.number))
        for coat, card in coats_that_count(facts)
    ]


def least_cured(followed: list[CoatCourse]) -> CoatCourse:
    """The coat that is furthest from sanding."""
    return max(followed, key=_furthest_from_sanding)


def milestones_of(newest: CoatCourse, least: CoatCourse) -> Mapping[Milestone, Passing]:
    """Sanding and what comes after it look at the least cured coat, everything before at the newest."""
    late = (Milestone.SAND, Milestone.DEMOULD, Milestone.CURED)
    return dict(newest.passings) | {milestone: least.passings[milestone] for milestone in late}


def _either(lagging: Blocks, air: Blocks) -> Blocks:
    """From the air alone: the panel may lag it or follow it at once; it closes by the warmer, opens by the colder."""
    return replace(lagging, cold=np.minimum(lagging.cold, air.cold), hot=np.maximum(lagging.hot, air.hot))


def coats_that_count(facts: Facts) -> list[tuple[Coat, ResinCard]]:
    """With their cards; the newest last."""
    return [(coat, facts.cards[coat.card]) for coat in counting(facts)]


def _furthest_from_sanding(followed: CoatCourse) -> float:
    ready = followed.passings[Milestone.SAND].safe
    return float("inf") if ready is None else float(ready)


def life_sums(facts: Facts, newest: CoatCourse, samples: Samples, at: int) -> LifeSums:
    """Of the newest coat's life up to `at`."""
    trace, settled = facts.temperature, facts.settled
    assert trace is not None
    begun = min(start_of(newest.coat, newest.card), at)
    so_far = LifeSums() if settled is None or settled.sums is None else settled.sums
    since = begun if settled is None or settled.sums is None else settled.last_at
    hours, value = _life(samples, begun, since, at)
    energy, longest_h = float(newest.central.members.E_J_mol[0]), longest_join_ms(trace.interval_s) / HOUR_MS
    return so_far.and_then(hours, value, DATUM_C, energy, newest.card.reference_C, longest_h)


def _life(
    samples: Samples, begun: int, since: int, at: int
) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Hours since `begun` and temperatures of the newest coat's life from `since` on, its ends interpolated or held."""
    inside = (samples.t > since) & (samples.t < at)
    t = np.concatenate([[since], samples.t[inside], [at]])
    value = np.interp(t, samples.t, samples.value)
    keep = np.concatenate([[True], np.diff(t) > 0])
    return (t[keep] - begun) / HOUR_MS, value[keep]


def trend_of(samples: Samples, at: int) -> str:
    """ "rising", "falling" or "steady" over the hour before `at` (UTC ms)."""
    now, before = np.interp([at, at - HOUR_MS], samples.t, samples.value)
    change = float(now - before)
    return "steady" if abs(change) < TREND_K_H else "rising" if change > 0 else "falling"


def _air_blocks(facts: Facts, begun: int, at: int) -> Blocks | None:
    if facts.air is None or not len(facts.air.samples):
        return None
    return minute_blocks(facts.air.samples, facts.air.interval_s, begun, at, 0.0)
