"""Ice water and saturated salts: when a check has come to rest, what it finds, and what it proposes."""

from __future__ import annotations

import numpy as np
import pytest

from collector.reading import Quality, Quantity
from dashboard.correction import Correction
from dashboard.devices import Check
from dashboard.field_check import (
    BATH_K,
    HOUR_MS,
    ICE,
    MINUTE_MS,
    RawSeries,
    humidity_over,
    progress,
    proposal,
    quantity_of,
    wait_ms,
)

TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
NOW = 1_795_629_600_000


def series(
    *values: float, every_s: float = 30.0, flags: Quality = Quality.GOOD, until: int = NOW
) -> RawSeries:
    """Readings up to `until`, the last one there."""
    t = until - np.arange(len(values) - 1, -1, -1, dtype=np.int64) * round(1000 * every_s)
    return RawSeries(t, np.array(values), np.full(len(values), int(flags), np.int64))


NONE = series()


def in_ice(values: RawSeries, minutes: float = 10.0, correction: Correction | None = None) -> object:
    stretches = ((0, correction),) if correction else ()
    return progress(ICE, NOW - round(minutes * MINUTE_MS), NOW, 30.0, values, NONE, stretches)


def test_a_steady_probe_in_ice_water_is_compared_with_nothing_but_its_last_minutes() -> None:
    """It came from 12 degC: what it read while it cooled is not part of the mean."""
    here = in_ice(series(12.0, 5.0, 2.0, *[0.4, 0.5] * 6))
    assert here.state == "steady"
    assert here.found.reads == pytest.approx(0.45, abs=0.02)
    assert here.found.true == 0.0
    assert here.found.error == here.found.reads
    assert here.found.half_width == pytest.approx(np.hypot(BATH_K, 0.05))
    assert 12.0 not in here.found.readings


def test_as_left_is_the_error_after_the_correction_in_force() -> None:
    body = {"quantity": "temperature", "points": [[0.5, 0.0]], "half_width": 0.1, "margin": 15.0}
    here = in_ice(series(*[0.4] * 12), correction=Correction.of("v1", 0, body))
    assert here.found.reads == pytest.approx(0.4)
    assert here.found.error == pytest.approx(-0.1)


@pytest.mark.parametrize(
    ("values", "minutes", "state"),
    [
        (NONE, 10.0, "nothing"),
        (series(*[0.4] * 12, flags=Quality.DISCONNECTED), 10.0, "nothing"),
        (series(*[0.4] * 12), 4.9, "soaking"),
        (series(0.4, 0.4, 0.4, 0.4), 10.0, "moving"),
        (series(*[0.4] * 11, 0.7), 10.0, "moving"),
        (series(*[0.4] * 12), 5.0, "steady"),
        (series(*[0.4] * 12, until=NOW - 10 * MINUTE_MS), 20.0, "nothing"),
    ],
)
def test_a_check_is_not_finished_before_it_is_at_rest(values: RawSeries, minutes: float, state: str) -> None:
    here = in_ice(values, minutes)
    assert here.state == state
    assert (here.found is None) == (state != "steady")


def test_a_slow_probe_is_given_the_time_for_five_readings() -> None:
    values = series(*[0.4] * 6, every_s=600.0)
    here = progress(ICE, NOW - 2 * HOUR_MS, NOW, 600.0, values, NONE, ())
    assert (here.state, here.count) == ("steady", 6)


def over_salt(t_C: float | None, hours: float, salt: str = "sodium chloride") -> object:
    humid = series(*[79.0] * 200)
    warm = NONE if t_C is None else series(*[t_C] * 200)
    return progress(salt, NOW - round(hours * HOUR_MS), NOW, 30.0, humid, warm, ())


def test_over_a_salt_the_reference_goes_by_the_temperature_in_the_box() -> None:
    """Greenspan 1977 at 15 degC: 75.61 % over sodium chloride, 33.30 % over magnesium chloride."""
    here = over_salt(15.0, 12.0)
    assert here.found.true == pytest.approx(75.61, abs=0.01)
    assert here.found.error == pytest.approx(79.0 - 75.61, abs=0.01)
    assert over_salt(15.0, 12.0, "magnesium chloride").found.true == pytest.approx(33.30, abs=0.01)


@pytest.mark.parametrize(
    ("t_C", "hours", "state"),
    [(20.0, 11.9, "soaking"), (20.0, 12.0, "steady"), (8.0, 23.9, "soaking"), (8.0, 24.0, "steady"),
     (-3.0, 48.0, "outside"), (None, 48.0, "moving")],
)  # fmt: skip
def test_a_salt_needs_its_hours_more_in_the_cold_and_a_temperature(
    t_C: float | None, hours: float, state: str
) -> None:
    assert over_salt(t_C, hours).state == state


def test_an_unknown_reference_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match="sodium chloride"):
        quantity_of("sugar")
    assert wait_ms(ICE, None) < HOUR_MS


def check(
    against: str, reads: float, days_ago: float, stage: str = "as found", half_width: float = 2.0
) -> Check:
    true = 0.0 if against == ICE else humidity_over(against, 20.0)
    at = NOW - round(days_ago * 24 * HOUR_MS)
    return Check(
        "e", at, "Kim", quantity_of(against), against, stage, reads, true, reads - true, half_width, None
    )


def test_one_reference_proposes_an_offset_two_a_two_point_correction() -> None:
    salty, dry = check("sodium chloride", 79.0, 0.0), check("magnesium chloride", 30.0, 3.0, half_width=2.5)
    one = proposal([check(ICE, 0.4, 1.0), salty], HUMIDITY)
    assert one is not None
    assert one.points == ((79.0, salty.true),)
    both = proposal([check("magnesium chloride", 99.0, 31.0), dry, salty], HUMIDITY)
    assert both is not None
    assert both.points == ((30.0, dry.true), (79.0, salty.true))
    assert (both.half_width, both.reference) == (2.5, "magnesium chloride, sodium chloride")


def test_nothing_is_proposed_after_a_check_as_left_or_without_one() -> None:
    assert proposal([check(ICE, 0.4, 1.0), check(ICE, 0.0, 0.5, "as left")], TEMPERATURE) is None
    assert proposal([check(ICE, 0.4, 1.0)], HUMIDITY) is None
