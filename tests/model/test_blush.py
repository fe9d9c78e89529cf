"""Exposure of the young film: weights, levels, gaps, and what may never be said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.blush import FilmExposure, Level, Susceptibility, film_exposure
from model.psychrometrics import dew_point_C

MINUTES = 300


def film(
    margin_K: float | np.ndarray = 8.0,
    susceptibility: Susceptibility = "medium",
    conversion: float = 0.0,
    young_minutes: int = MINUTES,
    **others: object,
) -> FilmExposure:
    """A panel at 15 degC for 300 minutes with a margin over the dew point (NaN: humidity unknown)."""
    surface = np.full(MINUTES, 15.0)
    young = np.arange(MINUTES) < young_minutes
    dew = surface - np.broadcast_to(margin_K, MINUTES)
    return film_exposure(surface, dew, np.full(MINUTES, conversion), young, susceptibility, **others)  # type: ignore[arg-type]


def dew_at(rh_pc: float) -> float:
    """Margin at 15 degC that makes this relative humidity at the surface."""
    return 15.0 - float(dew_point_C(15.0, rh_pc))


@pytest.mark.parametrize(
    ("rh_pc", "weight"), [(50.0, 0.0), (60.0, 0.0), (72.5, 0.5), (85.0, 1.0), (95.0, 1.0)]
)
def test_the_weight_grows_from_60_to_85_percent_at_the_surface(rh_pc: float, weight: float) -> None:
    """Five hours at conversion 0 and medium susceptibility are five weighted hours at full weight."""
    assert film(dew_at(rh_pc)).exposure_h == pytest.approx(5.0 * weight, abs=1e-6)


@pytest.mark.parametrize(("susceptibility", "factor"), [("low", 0.4), ("medium", 1.0), ("high", 2.0)])
def test_susceptibility_and_cure_scale_the_exposure(susceptibility: Susceptibility, factor: float) -> None:
    """What has reacted cannot blush: half cured is half exposed."""
    assert film(dew_at(90.0), susceptibility).exposure_h == pytest.approx(5.0 * factor)
    assert film(dew_at(90.0), susceptibility, 0.5).exposure_h == pytest.approx(2.5 * factor)


def test_only_young_minutes_count_and_the_rail_never_falls() -> None:
    """After the young time the running exposure stays where it was."""
    seen = film(dew_at(90.0), young_minutes=120)
    assert seen.exposure_h == pytest.approx(2.0)
    assert seen.cumulative_h[119] == seen.cumulative_h[-1] == seen.exposure_h
    assert np.all(np.diff(seen.cumulative_h) >= 0)


def test_carbon_dioxide_multiplies_up_to_four_times_and_never_divides() -> None:
    """Half of outdoors is a faulty sensor, unknown is outdoors, a burner's room is capped."""
    plain = film(dew_at(75.0)).exposure_h
    for ppm, factor in [(210.0, 1.0), (np.nan, 1.0), (840.0, 2.0), (6000.0, 4.0)]:
        seen = film(dew_at(75.0), co2_ppm=np.full(MINUTES, ppm))
        assert seen.exposure_h == pytest.approx(factor * plain)


@pytest.mark.parametrize(
    ("young_minutes", "level"),
    [(59, Level.NONE_MEASURED), (60, Level.SOME), (179, Level.SOME), (180, Level.HEAVY)],
)
def test_levels_by_exposure(young_minutes: int, level: Level) -> None:
    """One weighted hour is some, three are heavy (72.5 % is no closer than 3 K, so exposure decides)."""
    co2 = np.full(MINUTES, 840.0)
    # A hair above 72.5 %, where twice the outdoor carbon dioxide makes an hour of an hour.
    seen = film(dew_at(72.5001), co2_ppm=co2, young_minutes=young_minutes)
    assert seen.exposure_h == pytest.approx(young_minutes / 60.0, abs=1e-4)
    assert seen.level is level


