"""What the checks flag, and what they must let through."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.checks import Checks, believed_time
from collector.reading import ProbeFacts, Quality, Quantity, Reading

T0 = 1_795_600_000_000
MINUTE = 60_000
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
PROBES = [ProbeFacts(id, "oven" if id == "O1" else "shed", "surface", 10.0, 0.8) for id in ("S1", "S2", "O1")]


def at(time: int, value: float, probe: str = "S1", quantity: Quantity = TEMPERATURE) -> Reading:
    return Reading(probe, quantity, value, T0 + time, T0 + time)


def flags(*readings: Reading, checks: Checks | None = None) -> list[Quality]:
    return [reading.quality for reading in (checks or Checks(PROBES)).flag(readings)]


def series(
    values: list[float], step: int = 10_000, start: int = 0, quantity: Quantity = TEMPERATURE
) -> list[Reading]:
    return [at(start + i * step, value, quantity=quantity) for i, value in enumerate(values)]


@pytest.mark.parametrize(
    ("value", "quantity", "flag"),
    [
        (-127.0, TEMPERATURE, Quality.DISCONNECTED),
        ((-196.6 - 32) / 1.8, TEMPERATURE, Quality.DISCONNECTED),
        (127.9375, TEMPERATURE, Quality.DISCONNECTED),
        (127.94, TEMPERATURE, Quality.DISCONNECTED),
        (-3274.5, TEMPERATURE, Quality.OUT_OF_RANGE),
        (-45.0, TEMPERATURE, Quality.OUT_OF_RANGE),
        (130.0, TEMPERATURE, Quality.OUT_OF_RANGE),
        (-20.0, TEMPERATURE, Quality.GOOD),
        (0.0, HUMIDITY, Quality.OUT_OF_RANGE),
        (110.0, HUMIDITY, Quality.OUT_OF_RANGE),
        (103.0, HUMIDITY, Quality.SATURATED),
        (99.9, HUMIDITY, Quality.SATURATED),
        (81.0, HUMIDITY, Quality.GOOD),
        (0.0, Quantity.CO2, Quality.OUT_OF_RANGE),
    ],
)
def test_one_value_alone(value: float, quantity: Quantity, flag: Quality) -> None:
    # Signatures of faulty sensors: Maxim DS18B20 data sheet for 85; the others are drivers' common practice.
    assert flags(at(0, value, quantity=quantity)) == [flag]


def test_saturated_air_stays_usable_and_is_not_stuck() -> None:
    wet = flags(*series([60.0, 61.0, 62.0, 70.0, 80.0, 90.0] + [100.0] * 2000, quantity=HUMIDITY))
    assert set(wet[6:]) == {Quality.SATURATED}
    assert Quality.SATURATED.usable


def test_one_wild_value_is_flagged_and_the_next_good_ones_are_not() -> None:
    assert flags(*series([12.0, 12.1, 60.0, 12.1, 12.2])) == [0, 0, Quality.IMPOSSIBLE_RATE, 0, 0]
    assert flags(*series([12.0, 60.0, 12.1, -30.0, 12.2])) == [
        0,
        Quality.IMPOSSIBLE_RATE,
        0,
        Quality.IMPOSSIBLE_RATE,
        0,
    ]


def test_a_wild_first_value_does_not_spoil_the_night() -> None:
    found = flags(*series([60.0] + [5.0 + 0.01 * i for i in range(30)]))
    assert found[-20:] == [0] * 20


def test_a_probe_carried_into_an_oven_is_believed_after_a_minute() -> None:
    found = flags(*series([4.0] * 3 + [60.0 + 0.01 * i for i in range(20)]))
    assert found[3:9] == [Quality.IMPOSSIBLE_RATE] * 6
    assert found[9:] == [Quality.GOOD] * 14


def test_fast_but_possible_changes_are_good() -> None:
    hot_air = [12.0 + 4.0 * i for i in range(15)]
    assert set(flags(*series(hot_air))) == {Quality.GOOD}
    assert set(flags(*series([45.0, 75.0, 50.0], quantity=HUMIDITY))) == {Quality.GOOD}


def test_after_a_gap_another_level_is_no_jump() -> None:
    assert flags(at(0, 5.0), at(2 * 60 * MINUTE, 25.0)) == [0, 0]


def test_a_power_on_value_is_flagged_and_does_not_spoil_what_follows() -> None:
    assert flags(*series([85.0, 12.0, 12.1, 85.0, 12.1])) == [
        Quality.POWER_ON_VALUE,
        0,
        0,
        Quality.POWER_ON_VALUE,
        0,
    ]


def test_85_degrees_are_believed_if_the_probe_was_near_or_its_neighbour_is() -> None:
    assert flags(*series([78.0, 81.0, 83.5, 85.0, 85.1])) == [0] * 5
    assert flags(at(0, 80.0, "S2"), at(1000, 85.0, "S1")) == [0, 0]


def test_a_hot_probe_in_another_zone_is_no_neighbour() -> None:
    assert flags(at(0, 80.0, "O1"), at(1000, 85.0, "S1"))[1] == Quality.POWER_ON_VALUE


def moving(minutes: int, start: int = 0) -> list[Reading]:
    return series([12.0 + (i % 7) / 16 for i in range(minutes * 6)], start=start)


def test_a_value_that_stops_moving_is_stuck_after_half_an_hour_and_free_when_it_moves() -> None:
    still = series([12.0] * 6 * 40, start=10 * MINUTE)
    checks = Checks(PROBES)
    checks.flag(moving(10))
    found = flags(*still, checks=checks)
    assert set(found[: 29 * 6]) == {Quality.GOOD}
    assert set(found[31 * 6 :]) == {Quality.STUCK}
    assert flags(at(50 * MINUTE, 12.0625), checks=checks) == [Quality.GOOD]


def test_a_series_that_often_rests_is_given_longer() -> None:
    restful = [12.0 + 0.5 * (i // 120) for i in range(12 * 120)]  # every half degree lasts 20 min
    found = flags(*series(restful), *series([20.0] * 6 * 60, start=12 * 20 * MINUTE))
    assert set(found) == {Quality.GOOD}


def test_a_gap_is_not_taken_for_constancy() -> None:
    checks = Checks(PROBES)
    checks.flag(moving(10))
    last = moving(10)[-1].value
    assert flags(at(10 * MINUTE, last), at(70 * MINUTE, last), checks=checks) == [Quality.GOOD] * 2


def test_late_readings_are_flagged_and_judged_among_themselves() -> None:
    checks = Checks(PROBES)
    checks.flag(series([20.0, 20.1], start=60 * MINUTE))
    late = flags(*series([5.0, 5.1, 50.0, 5.1]), checks=checks)
    assert late == [Quality.LATE, Quality.LATE, Quality.LATE | Quality.IMPOSSIBLE_RATE, Quality.LATE]
    assert flags(at(61 * MINUTE, 20.2), checks=checks) == [Quality.GOOD], "the present is not disturbed"


def test_what_was_stored_before_the_start_is_remembered() -> None:
    checks = Checks(PROBES)
    checks.remember(at(0, 80.0))
    assert flags(at(10_000, 85.0), checks=checks) == [Quality.GOOD]
    checks.remember(at(20_000, 12.0))
    assert flags(at(30_000, 60.0), checks=checks) == [Quality.IMPOSSIBLE_RATE]


def test_a_repeated_reading_teaches_nothing() -> None:
    checks = Checks(PROBES)
    checks.flag([at(0, 12.0)])
    assert flags(at(0, 12.0), at(0, 60.0), at(10_000, 12.1), checks=checks) == [Quality.GOOD] * 3


def test_a_time_ahead_of_ours_is_replaced_by_ours_and_flagged() -> None:
    hour = 3_600_000
    assert believed_time(T0 + hour, T0) == (T0, Quality.CLOCK_AHEAD)
    assert believed_time(T0 + 30_000, T0) == (T0 + 30_000, Quality.GOOD)
    assert believed_time(T0 - hour, T0) == (T0 - hour, Quality.GOOD)
    assert Quality.CLOCK_AHEAD.usable


night = st.lists(
    st.tuples(
        st.integers(0, 300),
        st.sampled_from([5.0, 5.0625, 60.0, 85.0, -127.0, 80.0]),
        st.sampled_from(["S1", "S2"]),
    ),
    max_size=40,
)


@given(night, st.randoms(use_true_random=False), st.booleans())
def test_the_order_of_arrival_within_a_batch_makes_no_difference(points: list, random, primed: bool) -> None:
    readings = [at(time * 10_000, value, probe) for time, value, probe in points]
    shuffled = list(readings)
    random.shuffle(shuffled)
    first, second = Checks(PROBES), Checks(PROBES)
    if primed:
        first.remember(at(1_500_000, 5.0))
        second.remember(at(1_500_000, 5.0))

    def key(reading: Reading) -> tuple:
        return (reading.at, reading.probe, reading.value, int(reading.quality))

    assert sorted(map(key, first.flag(readings))) == sorted(map(key, second.flag(shuffled)))
    after = [at(4_000_000, 5.0), at(4_010_000, 60.0, "S2")]
    assert first.flag(after) == second.flag(after)
