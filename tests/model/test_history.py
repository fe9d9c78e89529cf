"""A history is linear where measured, bounded in gaps, and the same bits however the readings arrived."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.integrate
from hypothesis import given
from hypothesis import strategies as st

from model.blocks import MINUTE_MS, Blocks
from model.history import HOUR_MS, Samples, gaps, lagged, longest_join_ms, minute_blocks

T0 = 1_767_225_600_000  # 2026-01-01 00:00 UTC, a whole minute
INTERVAL_S = 30.0
RATE_K_H = 4.0


def bits(blocks: Blocks) -> tuple[int, bytes, bytes, bytes, bytes]:
    """All that a history says, to be compared exactly."""
    return (
        blocks.start,
        blocks.cold.tobytes(),
        blocks.central.tobytes(),
        blocks.hot.tobytes(),
        blocks.measured.tobytes(),
    )


def steady(seed: int, count: int, step_ms: int = 30_000, fastest_K_h: float = 0.5 * RATE_K_H) -> Samples:
    """A random walk on a jittered grid that never moves faster than the given rate."""
    rng = np.random.default_rng(seed)
    t = T0 + np.cumsum(rng.integers(step_ms // 3, step_ms, count))
    slopes = rng.uniform(-fastest_K_h, fastest_K_h, count - 1)
    value = 12.0 + np.concatenate([[0.0], np.cumsum(slopes * np.diff(t) / HOUR_MS)])
    return Samples(t, value)


def keeping(samples: Samples, kept: np.ndarray) -> Samples:
    """The samples that arrived."""
    return Samples(samples.t[kept], samples.value[kept])


@given(st.integers(0, 10_000), st.integers(2, 60), st.booleans())
def test_any_order_and_repetition_of_arrivals_gives_the_same_bits(
    seed: int, count: int, with_gap: bool
) -> None:
    """Permuted and duplicated readings, two of them contradictory, with and without a gap."""
    rng = np.random.default_rng(seed)
    once = steady(seed, count, 400_000 if with_gap else 30_000)
    t = np.append(once.t, once.t[count // 2])
    value = np.append(once.value, once.value[count // 2] + 0.3)
    again = rng.integers(0, len(t), 2 * len(t))
    order = rng.permutation(np.concatenate([np.arange(len(t)), again]))
    end = int(once.t[-1]) + 5 * MINUTE_MS
    expected = minute_blocks(Samples.of(t, value), INTERVAL_S, T0, end, RATE_K_H)
    assert bits(minute_blocks(Samples.of(t[order], value[order]), INTERVAL_S, T0, end, RATE_K_H)) == bits(
        expected
    )


def test_minus_zero_and_zero_at_one_time_are_one_value_in_any_order() -> None:
    """They compare equal and differ in bits, so sorting alone would let the arrival order through."""
    one = Samples.of([T0, T0, T0], [0.0, -0.0, -0.0])
    other = Samples.of([T0, T0, T0], [-0.0, 0.0, -0.0])
    assert one.value.tobytes() == other.value.tobytes()


@given(st.integers(0, 10_000), st.integers(1, 30), st.booleans())
def test_a_later_window_gives_the_same_bits_for_the_minutes_both_hold(
    seed: int, skipped: int, with_gap: bool
) -> None:
    """A minute depends on nothing before its neighbours, so work can resume from any minute."""
    samples = steady(seed, 120, 300_000 if with_gap else 30_000)
    end = int(samples.t[-1])
    whole = minute_blocks(samples, INTERVAL_S, int(samples.t[0]), end, RATE_K_H)
    later = minute_blocks(samples, INTERVAL_S, whole.start + skipped * MINUTE_MS, end, RATE_K_H)
    assert len(later) == max(len(whole) - skipped, 0)
    for name in ("cold", "central", "hot", "measured"):
        assert getattr(later, name).tobytes() == getattr(whole, name)[skipped:].tobytes()


def test_readings_to_come_do_not_change_a_bit_of_the_past() -> None:
    """With readings on whole minutes, where a window may end exactly on one."""
    values = np.random.default_rng(5).uniform(-10.0, 40.0, 201)
    samples = Samples(T0 + 30_000 * np.arange(201, dtype=np.int64), values)
    whole = minute_blocks(samples, INTERVAL_S, T0, T0 + 100 * MINUTE_MS, RATE_K_H)
    for minutes in range(1, 100):
        end = T0 + minutes * MINUTE_MS
        so_far = minute_blocks(keeping(samples, samples.t <= end), INTERVAL_S, T0, end, RATE_K_H)
        assert so_far.central.tobytes() == whole.central[:minutes].tobytes()


@given(st.integers(0, 10_000))
def test_a_measured_minute_is_the_exact_mean_of_the_linear_history(seed: int) -> None:
    """Against scipy's trapezoid on the knots and the minute's edges."""
    samples = steady(seed, 40)
    blocks = minute_blocks(samples, INTERVAL_S, int(samples.t[0]), int(samples.t[-1]), RATE_K_H)
    assert np.all(blocks.measured[1:])
    for i in range(1, len(blocks)):
        first, last = blocks.start + i * MINUTE_MS, blocks.start + (i + 1) * MINUTE_MS
        inner = samples.t[(samples.t > first) & (samples.t < last)]
        grid = np.concatenate([[first], inner, [last]])
        exact = scipy.integrate.trapezoid(np.interp(grid, samples.t, samples.value), grid) / MINUTE_MS
        assert blocks.central[i] == pytest.approx(exact, abs=1e-9)
    np.testing.assert_array_equal(blocks.cold, blocks.hot)


@given(st.integers(0, 10_000), st.integers(0, 10_000))
def test_widening_a_gap_never_narrows_the_bounds(seed: int, other: int) -> None:
    """For histories slower than half the stated rate; a bound turns on a whole ms: hence the tolerance."""
    samples = steady(seed, 80, 120_000)
    rng = np.random.default_rng(other)
    first, last = np.sort(rng.integers(1, 79, 2))
    wider_first, wider_last = rng.integers(1, first + 1), rng.integers(last, 79)
    index = np.arange(80)
    start, end = int(samples.t[0]), int(samples.t[-1])
    narrow = keeping(samples, (index < first) | (index > last))
    wide = keeping(samples, (index < wider_first) | (index > wider_last))
    a = minute_blocks(narrow, INTERVAL_S, start, end, RATE_K_H)
    b = minute_blocks(wide, INTERVAL_S, start, end, RATE_K_H)
    gap, turn_K = ~b.measured, 2 * RATE_K_H / HOUR_MS
    assert np.all(b.cold[gap] <= a.cold[gap] + turn_K)
    assert np.all(b.hot[gap] >= a.hot[gap] - turn_K)
    assert not np.any(b.measured & ~a.measured)


@given(st.integers(0, 10_000), st.integers(0, 10_000), st.floats(0, 20), st.floats(0, 20))
def test_what_happened_lies_within_the_bounds_and_a_higher_rate_never_narrows_them(
    seed: int, other: int, rate: float, more: float
) -> None:
    """Any part of a history slower than the rate bounds the whole; central lies between the bounds."""
    samples = steady(seed, 60, 120_000, fastest_K_h=rate)
    kept = np.random.default_rng(other).random(60) < 0.3
    kept[30] = True
    start, end = int(samples.t[0]), int(samples.t[-1])
    truth = minute_blocks(samples, 1e4, start, end, rate)
    bound = minute_blocks(keeping(samples, kept), 1.0, start, end, rate)
    looser = minute_blocks(keeping(samples, kept), 1.0, start, end, rate + more)
    assert not np.any(bound.measured)
    turn_K = 2 * (rate + more) / HOUR_MS + 1e-9
    assert np.all(bound.cold <= truth.central + turn_K)
    assert np.all(bound.hot >= truth.central - turn_K)
    assert np.all(bound.cold <= bound.central + 1e-9)
    assert np.all(bound.hot >= bound.central - 1e-9)
    assert np.all(looser.cold <= bound.cold + turn_K)
    assert np.all(looser.hot >= bound.hot - turn_K)


def test_a_jump_faster_than_the_stated_rate_opens_the_gap_instead_of_closing_it() -> None:
    """10 K in an hour at a stated 3 K/h: twice the slope is allowed, so half way all of 10 to 20 degC."""
    samples = Samples.of([T0, T0 + HOUR_MS], [10.0, 20.0])
    blocks = minute_blocks(samples, INTERVAL_S, T0, T0 + HOUR_MS, 3.0)
    assert blocks.cold[29] == pytest.approx(10.0, abs=0.4)
    assert blocks.hot[30] == pytest.approx(20.0, abs=0.4)
    assert blocks.central[30] == pytest.approx(15.0, abs=0.1)


def test_a_gap_between_equal_neighbours_widens_to_its_middle_at_the_stated_rate() -> None:
    """12 degC on both sides of two hours at 3 K/h: 9 to 15 degC in the middle, 12 at the ends."""
    samples = Samples.of([T0, T0 + 2 * HOUR_MS], [12.0, 12.0])
    blocks = minute_blocks(samples, INTERVAL_S, T0, T0 + 2 * HOUR_MS, 3.0)
    assert not np.any(blocks.measured)
    assert blocks.has_gap
    half_minute = 3.0 / 120
    assert blocks.cold[59] == pytest.approx(9.0 + half_minute, abs=1e-6)
    assert blocks.hot[60] == pytest.approx(15.0 - half_minute, abs=1e-6)
    assert blocks.cold[0] == pytest.approx(12.0 - half_minute, abs=1e-9)
    np.testing.assert_allclose(blocks.central, 12.0)


def test_beyond_the_last_and_before_the_first_sample_the_bounds_keep_opening() -> None:
    """One reading at 12 degC, an hour on each side: a cone at 3 K/h; held up to a gap's limit."""
    samples = Samples.of([T0 + HOUR_MS], [12.0])
    blocks = minute_blocks(samples, INTERVAL_S, T0, T0 + 2 * HOUR_MS, 3.0)
    assert blocks.cold[0] == pytest.approx(9.0, abs=0.03)
    assert blocks.hot[-1] == pytest.approx(15.0, abs=0.03)
    assert gaps(samples, INTERVAL_S, T0, T0 + 2 * HOUR_MS) == [
        (T0, T0 + HOUR_MS),
        (T0 + HOUR_MS, T0 + 2 * HOUR_MS),
    ]
    near = minute_blocks(samples, INTERVAL_S, T0 + HOUR_MS - 120_000, T0 + HOUR_MS + 150_000, 3.0)
    assert np.all(near.measured)
    np.testing.assert_array_equal(near.central, 12.0)


