"""What watch stores of the hours to come: the model's own outlook, and the forecast file through the shop."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from collector.reading import Quantity
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.facts import Facts
from dashboard.forecast_file import Forecast, Outdoors
from dashboard.night import _lasting
from dashboard.weather import Weather, weather_of
from model.blush import AIR_ONLY_K
from model.forecast import EIGHTY_PC_HALF_WIDTHS, outlook
from model.history import Samples
from model.shed import fit, outlook_from_outdoors
from model.verdict import Say
from tests.dashboard.night import HOUR_MS, MIXED, after, card, night, trace

NOW = MIXED + 4 * HOUR_MS
USED = Say("forecast_used", {"made_at": NOW})


def cooling(hour: float) -> float:
    """An unheated shed, invented: warmest two hours before mixing."""
    return 13.0 + 5.0 * math.cos((hour + 2.0) * math.pi / 12.0)


def outdoors(hour: float) -> float:
    return 6.0 + 6.0 * math.cos((hour + 5.0) * math.pi / 12.0)


def days(of: Facts, since_h: float = -240.0) -> Facts:
    """The same with ten days of log."""
    surface = trace("S1", Quantity.TEMPERATURE, cooling, until_h=4.0, since_h=since_h)
    return replace(of, surface=surface, air=surface if of.air is None else of.air)


def weather(until_h: float, colder_K: float = 0.0, since_h: float = -240.0) -> Weather:
    hours = np.arange(since_h, until_h + 1.0)
    values = np.array([outdoors(hour) - colder_K * max(0.0, hour - 4.0) for hour in hours])
    air = Samples(MIXED + (hours * HOUR_MS).astype(np.int64), values)
    return weather_of(Outdoors(Forecast(NOW, air, None), USED), None, None, NOW)


def test_the_night_is_the_models_outlook_every_quarter_of_an_hour() -> None:
    facts = days(night(cooling, 4.0))
    answer = assess(facts, NOW)
    assert answer.night is not None
    assert facts.surface is not None
    assert facts.air is not None
    assert facts.humidity is not None
    from dashboard.film import dew_samples

    own = outlook(facts.surface.log(NOW), NOW, 72.0, dew_samples(facts, NOW))
    np.testing.assert_allclose(answer.night.likely_C, own.central[: 26 * 60 : 15], atol=0.006)
    half = EIGHTY_PC_HALF_WIDTHS * own.spread[: 26 * 60 : 15]
    np.testing.assert_allclose(np.array(answer.night.high_C) - answer.night.low_C, 2 * half, atol=0.011)
    assert answer.night.t[1] - answer.night.t[0] == 15 * 60_000


def test_it_says_when_the_card_is_left_and_when_the_margin_closes() -> None:
    """The first minute below the card's 10 degC, and below 3 K over a steady dew point, by the outlook itself."""
    facts = days(night(cooling, 4.0, humidity=None))
    moist = trace("A1", Quantity.RELATIVE_HUMIDITY, lambda hour: 70.0, until_h=4.0, since_h=-240.0)
    air = trace("A1", Quantity.TEMPERATURE, lambda hour: 13.0, until_h=4.0, since_h=-240.0)
    answer = assess(replace(facts, air=air, humidity=moist), NOW)
    found = answer.night
    assert found is not None
    assert found.cold_at is not None
    quarter = found.t.index(max(t for t in found.t if t <= found.cold_at))
    assert found.likely_C[quarter] >= card().minimum_C - 0.01 > found.likely_C[quarter + 1] - 0.1
    assert found.closes_at is not None
    assert found.closes_by is not None
    assert found.closes_by < found.closes_at
    by = found.t.index(max(t for t in found.t if t <= found.closes_at))
    assert found.likely_C[by] - found.dew_point_C[by] == pytest.approx(3.0, abs=0.3)


def test_a_dip_shorter_than_an_hour_makes_no_cold_night() -> None:
    """By hand: 40 min below, then 60 min below; and one that is still below where the outlook ends."""
    so = np.zeros(300, dtype=np.bool_)
    so[50:90] = so[150:210] = so[280:] = True
    assert np.flatnonzero(_lasting(so)).tolist() == [150, *range(280, 300)]
    assert not _lasting(np.zeros(10, dtype=np.bool_)).any()


def test_a_margin_from_the_air_alone_closes_earlier() -> None:
    """A thin skin is colder than the air it is judged by: 2 K are taken off (common practice, no source)."""
    with_surface = after(cooling, 4.0).night
    air_only = after(cooling, 4.0, with_surface=False).night
    assert with_surface is not None
    assert air_only is not None
    assert AIR_ONLY_K == 2.0
    assert air_only.closes_by is not None
    assert with_surface.closes_by is None or air_only.closes_by < with_surface.closes_by


