"""What an hour's summary says of readings that are gone, against the readings themselves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.store.keeping import longest_join_ms
from collector.store.summaries import HOUR_MS, Point, Summary, summarise
from model.degree_hours import temperature_time_factor_Ch
from model.history import longest_join_ms as model_longest_join_ms

T0 = 498_777 * HOUR_MS
JOIN_MS = 50_000


def test_one_hour_of_a_ramp_is_its_ends_its_mean_and_its_time() -> None:
    """From 10 to 16 degC in an hour: by hand."""
    points = [(T0 + 10_000 * i, 10 + 6 * i / 360, True) for i in range(360)]
    (hour,) = summarise(points, (T0 + HOUR_MS, 16.0), JOIN_MS)
    assert (hour.hour, hour.n, hour.usable, hour.covered_ms) == (498_777, 360, 360, HOUR_MS)
    assert (hour.low, hour.high, hour.mean) == (10.0, 16.0, pytest.approx(13.0))


def test_a_line_over_the_hours_edge_belongs_to_both_hours() -> None:
    first, second = summarise([(T0 - 10_000, 10.0, True), (T0 + 10_000, 14.0, True)], None, JOIN_MS)
    assert (first.covered_ms, first.low, first.high, first.mean) == (10_000, 10.0, 12.0, 11.0)
    assert (second.covered_ms, second.low, second.high, second.mean) == (10_000, 12.0, 14.0, 13.0)
    assert (first.n, second.n) == (1, 1)


def test_what_is_not_usable_is_counted_and_bends_no_line() -> None:
    points = [(T0, 10.0, True), (T0 + 10_000, 85.0, False), (T0 + 20_000, 12.0, True)]
    (hour,) = summarise(points, None, JOIN_MS)
    assert (hour.n, hour.usable, hour.high, hour.mean, hour.covered_ms) == (3, 2, 12.0, 11.0, 20_000)


def test_a_gap_has_no_line_and_a_lone_reading_no_mean() -> None:
    (hour,) = summarise([(T0, 10.0, True), (T0 + JOIN_MS + 1, 20.0, True)], None, JOIN_MS)
    assert (hour.covered_ms, hour.mean, hour.low, hour.high) == (0, None, 10.0, 20.0)
    assert hour.above(0.0) == (0.0, 0.0)


series = st.lists(
    st.tuples(st.integers(1, 60_000), st.floats(-20, 40, allow_nan=False)), min_size=2, max_size=60
)


def points_of(steps: list[tuple[int, float]]) -> list[Point]:
    times = np.cumsum([step for step, _ in steps]).tolist()
    return [(T0 + 50 * at, value, True) for at, (_, value) in zip(times, steps, strict=True)]


@given(series, st.integers(1, 59))
def test_summarised_in_two_parts_it_is_the_same_as_whole(steps: list[tuple[int, float]], cut: int) -> None:
    points = points_of(steps)
    whole = {hour.hour: hour for hour in summarise(points, None, 900_000)}
    cut = min(cut, len(points) - 1)
    parts: dict[int, Summary] = {}
    for hour in summarise(points[:cut], points[cut][:2], 900_000) + summarise(points[cut:], None, 900_000):
        one = parts.setdefault(hour.hour, Summary(hour.hour))
        one.n += hour.n
        one.covered_ms += hour.covered_ms
        one.integral += hour.integral
    assert {h: (s.n, s.covered_ms) for h, s in whole.items()} == {
        h: (s.n, s.covered_ms) for h, s in parts.items()
    }
    for number, hour in whole.items():
        assert parts[number].integral == pytest.approx(hour.integral, abs=1e-6)


@given(series, st.floats(-20, 40))
def test_the_degree_hours_of_the_readings_lie_within_what_the_summaries_say(
    steps: list[tuple[int, float]], datum: float
) -> None:
    """Against the model's own temperature-time factor of the readings that are gone."""
    points = points_of(steps)
    at = np.array([point[0] for point in points])
    value = np.array([point[1] for point in points])
    truth = temperature_time_factor_Ch((at - at[0]) / HOUR_MS, value, datum, longest_h=900_000 / HOUR_MS)
    hours = [hour.above(datum) for hour in summarise(points, None, 900_000)]
    assert sum(least for least, _ in hours) <= truth + 1e-6
    assert sum(most for _, most in hours) >= truth - 1e-6


@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0, 180.0, 300.0, 900.0, 3600.0])
def test_readings_are_joined_as_the_model_joins_them(interval_s: float) -> None:
    assert longest_join_ms(interval_s) == model_longest_join_ms(interval_s)
