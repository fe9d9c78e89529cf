"""Tonight: what the panel's temperature will do if the coming hours resemble the same hours of past days.

    T(t + h) = T(t) + mean change over h hours since this time of day + b_h . x          up to 14 h
    T(t + h) = mean day(t + h) + departure at 14 h x exp[-(h - 14)/48]                   beyond

x holds the anomalies, against the same days, of the change over the last hour, of that over the last three
hours and of temperature less dew point; b_h is fitted by ridge regression. The range is that of the errors the
same rule would have made on the days of the log. Ridge: A. E. Hoerl and R. W. Kennard, Technometrics 12, 1970
(citation from memory); all constants are our own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.blocks import MINUTE_MS, Blocks, Bools, Floats
from model.history import HOUR_MS, Samples, Times

DAY_MS = 24 * HOUR_MS
NIGHTS = 14
"""Days whose change is averaged."""
JUDGED = 30
"""Days whose forecasts are looked back upon for the range."""
TRUSTED_NIGHTS = 8
"""From here on the mean change counts in full, the anomalies count, and the log's own errors make the range."""
RIDGE = 8.0
"""Weight of the prior b_h = 0, in units of the mean square of each anomaly."""
HANDOVER_H = 14.0
"""Up to here the change since now is forecast, beyond it the day's profile."""

FADE_H = 48.0
LONGEST_STEP_MS = 90 * MINUTE_MS
"""A past day with samples further apart than this teaches nothing; hourly logs pass."""

UNKNOWN_DAILY_RANGE_K = 8.0
LEAST_DAILY_RANGE_K = 1.0
SPREAD_GROWS_H = 48.0
EIGHTY_PC_HALF_WIDTHS = 1.2815515655446004
"""Standard normal quantile at 0.9: half an 80 % range in standard deviations."""

_STEP_MS = 15 * MINUTE_MS
_DAY = DAY_MS // _STEP_MS
_HOUR = HOUR_MS // _STEP_MS
_LEADS = 3 * _DAY + 1
_DAYS = JUDGED + NIGHTS
_LEAD_H: Floats = np.arange(_LEADS, dtype=np.float64) * (_STEP_MS / HOUR_MS)
_NO_RANGE = np.zeros(_LEADS)


