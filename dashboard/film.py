"""What the newest coat's film met while it was young: the air's dew point against the panel, minute by minute."""

from __future__ import annotations

from typing import Literal, cast

import numpy as np

from dashboard.assessment import Film
from dashboard.coat_course import YOUNG_UNTIL, CoatCourse
from dashboard.facts import Facts
from dashboard.settled import FilmRows
from model.blocks import Bools, Floats
from model.blush import FilmExposure, Level, film_exposure
from model.history import Samples, minute_blocks
from model.observation import FILM_WORDS
from model.psychrometrics import dew_point_C, usable
from model.resin_card import Milestone
from model.standing import FilmNow

MINUTE_MS = 60_000


def dew_by_minute(facts: Facts, newest: CoatCourse, at: int) -> Floats:
    """Dew point of the air in each minute of the newest coat's course up to `at`, degC; NaN where not measured."""
    rows = newest.middle.row(at) + 1
    if rows <= 0:
        return np.empty(0)
    end = int(newest.middle.t_ms[rows - 1])
    begin = end - rows * MINUTE_MS
    dew = np.full(rows, np.nan)
    if facts.air is None or facts.humidity is None or not is_measured(facts):
        return dew
    air = minute_blocks(facts.air.samples, facts.air.interval_s, begin, end, 0.0)
    humidity = minute_blocks(facts.humidity.samples, facts.humidity.interval_s, begin, end, 0.0)
    moist = np.minimum(humidity.central, 100.0)
    known = air.measured & humidity.measured & usable(air.central, moist)
    dew[known] = dew_point_C(air.central[known], moist[known])
    return dew


def is_measured(facts: Facts) -> bool:
    """Whether the air's temperature and humidity were ever read."""
    return all(trace is not None and len(trace.samples) > 0 for trace in (facts.air, facts.humidity))


def dew_samples(facts: Facts, at: int) -> Samples | None:
    """Dew point of the air in the log of the days up to `at` (UTC ms), degC, the temperature interpolated; None if it
    never was read.
    """
    if facts.air is None or facts.humidity is None or not is_measured(facts):
        return None
    log, humidity = facts.air.log(at), facts.humidity.log(at)
    if not len(log) or not len(humidity):
        return None
    moist = np.minimum(humidity.value, 100.0)
    air = np.interp(humidity.t, log.t, log.value)
    known = usable(air, moist)
    return (
        Samples(humidity.t[known], np.asarray(dew_point_C(air[known], moist[known])))
        if np.any(known)
        else None
    )


def dew_now(facts: Facts, at: int) -> float | None:
    """Dew point of the air at `at` (UTC ms), degC; None if it is not measured now, or not what the formula covers."""
    air = facts.air.value_at(at) if facts.air else None
    moist = facts.humidity.value_at(at) if facts.humidity else None
    if air is None or moist is None or not usable(air, min(moist, 100.0)):
        return None
    return float(dew_point_C(air, min(moist, 100.0)))


def film_rows(facts: Facts, newest: CoatCourse, dew: Floats) -> FilmRows:
    """The minutes of the newest coat's life up to now while its film was young by age: what is settled, then the rest.

    dew   of each minute of the course up to now, degC
    """
    middle = newest.middle
    young = middle.age_h[: len(dew), 0] <= YOUNG_UNTIL * newest.card.film.recoat_from.middle
    rows = slice(int(np.count_nonzero(young)))
    since = FilmRows(
        middle.t_ms[rows],
        middle.panel_C[rows],
        middle.conversion[rows, 0],
        middle.age_h[rows, 0],
        middle.measured[rows],
        dew[rows],
    )
    return since if facts.settled is None else facts.settled.film.joined(since)


def exposure_of(facts: Facts, newest: CoatCourse, film: FilmRows, washed_at: int | None) -> FilmExposure:
    """Exposure of the newest coat from application until it is no longer young, is washed, or now."""
    young = _young(newest, film)
    if washed_at is not None:
        young &= film.t_ms <= washed_at
    return _exposure(facts, newest, film, young)


def wash_that_stands(facts: Facts, newest: CoatCourse, film: FilmRows, washed_at: int | None) -> int | None:
    """`washed_at`, unless water lay on the film after it while it was still young: then it is as if never washed."""
    if washed_at is None:
        return None
    since = _young(newest, film) & (film.t_ms > washed_at)
    return None if _exposure(facts, newest, film, since).level is Level.WET else washed_at


