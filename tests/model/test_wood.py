"""Bare wood: warming and moisture."""

from __future__ import annotations

import numpy as np
import pytest

from model.wood import Advice, cools_from, moisture_advice, outgassing


@pytest.mark.parametrize(
    ("moisture_pc", "advice"),
    [(8.0, Advice.GO), (12.0, Advice.GO), (12.5, Advice.CAUTION), (16.0, Advice.CAUTION), (17.0, Advice.NO)],
)
def test_moisture_limits_are_the_trades(moisture_pc: float, advice: Advice) -> None:
    """Common practice, no source: above about 12 % a caution, above 16 to 18 % a no."""
    assert moisture_advice(moisture_pc) is advice


def test_cooling_wood_is_coated() -> None:
    found = outgassing(np.linspace(22.0, 12.0, 240))
    assert (found.advice, found.rise_K, found.growth_pc) == (Advice.GO, 0.0, 0.0)


@pytest.mark.parametrize(("rise_K", "advice"), [(0.4, Advice.GO), (1.0, Advice.CAUTION), (5.0, Advice.NO)])
def test_warming_wood_blows_bubbles(rise_K: float, advice: Advice) -> None:
    """Air at constant pressure grows with absolute temperature (ideal gas): 1 K at 10 degC is 0.353 %."""
    found = outgassing(np.linspace(10.0, 10.0 + rise_K, 100))
    assert found.advice is advice
    assert found.growth_pc == pytest.approx(100.0 * rise_K / 283.15, rel=1e-9)


def test_the_rise_that_counts_comes_after_the_fall() -> None:
    """22 down to 10, up to 13: 3 K, although it ends colder than it began."""
    found = outgassing(np.concatenate([np.linspace(22.0, 10.0, 100), np.linspace(10.0, 13.0, 50)]))
    assert found.rise_K == pytest.approx(3.0)
    assert (found.from_minute, found.to_minute) == (99, 149)


def test_wood_cools_from_its_afternoon_peak_on() -> None:
    minute = np.arange(12 * 60)
    wood = 15.0 + 6.0 * np.sin(2.0 * np.pi * minute / 1440.0)
    calm = cools_from(wood)
    assert calm is not None
    assert wood[calm] == pytest.approx(20.5, abs=0.05)
    assert calm < 360
    assert cools_from(wood[:200]) is None
    assert cools_from(wood[400:]) == 0


def test_impossible_wood_is_refused() -> None:
    for wrong in (np.array([]), np.array([np.nan]), np.array([200.0])):
        with pytest.raises(ValueError, match="wood_C"):
            outgassing(wrong)
    with pytest.raises(ValueError, match="allowed is 0 to 200"):
        moisture_advice(-1.0)