@pytest.mark.parametrize(
    ("interval_s", "limit_ms"),
    [(10, 50_000), (60, 300_000), (180, 900_000), (600, 900_000), (3600, 5_400_000)],
)
def test_a_gap_is_five_intervals_and_at_most_fifteen_minutes(interval_s: float, limit_ms: int) -> None:
    """Exactly the limit is joined, a millisecond more is a gap; a slower logger is not all gap."""
    assert longest_join_ms(interval_s) == limit_ms
    joined = Samples.of([T0, T0 + limit_ms], [10.0, 11.0])
    apart = Samples.of([T0, T0 + limit_ms + 1], [10.0, 11.0])
    assert gaps(joined, interval_s, T0, T0 + limit_ms) == []
    assert gaps(apart, interval_s, T0, T0 + limit_ms + 1) == [(T0, T0 + limit_ms + 1)]


def test_only_the_minutes_a_gap_touches_are_not_measured_and_gaps_are_cut_to_the_window() -> None:
    """Every 30 s for ten minutes, 20 minutes of silence from 10:15 on, then on again."""
    t = [*range(T0, T0 + 615_001, 30_000), *range(T0 + 1_815_000, T0 + 2_400_001, 30_000)]
    samples = Samples.of(t, [12.0] * len(t))
    last, first = T0 + 600_000, T0 + 1_815_000
    assert gaps(samples, INTERVAL_S, T0, T0 + 2_400_000) == [(last, first)]
    assert gaps(samples, INTERVAL_S, T0 + 900_000, T0 + 1_200_000) == [(T0 + 900_000, T0 + 1_200_000)]
    blocks = minute_blocks(samples, INTERVAL_S, T0 + 5, T0 + 2_400_000, RATE_K_H)
    assert blocks.start == T0
    assert np.flatnonzero(~blocks.measured).tolist() == list(range(10, 31))
    inside = minute_blocks(samples, INTERVAL_S, T0 + 900_000, T0 + 1_200_000, RATE_K_H)
    np.testing.assert_array_equal(inside.cold, blocks.cold[15:20])


