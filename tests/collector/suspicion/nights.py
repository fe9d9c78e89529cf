"""Many invented nights at once: weather, a shed with a heater and a door, a warm room, panels, and cheap probes.

A small physics of two nodes (air and walls) stepped by the minute, for all nights in one array. Nothing here is
taken from the checks under test; all ranges are invented, common practice, no source. Each night is drawn anew:
weather, fog, heater, door, panels from a thin skin to a thick laminate, one carried in, fresh coats that warm
themselves, a blanket on a panel. A fault is added to a night afterwards, by the one that tests it.

Arrays are (night, minute); degC, %, K, minutes. Minute 0 is 12:00, the last one 18:00 on the next day.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MINUTES = 30 * 60
NOON_H = 12.0
DIGIT_K = 1 / 16
NOISE_K = 0.05


def saturation_Pa(temperature_C: Floats) -> Floats:
    """Over water: Bolton (1980), Monthly Weather Review 108, eq. 10."""
    return 611.2 * np.exp(17.67 * temperature_C / (temperature_C + 243.5))


@dataclass
class Nights:
    """What is true, and what the probes would say of it.

    air, room      the air of the two zones as it moves in minutes
    panel          by surface probe: S1, S2 in the shed, S3 in the warm room
    vapour_Pa      of the shed's air
    outdoors, tau_min (by surface probe)
    """

    random: np.random.Generator
    n: int
    air: Floats
    room: Floats
    outdoors: Floats
    vapour_Pa: Floats
    panel: dict[str, Floats]
    tau_min: dict[str, Floats]
    said: dict[str, Floats] = field(default_factory=dict)
    humidity: dict[str, Floats] = field(default_factory=dict)
    humid_true: Floats = field(default_factory=lambda: np.empty(0))

    def zone_air(self, probe: str) -> Floats:
        return self.room if probe in ("A2", "S3") else self.air


def wander(random: np.random.Generator, n: int, tau_min: Floats, sd: Floats) -> Floats:
    """A stationary walk that forgets with `tau_min`."""
    keep = np.exp(-1.0 / tau_min)
    push = random.standard_normal((n, MINUTES)) * (sd * np.sqrt(1 - keep**2))[:, None]
    out = np.empty((n, MINUTES))
    out[:, 0] = random.standard_normal(n) * sd
    for i in range(1, MINUTES):
        out[:, i] = keep * out[:, i - 1] + push[:, i]
    return out


def lagged(value: Floats, tau_min: Floats) -> Floats:
    """What follows with a first-order lag."""
    share = 1 - np.exp(-1.0 / tau_min)
    out = np.empty_like(value)
    out[:, 0] = value[:, 0]
    for i in range(1, value.shape[1]):
        out[:, i] = out[:, i - 1] + share * (value[:, i] - out[:, i - 1])
    return out


def hours() -> Floats:
    """Local time of each minute, running on past 24."""
    return NOON_H + np.arange(MINUTES) / 60


def draw(seed: int, n: int) -> Nights:
    """n clean nights."""
    random = np.random.default_rng(seed)
    outdoors = _weather(random, n)
    air = _shed(random, n, outdoors)
    room = _room(random, n)
    panel, tau = {}, {}
    for probe, zone in (("S1", air), ("S2", air), ("S3", room)):
        tau[probe] = np.where(
            random.random(n) < 0.2, random.uniform(8, 18, n), 60 * np.exp(random.uniform(-0.6, 0.9, n))
        )
        panel[probe] = _panel(random, n, zone, outdoors, tau[probe], shed=zone is air)
    vapour = _vapour(random, n, outdoors, air)
    nights = Nights(random, n, air, room, outdoors, vapour, panel, tau)
    _listen(nights)
    return nights


def _uniform(random: np.random.Generator, n: int, low: float, high: float) -> Floats:
    return random.uniform(low, high, n)


def _weather(random: np.random.Generator, n: int) -> Floats:
    mean, swing = _uniform(random, n, -3, 12)[:, None], _uniform(random, n, 1, 7)[:, None]
    turn = _uniform(random, n, 0, 130)[:, None]
    h = hours()
    slow = 2.0 * np.cos(2 * np.pi * (h - turn) / 65)
    gusts = wander(random, n, np.full(n, 40.0), _uniform(random, n, 0.1, 0.6))
    return mean + swing * np.cos(2 * np.pi * (h - 15.0) / 24) + slow + gusts


def _doors(random: np.random.Generator, n: int) -> NDArray[np.bool_]:
    """Open for 1 to 8 minutes, a few times, mostly by day and in the evening."""
    open_ = np.zeros((n, MINUTES), bool)
    for night in range(n):
        for _ in range(random.poisson(5)):
            begin = int(random.choice([random.integers(0, 660), random.integers(1080, 1790)]))
            open_[night, begin : begin + int(random.integers(1, 9))] = True
    return open_


def _shed(random: np.random.Generator, n: int, outdoors: Floats) -> Floats:
    """Air and walls; a heater that a thermostat switches, or none, switched on and off by people."""
    walls_lag, leak = _uniform(random, n, 25, 60), _uniform(random, n, 60, 240)
    to_outside = _uniform(random, n, 150, 500)
    heated = random.random(n) < 0.6
    on = random.integers(120, 900, n)
    off = on + random.integers(60, 900, n)
    set_C = outdoors.mean(1) + _uniform(random, n, 4, 12)
    power, band = _uniform(random, n, 0.15, 0.8), _uniform(random, n, 0.4, 1.5)
    doors = _doors(random, n)
    air = np.empty((n, MINUTES))
    a = w = outdoors[:, 0] + 1.0
    burning = np.zeros(n, bool)
    for i in range(MINUTES):
        out = outdoors[:, i]
        running = heated & (i >= on) & (i < off)
        burning = running & np.where(burning, a < set_C + band / 2, a < set_C - band / 2)
        exchange = np.where(doors[:, i], 1 / 6.0, 0.0) + 1 / leak
        a = a + (w - a) / walls_lag + (out - a) * exchange + power * burning
        w = w + (a - w) / 180 + (out - w) / to_outside
        air[:, i] = a
    return air + wander(random, n, _uniform(random, n, 5, 20), np.exp(_uniform(random, n, -3.5, -1.4)))


def _room(random: np.random.Generator, n: int) -> Floats:
    """Held by a thermostat."""
    ripple, period = _uniform(random, n, 0.15, 0.6)[:, None], _uniform(random, n, 12, 40)[:, None]
    phase = _uniform(random, n, 0, 40)[:, None]
    base = _uniform(random, n, 17, 24)[:, None] + ripple * np.sin(
        2 * np.pi * (np.arange(MINUTES) + phase) / period
    )
    return base + wander(random, n, _uniform(random, n, 5, 20), _uniform(random, n, 0.03, 0.12))


def _pulse(begin: NDArray[np.int64], rise_K: Floats, width_min: Floats) -> Floats:
    """K per minute of a fresh coat that warms itself: a smooth hump of that total."""
    t = (np.arange(MINUTES) - begin[:, None]) / width_min[:, None]
    shape = np.where(t > 0, t * np.exp(-np.clip(t, 0, 50)), 0.0)
    return rise_K[:, None] / width_min[:, None] * shape


def _panel(
    random: np.random.Generator, n: int, zone: Floats, outdoors: Floats, tau: Floats, shed: bool
) -> Floats:
    """A laminate that lags its air, cools to the sky, warms itself when coated, is warmed, is carried in."""
    h = hours()
    clear = _uniform(random, n, 0.0, 1.5 if shed else 0.1)[:, None]
    target = zone + _uniform(random, n, -0.3, 0.3)[:, None]
    target = target - clear * 0.5 * (1 + np.cos(2 * np.pi * (h - 3) / 24))
    width = _uniform(random, n, 12, 50)
    gain = _uniform(random, n, 0.5, 5.0) * (random.random(n) < 0.7)
    gain = np.minimum(
        gain, 0.11 * np.e * width
    )  # a film's warmth leaves it as it comes: 0.11 K a minute at most
    heat = _pulse(random.integers(60, 1200, n), gain, width)
    blanket = (random.random(n) < 0.25) & (tau > 36)
    on = random.integers(120, 1200, n)[:, None]
    off = on + random.integers(60, 500, n)[:, None]
    minute = np.arange(MINUTES)
    warm = blanket[:, None] & (minute >= on) & (minute < off)
    heat = heat + warm * (_uniform(random, n, 3, 10) / tau)[:, None]
    carried = np.where(
        random.random(n) < 0.3, random.integers(60, 1500, n), 0
    )  # until then it stood elsewhere
    elsewhere = np.where(random.random(n) < 0.5, 0.0, 1.0)[:, None]
    other = (1 - elsewhere) * outdoors + elsewhere * _uniform(random, n, 15, 22)[:, None]
    target = np.where(minute < carried[:, None], other, target)
    out = np.empty((n, MINUTES))
    T = target[:, 0] + random.standard_normal(n) * 0.3
    for i in range(MINUTES):
        T = T + (target[:, i] - T) / tau + heat[:, i]
        out[:, i] = T
    return out


def _vapour(random: np.random.Generator, n: int, outdoors: Floats, air: Floats) -> Floats:
    """From dry to fog: an outdoor dew point that wanders, breathing shops, and water that fog leaves and gives back."""
    spread = _uniform(random, n, 0.0, 7.0)[:, None]
    dew = outdoors.min(1)[:, None] + 3.0 - spread + wander(random, n, np.full(n, 300.0), np.full(n, 0.7))
    free = saturation_Pa(lagged(dew, np.full(n, 60.0))) * (
        1 + wander(random, n, np.full(n, 12.0), _uniform(random, n, 0.002, 0.012))
    )
    full = saturation_Pa(air)
    return np.minimum(free, full)


def _listen(nights: Nights) -> None:
    """What the probes say, before digits and noise: air probes hang somewhere, surface probes leak a little air."""
    random, n = nights.random, nights.n
    for probe in ("A1", "A3", "A2"):
        nights.said[probe] = lagged(near(nights, nights.zone_air(probe)), _uniform(random, n, 1.0, 4.0))
    for probe, panel in nights.panel.items():
        leak = _uniform(random, n, 0.0, 0.15)[:, None]
        mixed = (1 - leak) * panel + leak * near(nights, nights.zone_air(probe))
        nights.said[probe] = lagged(mixed, _uniform(random, n, 0.5, 2.0))
    nights.humid_true = np.minimum(100.0, 100 * nights.vapour_Pa / saturation_Pa(nights.said["A1"]))
    bias = random.normal(0.0, 1.5, n)[:, None]
    nights.humidity["A1"] = np.clip(
        lagged(nights.humid_true + bias, _uniform(random, n, 1.0, 4.0)), 1.0, 100.0
    )


def near(nights: Nights, air: Floats) -> Floats:
    """The zone's air at one spot of it."""
    random, n = nights.random, nights.n
    local = wander(random, n, _uniform(random, n, 4, 10), _uniform(random, n, 0.02, 0.06))
    return air + random.normal(0.0, 0.25, n)[:, None] + local