def outlook(samples: Samples, now_ms: int, hours: float = 72.0, dew_point: Samples | None = None) -> Blocks:
    """Forecast minutes from floor(now) on, `hours` of them: cold = central = hot, not measured, with their
    spread.

    samples    temperature, degC; dew_point  of the same air, degC, if known: both as logged, of any length
    now_ms     UTC ms; what was read after it is not used

    Starts from the newest sample at or before now and counts the lead h from there, so that a silent probe
    widens the range. The mean change is that of the last n <= 14 completely logged days, shrunk by n/(n+1)
    while n < 8; the anomalies count from n = 8 on. Without a complete day: persistence.

    spread is one standard deviation, K. From eight past forecasts on: the 80 % quantile of the errors, without
    sign, that this rule would have made at this time of the last 30 days, x (1 + 2/their number). Before: a
    half-width of 0.10 h^0.68 x daily range x (1 + 0.4/n), n at least 1, the daily range from the log (8 K if
    unknown, at least 1 K), which stops growing at 48 h. It is never less than that of a day of 1 K.

    On a year of hourly weather of three stations and the same through a lag of 12 h, asked at 18, 20 and 22 h
    local time for 1 to 14 h: eight nights of log held 75 to 84 % in the 80 % range, two weeks 81 to 85 %, more
    80 to 84 % (with 1 + 1/n eight nights held 71 to 81 %). tests/published/test_open_weather.py.

    Raises ValueError if there is no sample at or before now, or for hours below 0.
    """
    if not hours >= 0:
        raise ValueError(f"hours {hours!r}: an outlook cannot be shorter than 0 h")
    past = int(np.searchsorted(samples.t, now_ms, "right"))
    if past == 0:
        raise ValueError("no sample at or before now: there is nothing to forecast from")
    start = now_ms // MINUTE_MS * MINUTE_MS
    newest = int(samples.t[past - 1])
    minutes = start + MINUTE_MS * np.arange(round(60.0 * hours), dtype=np.int64)
    lead_h = np.maximum((minutes - newest + MINUTE_MS // 2) / HOUR_MS, 0.0)
    rule = _learn(_Log.read(samples, dew_point, newest))
    central = rule.likely(float(samples.value[past - 1]), lead_h)
    return Blocks(
        start=start,
        cold=central.copy(),
        central=central,
        hot=central.copy(),
        measured=np.zeros(len(central), dtype=np.bool_),
        spread=rule.spread(lead_h),
    )


@dataclass(frozen=True, eq=False)
class _Log:
    """The past seen from this time of day. Row k began k days before the newest sample; leads are 15 min apart.

    value      (days + 1, leads), degC, NaN where not logged or still to come
    complete   (days + 1,), whether the row's first 24 h are logged
    feature    (days + 1, 3): change over the last hour and the last three, temperature less dew point; NaN
               where unknown
    """

    value: Floats
    complete: Bools
    feature: Floats

    @classmethod
    def read(cls, samples: Samples, dew_point: Samples | None, newest: int) -> _Log:
        before = 3 * _HOUR
        count = before + _DAYS * _DAY + 1
        at = newest - _STEP_MS * np.arange(count - 1, -1, -1, dtype=np.int64)
        logged = _on_grid(samples, at)
        begin = count - 1 - _DAY * np.arange(_DAYS + 1)
        ahead = np.concatenate([logged, np.full(_LEADS - 1, np.nan)])
        value = ahead[begin[:, np.newaxis] + np.arange(_LEADS)]
        dew = np.full(_DAYS + 1, np.nan) if dew_point is None else _on_grid(dew_point, at[begin])
        now = logged[begin]
        feature = np.stack([now - logged[begin - _HOUR], now - logged[begin - 3 * _HOUR], now - dew], axis=1)
        return cls(value, np.all(np.isfinite(value[:, : _DAY + 1]), axis=1), feature)


@dataclass(frozen=True, eq=False)
class _Rule:
    """What the log teaches, on the leads' grid: change since now, mean day, half of the 80 % range, K."""

    change: Floats
    profile: Floats | None
    half_width: Floats

    def likely(self, newest_C: float, lead_h: Floats) -> Floats:
        """The forecast at each lead, degC."""
        soon = newest_C + np.interp(lead_h, _LEAD_H[: len(self.change)], self.change)
        if self.profile is None:
            return np.asarray(soon)
        hour = _LEAD_H[: _DAY + 1]
        at_handover = newest_C + np.interp(HANDOVER_H, hour, self.change)
        departure = at_handover - np.interp(HANDOVER_H, hour, self.profile)
        later = np.interp(lead_h % 24.0, hour, self.profile)
        later = later + departure * np.exp(-np.maximum(lead_h - HANDOVER_H, 0.0) / FADE_H)
        return np.asarray(np.where(lead_h <= HANDOVER_H, soon, later))

    def spread(self, lead_h: Floats) -> Floats:
        """One standard deviation at each lead, K."""
        return np.asarray(np.interp(lead_h, _LEAD_H, self.half_width) / EIGHTY_PC_HALF_WIDTHS)


def _learn(log: _Log) -> _Rule:
    """The rule for now (origin 0), judged by what it would have said on each of the last days (origins 1 to 30)."""
    rows = _nights(log.complete)
    use = log.complete[rows]
    nights = use.sum(axis=1)
    day = np.where(log.complete[:, np.newaxis], log.value[:, : _DAY + 1], 0.0)
    change = day - day[:, :1]
    mean = _mean(change[rows], use)
    shrunk = np.where(nights < TRUSTED_NIGHTS, nights / (nights + 1.0), 1.0)[:, np.newaxis]
    soon = mean * shrunk + _from_anomalies(log.feature, rows, use, change[rows] - mean[:, np.newaxis])
    profile = _mean(day[rows], use)
    # A day that ends warmer than it began would make a profile with a step; tilt it so that it closes.
    profile = profile - (_LEAD_H[: _DAY + 1] / 24.0 - 0.5) * (profile[:, -1:] - profile[:, :1])
    error = np.full((JUDGED, _LEADS), np.nan)
    for origin in np.flatnonzero(nights[1:] > 0) + 1:
        rule = _Rule(soon[origin], profile[origin], _NO_RANGE)
        began = log.value[origin]
        error[origin - 1] = np.abs(began - rule.likely(float(began[0]), _LEAD_H))
    daily_K = float(_mean(np.ptp(day, axis=1)[rows][:, :, np.newaxis], use)[0, 0])
    now = int(nights[0])
    return _Rule(soon[0], profile[0] if now else None, _half_width(error, now, daily_K))


def _nights(complete: Bools) -> NDArray[np.int64]:
    """The rows each origin learns from, (origins, nights): the nearest complete days before it.

    While the log is short the days after a past origin fill up, so that it is judged with as many nights as now.
    """
    origin, row = np.arange(JUDGED + 1)[:, np.newaxis], np.arange(_DAYS + 1)
    nearest = np.where(row > origin, row - origin, _DAYS + origin - row)
    wanted = complete & (row >= 1) & (row != origin)
    return np.argsort(np.where(wanted, nearest, 3 * _DAYS), axis=1, kind="stable")[:, :NIGHTS]


def _mean(of: Floats, use: Bools) -> Floats:
    """Mean over the used nights, 0 without any: of (origins, nights, leads), use (origins, nights)."""
    total = (of * use[:, :, np.newaxis]).sum(axis=1)
    return np.asarray(total / np.maximum(use.sum(axis=1), 1)[:, np.newaxis])


def _from_anomalies(feature: Floats, rows: NDArray[np.int64], use: Bools, departure: Floats) -> Floats:
    """b_h . x of each origin, K, (origins, leads); departure (origins, nights, leads) of the nights' changes.

    An anomaly that is not known, now or on a night, counts as none.
    """
    known = use[:, :, np.newaxis] & np.isfinite(feature)[rows]
    there = np.where(known, feature[rows], 0.0)
    mean = there.sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    x = np.where(known, there - mean[:, np.newaxis], 0.0)
    now = feature[: len(rows)] - mean
    nights = use.sum(axis=1)
    scale = np.sqrt((x * x).sum(axis=1) / np.maximum(nights, 1)[:, np.newaxis])
    scale = np.where(scale > 0.0, scale, np.inf)
    x, now = x / scale[:, np.newaxis], np.where(np.isfinite(now), now, 0.0) / scale
    turned = np.swapaxes(x, 1, 2)
    fitted = np.linalg.solve(turned @ x + RIDGE * np.eye(x.shape[2]), turned @ departure)
    answer = (now[:, np.newaxis] @ fitted)[:, 0]
    return np.where((nights >= TRUSTED_NIGHTS)[:, np.newaxis], answer, 0.0)


def _half_width(error_K: Floats, nights: int, daily_K: float) -> Floats:
    """Half of the 80 % range at each lead, K; error_K (origins, leads) without sign, NaN where not known."""
    grown = 0.10 * np.minimum(_LEAD_H, SPREAD_GROWS_H) ** 0.68
    first = max(daily_K, LEAST_DAILY_RANGE_K) if nights else UNKNOWN_DAILY_RANGE_K
    cold_start = grown * first * (1.0 + 0.4 / max(nights, 1))
    judged = np.isfinite(error_K).sum(axis=0)
    last = np.maximum(judged - 1, 0)
    # The 0.8 (n + 1)th of n errors is the one a further error stays below in 80 of 100 cases.
    place = np.clip(0.8 * (judged + 1) - 1.0, 0.0, last)
    ranked = np.sort(np.where(np.isfinite(error_K), error_K, np.inf), axis=0)
    lead, low = np.arange(_LEADS), np.floor(place).astype(np.int64)
    enough = judged >= TRUSTED_NIGHTS
    below = np.where(enough, ranked[low, lead], 0.0)
    above = np.where(enough, ranked[np.minimum(low + 1, last), lead], 0.0)
    own = (below + (above - below) * (place - low)) * (1.0 + 2.0 / np.maximum(judged, 1))
    return np.asarray(np.maximum(np.where(enough, own, cold_start), grown * LEAST_DAILY_RANGE_K))


def _on_grid(samples: Samples, at: Times) -> Floats:
    """The log at the times `at` (n,), NaN where samples around it are further apart than LONGEST_STEP_MS."""
    if len(samples) == 0:
        return np.full(len(at), np.nan)
    right = np.searchsorted(samples.t, at, "left")
    inside = right < len(samples)
    right = np.minimum(right, len(samples) - 1)
    left = np.maximum(np.where(samples.t[right] == at, right, right - 1), 0)
    inside &= (samples.t[left] <= at) & (samples.t[right] - samples.t[left] <= LONGEST_STEP_MS)
    return np.where(inside, np.interp(at, samples.t, samples.value), np.nan)
