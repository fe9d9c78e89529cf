"""The air outdoors as one series: what a probe logged up to now, and what the shop's forecast file says after it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboard.follow import Trace
from dashboard.forecast_file import Outdoors
from model.history import HOUR_MS, Samples
from model.psychrometrics import dew_point_C, usable
from model.verdict import Say


@dataclass(frozen=True, eq=False)
class Weather:
    """Outdoor air and its dew point, degC, before now and after it; None: not to be used, and `say` says why."""

    air: Samples | None
    dew_point: Samples | None
    say: Say


def weather_of(outdoors: Outdoors, air: Trace | None, humidity: Trace | None, at: int) -> Weather:
    """The forecast of `at` (UTC ms), behind what the probe outdoors logged; without one, the file's own past hours.

    air, humidity   of the probe outdoors, if there is one
    """
    told = outdoors.forecast
    if told is None:
        return Weather(None, None, outdoors.say)
    logged = _hourly(air.log(at), at) if air else None
    moist = None
    if air is not None and humidity is not None and len(air.log(at)):
        moist = _dew(air.log(at), humidity.log(at), at)
    return Weather(_behind(logged, told.air), _behind(moist, told.dew_point), outdoors.say)


def _behind(logged: Samples | None, told: Samples | None) -> Samples | None:
    """What was logged, then what is forecast after it."""
    if told is None or logged is None or not len(logged):
        return told
    later = told.t > logged.t[-1]
    return Samples(
        np.concatenate([logged.t, told.t[later]]), np.concatenate([logged.value, told.value[later]])
    )


def _hourly(samples: Samples, at: int) -> Samples | None:
    """Means of the hours before `at`, each at the mean of its readings' times; None without any."""
    known = samples.t <= at
    t, value = samples.t[known], samples.value[known]
    hours, first, count = np.unique(t // HOUR_MS, return_index=True, return_counts=True)
    if not len(hours):
        return None
    into = np.add.reduceat(t % HOUR_MS, first) // count
    return Samples(hours * HOUR_MS + into, np.add.reduceat(value, first) / count)


def _dew(air: Samples, humidity: Samples, at: int) -> Samples | None:
    rh = np.minimum(humidity.value, 100.0)
    there = np.interp(humidity.t, air.t, air.value)
    known = usable(there, rh)
    return _hourly(Samples(humidity.t[known], np.asarray(dew_point_C(there[known], rh[known]))), at)