def test_windows_and_samples_that_make_no_history_are_refused() -> None:
    """Nothing measured at all is an error for blocks and one whole gap for gaps()."""
    none = Samples.of([], [])
    some = Samples.of([T0], [12.0])
    assert gaps(none, INTERVAL_S, T0, T0 + 5) == [(T0, T0 + 5)]
    assert len(minute_blocks(some, INTERVAL_S, T0 + 1, T0 + 59_000, RATE_K_H)) == 0
    with pytest.raises(ValueError, match="not known"):
        minute_blocks(none, INTERVAL_S, T0, T0 + HOUR_MS, RATE_K_H)
    with pytest.raises(ValueError, match="before it starts"):
        minute_blocks(some, INTERVAL_S, T0, T0 - 1, RATE_K_H)
    with pytest.raises(ValueError, match="widening"):
        minute_blocks(some, INTERVAL_S, T0, T0 + 1, -1.0)
    with pytest.raises(ValueError, match="interval"):
        gaps(some, 0.0, T0, T0 + 1)
    with pytest.raises(ValueError, match="strictly increase"):
        Samples(np.array([T0, T0]), np.array([1.0, 2.0]))
    with pytest.raises(ValueError, match="finite"):
        Samples.of([T0], [float("nan")])
    with pytest.raises(ValueError, match="one length"):
        Samples.of([T0, T0 + 1], [1.0])
    with pytest.raises(ValueError, match="int64"):
        Samples(np.array([0.5]), np.array([1.0]))


