"""Follows one panel's coats through the temperatures the panel had, and those it is likely to have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from dashboard.coat_course import CoatCourse, follow_coat
from dashboard.facts import Facts, start_of
from dashboard.film import dew_by_minute, dew_now, exposure_of, wash_that_counts, wash_that_stands
from dashboard.lot_known import LotKey
from dashboard.outlooks import panel_outlook, panel_samples
from dashboard.panel import Coat
from model.blocks import Blocks
from model.blush import FilmExposure
from model.coat import HOUR_MS
from model.degree_hours import equivalent_age_h, equivalent_age_interval_mean_h, temperature_time_factor_Ch
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
    history   minutes from the oldest coat that counts up to now
    ahead     minutes from now on, as they are likely to be; source: what is said of the forecast file, if there is one
    dew       dew point of the air in each minute of the newest coat's life, degC, NaN where unknown
    washed_at   when its film was washed so that it counts: not while it was tacky, nor before it got wet while young
    """

    at: int
    newest: CoatCourse
    least: CoatCourse
    coats: tuple[CoatCourse, ...]
    suspect_since: int | None
    history: Blocks
    ahead: Blocks
    source: Say | None
    air: Blocks | None
    dew: np.ndarray[tuple[int], np.dtype[np.float64]]
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


def follow_panel(facts: Facts, at: int) -> PanelCourse:
    """The panel's course up to `at` and through the outlook. Needs a coat, its card, and a usable reading by `at`."""
    trace = facts.temperature
    assert trace is not None
    samples = panel_samples(facts, trace, at)
    coats = _coats_that_count(facts)
    start = min(start_of(coat, card) for coat, card in coats)
    history = minute_blocks(samples, trace.interval_s, min(start, at), at, WIDENING_K_H)
    if facts.surface is None:
        history = _either(
            history, minute_blocks(trace.samples, trace.interval_s, min(start, at), at, WIDENING_K_H)
        )
    ahead, source = panel_outlook(facts, samples, at)
    followed = coats_through(facts, history.joined(ahead), at)
    newest, least = followed[-1], least_cured(followed)
    suspected = [of.suspect_since for of in followed if of.suspect_since is not None]
    begun = min(start_of(newest.coat, newest.card), at)
    holes = gaps(samples, trace.interval_s, begun, at)
    missing_h = sum(last - first for first, last in holes) / HOUR_MS
    dew = dew_by_minute(facts, newest, at)
    washed_at = wash_that_stands(facts, newest, dew, wash_that_counts(facts, newest))
    panel_C = float(samples.value[-1])
    hours, value = _life(samples, begun, at)
    energy, reference = float(newest.central.members.E_J_mol[0]), newest.card.reference_C
    longest_h = longest_join_ms(trace.interval_s) / HOUR_MS
    return PanelCourse(
        at=at,
        newest=newest,
        least=least,
        coats=tuple(followed),
        suspect_since=min(suspected, default=None),
        history=history,
        ahead=ahead,
        source=source,
        air=_air_blocks(facts, begun, at),
        dew=dew,
        film=exposure_of(facts, newest, dew, washed_at),
        gaps=holes,
        panel_C=panel_C,
        trend=trend_of(samples, at),
        air_C=facts.air.value_at(at) if facts.air else None,
        air_RH=facts.humidity.value_at(at) if facts.humidity else None,
        dew_point_C=dew_now(facts, at),
        washed_at=washed_at,
        measured_h=(at - begun) / HOUR_MS - missing_h,
        missing_h=missing_h,
        temperature_time_factor_Ch=temperature_time_factor_Ch(hours, value, DATUM_C, longest_h=longest_h),
        equivalent_age_h=equivalent_age_h(hours, value, energy, reference, longest_h=longest_h),
        equivalent_age_interval_mean_h=equivalent_age_interval_mean_h(
            hours, value, energy, reference, longest_h=longest_h
        ),
    )


def coats_through(facts: Facts, whole: Blocks, at: int) -> list[CoatCourse]:
    """The coats that count through `whole`, the panel's history and what lies ahead of it; the newest last."""
    coats = _coats_that_count(facts)
    trace = facts.temperature
    assert trace is not None
    start = min(start_of(coat, card) for coat, card in coats)
    half_width_K = trace.half_width_from(min(start, at))
    return [
        follow_coat(coat, card, whole, at, half_width_K, facts.lots.get(coat.number)) for coat, card in coats
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


def _coats_that_count(facts: Facts) -> list[tuple[Coat, ResinCard]]:
    """The newest coat of each card, the newest of all last: with the same card, an older coat is never less cured.

    Unless a thumb found it slow: so every coat that was felt counts. Or unless others of its lot were slow: so do
    those of each lot of which something is known.
    """

    def alike(coat: Coat) -> tuple[str, LotKey | None]:
        known = facts.lots.get(coat.number)
        return coat.card, known.key if known else None

    newest = {alike(coat): coat.number for coat in facts.panel.coats}
    return [
        (coat, facts.cards[coat.card])
        for coat in facts.panel.coats
        if coat.thumb_tests or newest[alike(coat)] == coat.number
    ]


def _furthest_from_sanding(followed: CoatCourse) -> float:
    ready = followed.passings[Milestone.SAND].safe
    return float("inf") if ready is None else float(ready)


def _life(
    samples: Samples, begun: int, at: int
) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Hours since `begun` and temperatures of the newest coat's life, its ends interpolated or held."""
    inside = (samples.t > begun) & (samples.t < at)
    t = np.concatenate([[begun], samples.t[inside], [at]])
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