def test_an_hour_closer_than_three_kelvin_before_tack_free_is_heavy_or_some_for_low() -> None:
    """ISO 8502-4's 3 K as cited in paint practice; nearly cured here, so exposure alone is small."""
    close = np.where(np.arange(MINUTES) < 60, 2.9, 9.0)
    assert film(close, conversion=0.99).level is Level.HEAVY
    assert film(close, "low", conversion=0.99).level is Level.SOME
    assert film(close, conversion=0.99).close_h == 1.0
    shorter = np.where(np.arange(MINUTES) < 59, 2.9, 9.0)
    assert film(shorter, conversion=0.99).level is Level.NONE_MEASURED
    late = film(close, conversion=0.99, tacky=np.zeros(MINUTES, dtype=bool))
    assert late.level is Level.NONE_MEASURED
    assert late.close_h == 0.0


def test_ten_wet_minutes_on_end_are_wet_and_nine_are_not() -> None:
    """Condensation within 0.3 K; the longest run is told as [from, to)."""
    minute = np.arange(MINUTES)
    wet = film(np.where((minute >= 40) & (minute < 50), 0.2, 9.0), "low", 0.9)
    assert (wet.level, wet.wet_from, wet.wet_to) == (Level.WET, 40, 50)
    for spared in (49, 45):
        shorter = (minute >= 40) & (minute < 50) & (minute != spared)
        dry = film(np.where(shorter, 0.2, 9.0), "low", 0.9)
        assert (dry.level, dry.wet_from, dry.wet_to) == (Level.NONE_MEASURED, None, None)
    old = film(np.where(minute >= 40, 0.2, 9.0), "low", 0.9, young_minutes=45)
    assert old.wet_from is None


def test_air_only_takes_two_kelvin_off_the_margin() -> None:
    """4.9 K by the air's own numbers count as 2.9 K, which is close for the whole time."""
    assert film(4.9).close_h == 0.0
    seen = film(4.9, air_only=True)
    assert seen.close_h == 5.0
    assert seen.least_margin_K == pytest.approx(2.9)


def test_the_least_margin_is_the_first_smallest_known_one_of_the_young_film() -> None:
    """Later and unmeasured minutes do not enter."""
    margin = np.full(MINUTES, 9.0)
    margin[[20, 30, 250]] = [5.0, 4.0, 1.0]
    measured = np.arange(MINUTES) != 30
    seen = film(margin, young_minutes=200, measured=measured)
    assert (seen.least_margin_minute, seen.least_margin_K) == (20, 5.0)


def test_a_gap_while_young_counts_as_exposed() -> None:
    """Neither unknown humidity nor an unmeasured panel is "all fine"."""
    gap = np.arange(MINUTES) < 90
    unknown = film(np.where(gap, np.nan, 9.0))
    assert (unknown.exposure_h, unknown.unknown_h, unknown.level) == (1.5, 1.5, Level.SOME)
    unmeasured = film(9.0, measured=~gap)
    assert (unmeasured.exposure_h, unmeasured.unknown_h, unmeasured.level) == (1.5, 1.5, Level.SOME)


def test_humidity_never_known_while_young_has_no_level() -> None:
    """Nothing is said, though the hours are counted; humidity after the young time does not help."""
    seen = film(np.where(np.arange(MINUTES) < 100, np.nan, 9.0), young_minutes=100)
    assert seen.level is None
    assert seen.least_margin_K is None
    assert seen.least_margin_minute is None
    assert seen.unknown_h == pytest.approx(100 / 60)
    empty = np.zeros(0)
    assert film_exposure(empty, empty, empty, empty.astype(bool), "low").level is None


@given(st.lists(st.booleans(), min_size=MINUTES, max_size=MINUTES), st.floats(0.5, 12))
def test_losing_humidity_never_lowers_the_exposure(lost: list[bool], margin_K: float) -> None:
    """Less knowledge, no smaller number."""
    full = film(margin_K)
    assert film(np.where(lost, np.nan, margin_K)).exposure_h >= full.exposure_h - 1e-12


def test_inputs_that_make_no_film_are_refused() -> None:
    """Lengths, ranges and words; the error says what is allowed."""
    ones = np.ones(3)
    young = np.ones(3, dtype=bool)
    with pytest.raises(ValueError, match="low, medium, high"):
        film_exposure(ones, ones, ones, young, "average")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="dew_point_C"):
        film_exposure(ones, np.ones(2), ones, young, "low")
    with pytest.raises(ValueError, match="between 0 and 1"):
        film_exposure(ones, ones, 2 * ones, young, "low")
    with pytest.raises(ValueError, match="surface_C must be finite"):
        film_exposure(np.nan * ones, ones, ones, young, "low")