def test_the_panel_lags_piecewise_linear_air_exactly() -> None:
    """Against scipy's Runge-Kutta restarted at every sample; tolerance 1e-8 K."""
    rng = np.random.default_rng(3)
    t = T0 + np.cumsum(rng.integers(5_000, 3_000_000, 60))
    air = Samples(t, rng.uniform(-5.0, 25.0, 60))
    tau_s = 5400.0
    panel = lagged(air, tau_s)
    at = float(air.value[0])
    for i in range(59):
        seconds = (air.t[i + 1] - air.t[i]) / 1000.0
        a, b = air.value[i], air.value[i + 1]
        solved = scipy.integrate.solve_ivp(
            lambda s, y, a=a, b=b, seconds=seconds: (a + (b - a) * s / seconds - y) / tau_s,
            (0.0, seconds),
            [at],
            rtol=1e-11,
            atol=1e-11,
        )
        at = float(solved.y[0, -1])
        assert panel.value[i + 1] == pytest.approx(at, abs=1e-8)
    np.testing.assert_array_equal(panel.t, air.t)


def test_on_a_steady_ramp_the_panel_trails_by_the_time_constant() -> None:
    """Closed form: behind by slope x tau once the start has faded; no lag gives the air back."""
    t = T0 + np.arange(0, 48 * HOUR_MS, 600_000)
    air = Samples(t, 2.0 * (t - T0) / HOUR_MS)
    assert air.value[-1] - lagged(air, 7200.0).value[-1] == pytest.approx(4.0, abs=1e-8)
    np.testing.assert_array_equal(lagged(air, 0.0).value, air.value)
    with pytest.raises(ValueError, match="time constant"):
        lagged(air, -1.0)