def _exposure(facts: Facts, newest: CoatCourse, film: FilmRows, young: Bools) -> FilmExposure:
    return film_exposure(
        surface_C=film.panel_C,
        dew_point_C=film.dew_C,
        conversion=film.conversion,
        young=young,
        susceptibility=cast(Literal["low", "medium", "high"], newest.card.blush),
        tacky=_tacky(newest, film),
        measured=film.measured,
        air_only=facts.surface is None,
    )


def wash_that_counts(facts: Facts, newest: CoatCourse) -> int | None:
    """When the newest coat was washed, or its peel ply took what lay on it along, UTC ms.

    None if it never was, or only while it was tacky and could not be.
    """
    washed, free = facts.panel.washed_at, newest.passings[Milestone.TACK_FREE].likely
    counts = washed if washed is not None and free is not None and washed >= free else None
    return max((at for at in (counts, ply_that_counts(newest)) if at is not None), default=None)


def ply_that_counts(newest: CoatCourse) -> int | None:
    """When peel ply came off that had covered the newest coat while it was young, UTC ms; None: it did not."""
    off = newest.coat.peel_ply_off_at
    if not newest.coat.peel_ply or off is None:
        return None
    return off if newest.aged_from is not None and off >= newest.aged_from else None


def first_minute(course: CoatCourse) -> int:
    """UTC ms at which the first minute of the coat's life begins."""
    return course.middle.start_ms // MINUTE_MS * MINUTE_MS


def felt_at(newest: CoatCourse) -> int | None:
    """When a hand last found something on the newest coat that must be washed away, UTC ms."""
    return max((test.at for test in newest.coat.thumb_tests if test.words[0] in FILM_WORDS), default=None)


def film_now(
    film: FilmExposure, start_ms: int, washed_at: int | None, measured: bool, felt: int | None = None
) -> FilmNow:
    """What a verdict needs of it; nothing is left to do once the film was washed.

    felt       when a hand found it greasy or wet: that outweighs whatever was measured
    measured   whether there is a humidity sensor at all: its silence while the film was young means wash
    """
    if felt is not None and (washed_at is None or felt > washed_at):
        return FilmNow(Level.HEAVY.value, felt_at=felt)
    if washed_at is not None:
        return FilmNow(None)
    if film.level is None:
        level = Level.SOME.value if measured and film.unknown_h > 0 else None
        return FilmNow(level, exposed_h=film.exposure_h, missing_h=film.unknown_h, measured=False)
    if film.level is Level.NONE_MEASURED:
        return FilmNow(None)
    wet = film.level is Level.WET and film.wet_from is not None and film.wet_to is not None
    return FilmNow(
        level=film.level.value,
        exposed_h=film.exposure_h,
        margin_h=film.close_h,
        under_K=-film.least_margin_K if film.least_margin_K is not None else 0.0,
        wet_at=start_ms + MINUTE_MS * film.wet_from if wet and film.wet_from is not None else None,
        dry_at=start_ms + MINUTE_MS * film.wet_to if wet and film.wet_to is not None else None,
        missing_h=film.unknown_h,
    )


def film_of(film: FilmExposure, start_ms: int, washed_at: int | None) -> Film:
    """The same for the panel's page."""

    def at(minute: int | None) -> int | None:
        return None if minute is None else start_ms + MINUTE_MS * minute

    return Film(
        level=None if film.level is None else film.level.value,
        exposure_h=film.exposure_h,
        least_margin_K=film.least_margin_K,
        least_margin_at=at(film.least_margin_minute),
        wet_from=at(film.wet_from),
        wet_to=at(film.wet_to),
        washed_at=washed_at,
    )


def _young(newest: CoatCourse, film: FilmRows) -> Bools:
    if newest.coat.applied_at is None:
        return np.ones(len(film), dtype=np.bool_)
    # However late somebody said that it is on: past its working time it was no pot any more.
    set_by_then = film.age_h >= newest.card.film.working.middle
    return np.asarray((film.t_ms > newest.coat.applied_at) | set_by_then)


def _tacky(newest: CoatCourse, film: FilmRows) -> Bools:
    """Before the middle of the range is tack-free."""
    free = newest.passings[Milestone.TACK_FREE].likely
    if free is None:
        return np.ones(len(film), dtype=np.bool_)
    return np.asarray(film.t_ms <= free)