def test_a_silent_or_doubtful_probe_leaves_no_night() -> None:
    assert after(cooling, 4.0, silent_from=3.0).night is None
    facts = night(cooling, 4.0)
    assert assess(replace(facts, panel=replace(facts.panel, coats=())), NOW).night is not None
    silent = night(cooling, 4.0, silent_from=3.0)
    assert assess(replace(silent, panel=replace(silent.panel, coats=())), NOW).night is None


def test_a_night_survives_being_stored() -> None:
    answer = assess(replace(days(night(cooling, 4.0)), weather=weather(40.0)), NOW)
    assert answer.night is not None
    assert answer.night.source == USED
    assert Assessment.from_json(answer.to_json()) == answer


def test_a_forecast_for_outdoors_comes_through_the_shops_own_lag() -> None:
    """Up to its end it is the model's; a colder forecast makes a colder night and a later sanding."""
    facts, told = days(night(cooling, 4.0)), weather(40.0)
    answer = assess(replace(facts, weather=told), NOW)
    assert facts.surface is not None
    assert told.air is not None
    assert answer.night is not None
    samples = facts.surface.samples
    expected = outlook_from_outdoors(fit(told.air, samples, NOW), samples, told.air, NOW)
    np.testing.assert_allclose(answer.night.likely_C, expected.central[: 26 * 60 : 15], atol=0.05)
    cold = assess(replace(facts, weather=weather(40.0, colder_K=0.5)), NOW)
    assert cold.night is not None
    assert min(cold.night.likely_C) < min(answer.night.likely_C) - 1.0

    def sand(of: Assessment) -> float:
        return {item.name: item.likely or math.inf for item in of.milestones}["sand"]

    assert sand(cold) >= sand(answer)


def test_where_the_forecast_ends_the_own_outlook_goes_on_without_a_step() -> None:
    """A forecast of a hard frost that ends after ten hours: the outlook leaves it with the shop's lag, not at once."""
    facts = days(night(cooling, 4.0))
    cold, own = (
        assess(replace(facts, weather=told), NOW).night for told in (weather(14.0, colder_K=2.0), None)
    )
    assert cold is not None
    assert own is not None
    assert len(cold.t) == 26 * 4
    joint = cold.t.index(NOW + 10 * HOUR_MS)
    apart = np.array(own.likely_C) - cold.likely_C
    assert apart[joint - 1] > 8.0, "the two differ where the forecast ends"
    assert abs(apart[joint + 1] - apart[joint - 1]) < 1.0
    assert apart[-1] < apart[joint]


def test_too_little_in_common_or_a_broken_file_is_said_and_the_own_outlook_used() -> None:
    facts = days(night(cooling, 4.0))
    own = assess(facts, NOW)
    short = assess(replace(facts, weather=weather(40.0, since_h=-40.0)), NOW)
    broken = assess(
        replace(facts, weather=Weather(None, None, Say("forecast_broken", {"problem": "x"}))), NOW
    )
    for answer, key in ((short, "forecast_learning"), (broken, "forecast_broken")):
        assert answer.night is not None
        assert own.night is not None
        assert answer.night.source is not None
        assert answer.night.source.key == key
        assert replace(answer.night, source=None) == own.night
        assert answer.verdict == own.verdict


def test_a_probe_outdoors_takes_the_place_of_the_files_past_hours() -> None:
    logged = trace("O1", Quantity.TEMPERATURE, outdoors, until_h=4.0, since_h=-200.0)
    hours = np.arange(-20.0, 40.0)
    ahead = Samples(MIXED + (hours * HOUR_MS).astype(np.int64), np.array([outdoors(hour) for hour in hours]))
    told = weather_of(Outdoors(Forecast(NOW, ahead, None), USED), logged, None, NOW)
    assert told.air is not None
    assert told.air.t[0] < MIXED - 190 * HOUR_MS
    assert np.count_nonzero(told.air.t > NOW) == 35, "the hour that is not over yet is none to come"
    assert told.air.t[-36] == NOW
    assert np.all(told.air.t[told.air.t < NOW] % HOUR_MS == 25 * HOUR_MS // 60), (
        "means of what was logged in its own hours"
    )
    answer = assess(replace(days(night(cooling, 4.0)), weather=told), NOW)
    assert answer.night is not None
    assert answer.night.source == USED