def spoken(nights: Nights, seed: int, each_minute: int = 6) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Temperatures and humidities as sent: with noise, in digits; the mean of each minute's readings."""
    random = np.random.default_rng(seed)
    heat = {}
    for probe, value in nights.said.items():
        noisy = value[..., None] + random.normal(0.0, NOISE_K, (*value.shape, each_minute))
        heat[probe] = (np.round(noisy / DIGIT_K) * DIGIT_K).mean(-1)
    damp = {
        probe: np.round(np.clip(value + random.normal(0.0, 0.2, value.shape), 1.0, 100.0), 1)
        for probe, value in nights.humidity.items()
    }
    return heat, damp


def after(begin: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which minutes lie at or after `begin` (one of each night)."""
    return np.arange(MINUTES) >= begin[:, None]


def tape_off(nights: Nights, probe: str, begin: NDArray[np.int64]) -> None:
    """The probe hangs beside the panel from `begin` on, in air the panel warms or cools a little."""
    random, n = nights.random, nights.n
    share = _uniform(random, n, 0.0, 0.15)[:, None]
    loose = (1 - share) * near(nights, nights.zone_air(probe)) + share * nights.panel[probe]
    mixed = np.where(after(begin), loose, nights.said[probe])
    nights.said[probe] = lagged(mixed, _uniform(random, n, 1.0, 3.0))


def swap(nights: Nights, one: str, other: str, begin: NDArray[np.int64]) -> None:
    """Each sends what the other measures."""
    here, there = nights.said[one], nights.said[other]
    nights.said[one] = np.where(after(begin), there, here)
    nights.said[other] = np.where(after(begin), here, there)


def sun(nights: Nights, probe: str, begin: NDArray[np.int64], last_min: int = 120) -> None:
    """A beam wanders over the probe, with clouds."""
    random, n = nights.random, nights.n
    strength = _uniform(random, n, 4, 14)[:, None]
    t = np.arange(MINUTES) - begin[:, None]
    edge = _uniform(random, n, 2, 12)[:, None]
    lit = np.clip(t / edge, 0, 1) * np.clip((last_min - t) / edge, 0, 1)
    clouds = np.clip(1.0 + wander(random, n, np.full(n, 8.0), _uniform(random, n, 0.02, 0.3)), 0.1, 1.1)
    nights.said[probe] = nights.said[probe] + lagged(strength * lit * clouds, _uniform(random, n, 2, 4))


def stuck_humidity(nights: Nights, probe: str, begin: NDArray[np.int64]) -> None:
    """The sensor is wet or spoilt: it goes to 98.5 to 99.9 within 20 minutes and stays there."""
    random, n = nights.random, nights.n
    level = _uniform(random, n, 98.5, 99.9)[:, None]
    wet = level + 0.1 * wander(random, n, np.full(n, 10.0), _uniform(random, n, 0.0, 1.0))
    mixed = np.where(after(begin), wet, nights.humidity[probe])
    nights.humidity[probe] = lagged(mixed, _uniform(random, n, 1.0, 6.0))
