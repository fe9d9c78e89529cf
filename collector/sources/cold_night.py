"""The physics of an invented shop on cold nights: weather, an unheated shed, a warm room, and panels in them.

Every temperature is a mean and a few waves (cosines of the hour), because what lags behind a wave by first
order is again a wave, smaller and later: with w the angular frequency and tau the time constant, the
amplitude is divided by sqrt(1 + (w tau)^2) and the delay is atan(w tau) / w (a test checks this against the
differential equation). So each value is an exact function of the time, and nothing has to be integrated.

Units: degC, Pa, %, hours.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from datetime import time as clock_time
from random import Random
from zoneinfo import ZoneInfo

STEP_K = 1 / 16
"""One digit of a 12-bit one-wire thermometer."""
NOISE_K = 0.05
NOISE_PERCENT = 0.3
SLOT_MS = 10_000
PROBE_MS = 140
"""The probes of a round speak one after the other."""
DEAD_UNTIL = clock_time(12, 0)
"""The battery that gave out at night is changed at noon."""


@dataclass(frozen=True)
class Wave:
    """amplitude * cos(2 pi (hour - peak) / period)."""

    amplitude: float
    peak: float
    period: float

    def at(self, hour: float) -> float:
        return self.amplitude * math.cos(2 * math.pi * (hour - self.peak) / self.period)

    def lagged(self, tau: float) -> Wave:
        """What follows this wave with a first-order lag of `tau` hours."""
        turn = 2 * math.pi / self.period
        damped = self.amplitude / math.hypot(1.0, turn * tau)
        return Wave(damped, self.peak + math.atan(turn * tau) / turn, self.period)


@dataclass(frozen=True)
class Course:
    """A mean and its waves."""

    mean: float
    waves: tuple[Wave, ...]

    def at(self, hour: float) -> float:
        return self.mean + sum(wave.at(hour) for wave in self.waves)

    def lagged(self, tau: float) -> Course:
        return Course(self.mean, tuple(wave.lagged(tau) for wave in self.waves))

    def plus(self, other: Course) -> Course:
        return Course(self.mean + other.mean, self.waves + other.waves)


def saturation_pressure(temperature: float) -> float:
    """Over water, Pa: Bolton (1980), Monthly Weather Review 108, eq. 10; within 0.3 % from -35 to 35 degC."""
    return 611.2 * math.exp(17.67 * temperature / (temperature + 243.5))


@dataclass(frozen=True)
class ColdNight:
    """An invented shop. Hours are local standard time; temperatures in degC.

    shed_low, shed_high   the shed's air on a typical day, before dawn and in the afternoon
    shed_lag              hours by which the shed's air lags the weather
    panel_lag, skin_lag   hours by which a thick and a thin laminate lag the air
    panel_sky, skin_sky   K by which a clear night sky cools them below the air, at most
    dew_point             of the moist air, nearly constant over the night
    silent_from           local time at which probe S4 falls silent, every night; None: never
    """

    shed_low: float = 4.0
    shed_high: float = 17.0
    shed_lag: float = 1.5
    panel_lag: float = 1.2
    skin_lag: float = 0.15
    panel_sky: float = 0.7
    skin_sky: float = 2.0
    dew_point: float = 2.9
    room: float = 20.0
    ripple: float = 0.4
    ripple_minutes: float = 24.0
    room_moisture: float = 150.0
    silent_from: clock_time | None = clock_time(3, 12)

    def outdoors(self, seed: int) -> Course:
        """A daily swing with its low before dawn, and slow weather of several days that the seed sets off."""
        # The shed damps and delays the swing; these amplitudes give it shed_low and shed_high.
        half = (self.shed_high - self.shed_low) / 2
        day = half * math.hypot(1.0, 2 * math.pi / 24 * self.shed_lag)
        slow = Wave(0.3, peak=Random(seed).uniform(0.0, 130.0), period=130.0)
        return Course((self.shed_high + self.shed_low) / 2, (Wave(day, 16.5 - self.shed_lag, 24.0), slow))

    def shed_air(self, seed: int) -> Course:
        return self.outdoors(seed).lagged(self.shed_lag)

    def shed_surface(self, seed: int, lag: float, sky: float) -> Course:
        """A laminate: it lags the air, and loses heat to the sky (most at 03:00, nothing at 15:00)."""
        cooling = Course(-sky / 2, (Wave(-sky / 2, 3.0, 24.0),))
        return self.shed_air(seed).plus(cooling).lagged(lag)

    def room_air(self) -> Course:
        """Held by a thermostat, which switches on and off around its setting."""
        return Course(self.room, (Wave(self.ripple, 0.0, self.ripple_minutes / 60),))

    def room_surface(self) -> Course:
        return self.room_air().lagged(0.5)

    def vapour_pressure(self) -> float:
        return saturation_pressure(self.dew_point)


Point = tuple[float, float | None]
"""Temperature in degC, and relative humidity in % where the probe measures it."""


def scene_points(scene: ColdNight, seed: int, hour: float) -> dict[str, Point]:
    """What is true at each probe, before noise and digits. `hour`: since 1970, in local standard time."""
    shed, room, vapour = scene.shed_air(seed).at(hour), scene.room_air().at(hour), scene.vapour_pressure()
    thick = scene.shed_surface(seed, scene.panel_lag, scene.panel_sky).at(hour)
    thin = scene.shed_surface(seed, scene.skin_lag, scene.skin_sky).at(hour)
    return {
        "S1": (thick, None),
        "S2": (thin, None),
        "S3": (scene.room_surface().at(hour), None),
        "S4": (thick + 0.2, None),
        "A1": (shed, min(100.0, 100.0 * vapour / saturation_pressure(shed))),
        "A2": (room, 100.0 * (vapour + scene.room_moisture) / saturation_pressure(room)),
    }


def scene_lines(
    seed: int, start_ms: int, end_ms: int, zone: ZoneInfo, scene: ColdNight | None = None
) -> Iterator[tuple[int, bytes]]:
    """What the scene's probes send from start (in) to end (out): (UTC ms, a line without its end).

    One round each 10 s, at the same moments and with the same noise whatever start and end are.
    """
    scene = scene or ColdNight()
    for slot in range(start_ms // SLOT_MS - 1, -(-end_ms // SLOT_MS)):
        at = slot * SLOT_MS
        local = datetime.fromtimestamp(at / 1000, UTC).astimezone(zone)
        standard = (local.utcoffset() or timedelta()) - (local.dst() or timedelta())
        points = scene_points(scene, seed, (at / 1000 + standard.total_seconds()) / 3600)
        for number, (name, point) in enumerate(points.items()):
            moment = at + number * PROBE_MS
            if start_ms <= moment < end_ms and not (name == "S4" and _is_silent(scene, local)):
                yield moment, _line(name, point, Random(f"{seed}/{slot}/{name}"))


def _is_silent(scene: ColdNight, local: datetime) -> bool:
    return scene.silent_from is not None and scene.silent_from <= local.time() < DEAD_UNTIL


def _line(name: str, point: Point, noise: Random) -> bytes:
    """In the shipped text_line format."""
    temperature, humidity = point
    shown = round((temperature + noise.gauss(0.0, NOISE_K)) / STEP_K) * STEP_K
    text = f"{name} T={shown:.4f}"
    if humidity is not None:
        text += f" RH={min(100.0, max(1.0, humidity + noise.gauss(0.0, NOISE_PERCENT))):.1f}"
    return text.encode("ascii")
