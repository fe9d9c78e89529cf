"""A forecast for outdoors, brought indoors: the shop follows the outdoor air with a lag and stays some K warmer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from model.blocks import MINUTE_MS, Blocks, Floats
from model.history import HOUR_MS, Samples, Times, lagged

LEAST_OVERLAP_H = 72.0
SETTLE_H = 24.0
"""Left out at the beginning: until then the lag still shows what the shop was before the log."""
LAGS_H = np.exp(np.linspace(np.log(0.25), np.log(72.0), 48))
OUTDOOR_SD_K = 1.5
"""Standard deviation of a forecast's error a day ahead, growing with the square root of the lead (common practice,
no source)."""


@dataclass(frozen=True)
class Shed:
    """How a shop follows the outdoor air: T = outdoors through a first-order lag + offset.

    lag_s      time constant, s; offset_K  how much warmer than the lagged outdoor air
    error_K    standard deviation of what this leaves unexplained
    hours      length of the log it was fitted to
    """

    lag_s: float
    offset_K: float
    error_K: float
    hours: float

    def follow(self, outdoors: Samples) -> Samples:
        """The shop's temperature that this outdoor air leads to, degC, from its first sample on."""
        inside = lagged(outdoors, self.lag_s)
        return Samples(inside.t, inside.value + self.offset_K)


def fit(outdoors: Samples, shop: Samples, now_ms: int) -> Shed:
    """Lag and offset by least squares over the time both were logged up to now_ms, UTC ms.

    outdoors, shop   degC, hourly or closer. The first 24 h are left out. Raises ValueError with less than 72 h
    of both.
    """
    begin = max(_first(outdoors, now_ms), _first(shop, now_ms))
    end = min(_last(outdoors, now_ms), _last(shop, now_ms))
    hours = (end - begin) / HOUR_MS
    if hours < LEAST_OVERLAP_H:
        raise ValueError(
            f"outdoors and shop have {max(hours, 0.0):.1f} h in common; {LEAST_OVERLAP_H:g} h are needed: log on"
        )
    keep = (shop.t >= begin + SETTLE_H * HOUR_MS) & (shop.t <= end)
    since = Samples(*_from(outdoors, begin))
    found = [_offset_and_error(lagged(since, 3600.0 * lag), shop.t[keep], shop.value[keep]) for lag in LAGS_H]
    best = min(range(len(found)), key=lambda index: found[index][1])
    offset, error = found[best]
    return Shed(float(3600.0 * LAGS_H[best]), offset, error, hours)


def outlook_from_outdoors(
    shed: Shed, shop: Samples, outdoors: Samples, now_ms: int, hours: float = 72.0
) -> Blocks:
    """Forecast minutes from floor(now) on: the shop behind the outdoor air, from where it stands now.

    outdoors   degC: as logged up to now and as forecast after it, at least three lags long before now

    What the shop departs now from what the outdoor air explains fades with the lag. spread: what the fit leaves
    unexplained, coming back as that departure fades, and the outdoor forecast's own error through the lag.
    Beyond the end of `outdoors` there is no forecast: the minutes end there. Raises ValueError if there is no
    sample of the shop by now, or no outdoor forecast beyond it.
    """
    past = int(np.searchsorted(shop.t, now_ms, "right"))
    if past == 0:
        raise ValueError("no sample of the shop at or before now: there is nothing to forecast from")
    start = now_ms // MINUTE_MS * MINUTE_MS
    count = min(round(60.0 * hours), int(outdoors.t[-1] - start) // MINUTE_MS if len(outdoors) else 0)
    if count <= 0 or outdoors.t[0] > now_ms:
        raise ValueError("the outdoor series must begin before now and reach beyond it")
    newest = int(shop.t[past - 1])
    middle = start + MINUTE_MS * np.arange(count, dtype=np.int64) + MINUTE_MS // 2
    follows = shed.follow(outdoors)
    lead_h = np.maximum((middle - newest) / HOUR_MS, 0.0)
    lag_h = shed.lag_s / 3600.0
    departure = float(shop.value[past - 1]) - float(np.interp(newest, follows.t, follows.value))
    central = np.interp(middle, follows.t, follows.value) + departure * np.exp(-lead_h / lag_h)
    unexplained = shed.error_K**2 * -np.expm1(-2.0 * lead_h / lag_h)
    from_outdoors = OUTDOOR_SD_K**2 * lead_h / 24.0 * np.expm1(-lead_h / lag_h) ** 2
    spread = np.sqrt(unexplained + from_outdoors)
    return Blocks(start, central.copy(), central, central.copy(), np.zeros(count, dtype=np.bool_), spread)


def _offset_and_error(inside: Samples, t: Times, shop_C: Floats) -> tuple[float, float]:
    left = shop_C - np.interp(t, inside.t, inside.value)
    return float(np.mean(left)), float(np.std(left))


def _from(samples: Samples, begin: int) -> tuple[Times, Floats]:
    first = int(np.searchsorted(samples.t, begin, "left"))
    return samples.t[first:], samples.value[first:]


def _first(samples: Samples, now_ms: int) -> int:
    return int(samples.t[0]) if len(samples) else now_ms


def _last(samples: Samples, now_ms: int) -> int:
    known = int(np.searchsorted(samples.t, now_ms, "right"))
    return int(samples.t[known - 1]) if known else 0
