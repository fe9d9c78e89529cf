"""The outlook follows past days, admits what it does not know, and never uses the future."""

from __future__ import annotations

import numpy as np
import pytest

from model.blocks import MINUTE_MS
from model.forecast import outlook
from model.history import HOUR_MS, Samples

NOW = 1_767_286_812_345  # 2026-01-01 17:00:12 UTC, inside a minute
DAY_MS = 24 * HOUR_MS


def weather(t: np.ndarray, amplitude_K: float = 4.0) -> np.ndarray:
    """Invented: 8 degC with a daily swing, coldest near dawn."""
    return 8.0 + amplitude_K * np.sin(2 * np.pi * (t / DAY_MS - 0.4))


def log(days: float, step_ms: int = 300_000, offset_K: float = 0.0, until: int = NOW) -> Samples:
    """That many days of readings up to `until`, with an offset on the last day only."""
    t = np.arange(until - int(days * DAY_MS) - step_ms, until, step_ms, dtype=np.int64)
    return Samples(t, weather(t) + np.where(t > until - DAY_MS, offset_K, 0.0))


def middles(start: int, count: int) -> np.ndarray:
    """Middle of each minute, UTC ms."""
    return start + MINUTE_MS * np.arange(count) + MINUTE_MS // 2


def test_minutes_start_at_the_floor_of_now_and_carry_no_measurement() -> None:
    """They meet a history that ends at the floor of now; the three paths are one."""
    blocks = outlook(log(3), NOW)
    assert blocks.start == NOW // MINUTE_MS * MINUTE_MS
    assert len(blocks) == 72 * 60
    assert not np.any(blocks.measured)
    np.testing.assert_array_equal(blocks.cold, blocks.hot)
    np.testing.assert_array_equal(blocks.cold, blocks.central)
    assert np.all(np.isfinite(blocks.central))
    assert np.all(blocks.spread > 0)


def test_after_two_weeks_of_the_same_day_the_night_is_foretold() -> None:
    """Shrinking by 14/15 leaves a fifteenth of the change since now."""
    blocks = outlook(log(15), NOW)
    truth = weather(middles(blocks.start, len(blocks)))
    error = np.abs(blocks.central - truth)
    change = np.abs(truth - weather(np.array([NOW]))[0])
    night = slice(0, 14 * 60)
    assert np.max(error[night] - change[night] / 15) < 0.05
    assert np.max(error) < 0.6
    persistence = np.abs(truth - weather(np.array([NOW]))[0])
    assert np.mean(error[night]) < 0.2 * np.mean(persistence[night])


def test_one_past_night_is_half_believed() -> None:
    """n/(n+1) with n = 1."""
    blocks = outlook(log(1.2), NOW)
    lead = 6 * 60
    now = weather(np.array([NOW - 300_000]))[0]
    change = weather(middles(blocks.start, lead + 1)[-1:])[0] - now
    assert blocks.central[lead] - now == pytest.approx(change / 2, abs=0.1)


def test_less_than_a_day_of_log_gives_persistence() -> None:
    """And the range of an unknown day, 8 K."""
    samples = log(0.9)
    blocks = outlook(samples, NOW)
    np.testing.assert_array_equal(blocks.central, samples.value[-1])
    lead_h = (middles(blocks.start, len(blocks))[360] - samples.t[-1]) / HOUR_MS
    assert blocks.spread[360] == pytest.approx(0.10 * lead_h**0.68 * 8.0 * 1.4 / 1.2816, rel=1e-4)


def test_an_unusual_day_fades_into_the_mean_day() -> None:
    """3 K too warm now: still warm tomorrow, fading with 48 h, and no jump where the two parts meet."""
    samples = log(15, offset_K=3.0)
    blocks = outlook(samples, NOW)
    truth = weather(middles(blocks.start, len(blocks)))
    above = blocks.central - truth
    assert 2.0 < above[12 * 60] < 4.0
    assert 0.3 < above[70 * 60] < 0.6 * above[22 * 60]
    assert np.max(np.abs(np.diff(blocks.central))) < 0.1


def test_days_that_grow_warmer_leave_no_step_a_day_ahead() -> None:
    """A trend of 2 K a day would otherwise jump where the mean day begins again."""
    t = np.arange(NOW - 15 * DAY_MS, NOW, 300_000, dtype=np.int64)
    samples = Samples(t, weather(t) + 2.0 * (t - NOW) / DAY_MS)
    assert np.max(np.abs(np.diff(outlook(samples, NOW).central))) < 0.1


def test_a_silent_probe_widens_the_range_from_its_last_reading() -> None:
    """Five hours of silence count as lead; the forecast runs on from the last reading."""
    silent = outlook(log(15, until=NOW - 5 * HOUR_MS), NOW)
    fresh = outlook(log(15), NOW)
    assert silent.spread[0] == pytest.approx(fresh.spread[5 * 60], rel=0.01)
    assert silent.start == fresh.start
    assert silent.central[0] == pytest.approx(fresh.central[0], abs=0.6)


def test_the_first_ranges_follow_the_daily_swing_and_shrink_with_nights() -> None:
    """A still room has a narrow range, never less than that of a 1 K day; it stops growing after two days."""
    t = log(4.1).t
    still = outlook(Samples(t, np.full(len(t), 20.0)), NOW)
    swinging = outlook(log(4.1), NOW)
    assert swinging.spread[600] == pytest.approx(8.0 * still.spread[600], rel=0.01)
    assert outlook(log(2.1), NOW).spread[600] > swinging.spread[600]
    assert still.spread[-1] == still.spread[50 * 60]
    assert np.all(np.diff(still.spread) >= 0)


def test_from_eight_nights_on_the_range_is_that_of_the_logs_own_errors() -> None:
    """Days that repeat leave the least range; days that differ by 3 K leave the range of such days."""
    least = outlook(log(15), NOW).spread[600]
    assert least < outlook(log(7.1), NOW).spread[600] / 2
    t = log(15).t
    day = (NOW - t) // DAY_MS
    unsteady = Samples(t, weather(t, 4.0) * np.where(day % 3 == 0, 1.5, 1.0))
    assert outlook(unsteady, NOW).spread[600] > 2 * least


def test_an_hour_that_tells_is_heeded_from_eight_nights_on() -> None:
    """Where a fast fall in the last hours has meant a colder night, it means so tonight."""
    t = log(15).t
    now = int(t[-1])
    kind = (now + 20 * HOUR_MS - t - 1) // DAY_MS % 2  # turns 4 h before each evening's question; 0 tonight
    since_h = ((t - now) / HOUR_MS + 4.0) % 24.0
    fallen = np.where(since_h < 18.0, since_h, 72.0 - 3.0 * since_h)
    steep = Samples(t, 10.0 - fallen * np.where(kind == 0, 0.6, 0.2))
    mild = Samples(t, 10.0 - fallen * np.where(kind == 1, 0.6, 0.2))
    fall = [float(outlook(of, NOW).central[12 * 60] - of.value[-1]) for of in (steep, mild)]
    assert fall[0] < fall[1] - 1.0


def test_a_dew_point_far_below_tells_of_a_clear_night() -> None:
    """Every other night was dry and fell twice as much: dry now, it will fall further than moist now."""
    t = log(15).t
    now = int(t[-1])
    dry = (now - t - 1) // DAY_MS % 2 == 0
    since_h = (t - now) / HOUR_MS % 24.0
    samples = Samples(t, 10.0 - np.minimum(since_h, 24.0 - since_h) * np.where(dry, 0.6, 0.3))
    nights = [
        outlook(samples, NOW, 24.0, Samples(t, np.where(t == now, tonight_C, np.where(dry, -8.0, 6.0))))
        for tonight_C in (-8.0, 6.0)
    ]
    assert nights[0].central[11 * 60] < nights[1].central[11 * 60] - 0.5


def test_a_day_with_a_hole_teaches_nothing() -> None:
    """Two hours missing yesterday: with no other day, persistence."""
    samples = log(1.2)
    hole = (samples.t > NOW - 20 * HOUR_MS) & (samples.t < NOW - 18 * HOUR_MS)
    holed = Samples(samples.t[~hole], samples.value[~hole])
    np.testing.assert_array_equal(outlook(holed, NOW).central, samples.value[-1])


def test_readings_after_now_change_nothing() -> None:
    """The outlook of a past moment uses only what was known then."""
    known = log(5)
    later = log(6, until=NOW + DAY_MS)
    cut = Samples(later.t[later.t <= NOW], later.value[later.t <= NOW])
    assert len(cut) < len(later)
    assert outlook(later, NOW).central.tobytes() == outlook(cut, NOW).central.tobytes()
    assert outlook(known, NOW).start == outlook(later, NOW).start


def test_nothing_to_forecast_from_is_refused() -> None:
    """No sample before now, or a negative length."""
    with pytest.raises(ValueError, match="nothing to forecast from"):
        outlook(Samples.of([NOW + 1], [12.0]), NOW)
    with pytest.raises(ValueError, match="hours"):
        outlook(log(1), NOW, -1.0)
