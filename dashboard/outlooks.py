"""What lies ahead of a panel and of the air around it: past nights, or the weather forecast through the shop.

One place for it, so that a headline, Tonight and a what-if look at the same hours to come.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from dashboard.facts import Facts, run_up_from
from dashboard.film import dew_now, dew_samples
from dashboard.probe_trace import Trace, thinned
from model.blocks import MINUTE_MS, Blocks
from model.forecast import outlook
from model.history import HOUR_MS, Samples, lagged
from model.shed import LEAST_OVERLAP_H, fit, outlook_from_outdoors
from model.verdict import Say

OUTLOOK_H = 72.0
KEPT_OUTLOOKS = 16
"""Some 300 KB each: watch answers panels of the same probes one after the other."""
LAG_S = {
    "wood": 3600.0,
    "foam": 1200.0,
    "solid laminate": 2400.0,
    "metal mould": 5400.0,
    "composite mould": 3600.0,
    "floor": 14400.0,
}
"""Time constant with which a panel follows the air, s, when only the air is measured (common practice, no source)."""


def panel_samples(facts: Facts, trace: Trace, at: int) -> Samples:
    """The panel's temperature up to `at`: measured on it, or the air's followed with the lag of what it lies on."""
    upto = int(np.searchsorted(trace.samples.t, at, "right"))
    samples = Samples(trace.samples.t[:upto], trace.samples.value[:upto])
    if trace is facts.surface:
        return samples
    lag_s = LAG_S[facts.panel.substrate]
    if facts.settled is not None and facts.settled.lagged is not None:
        before = facts.settled.lagged
        since = _from(samples, int(before.t[-1]))
        later = lagged(since, lag_s, float(before.value[-1]))
        return Samples(
            np.concatenate([before.t, later.t[1:]]), np.concatenate([before.value, later.value[1:]])
        )
    if facts.panel.coats:
        start = min(run_up_from(facts), int(samples.t[-1])) if upto else 0
        return lagged(_from(samples, start), lag_s)
    log = trace.log(at)
    earlier = log.t < (samples.t[0] if upto else at)
    return lagged(
        Samples(np.append(log.t[earlier], samples.t), np.append(log.value[earlier], samples.value)), lag_s
    )


def _from(samples: Samples, start: int) -> Samples:
    first = int(np.searchsorted(samples.t, start))
    return Samples(samples.t[first:], samples.value[first:])


def panel_log(facts: Facts, trace: Trace, samples: Samples, at: int) -> Samples:
    """The panel's temperature in the log of the days up to `at`, where it stands now at its end."""
    log = trace.log(at)
    if trace is facts.surface or not len(log):
        return log
    behind = lagged(log, LAG_S[facts.panel.substrate]).value
    return Samples(log.t, np.append(behind[:-1], samples.value[-1]))


def panel_outlook(facts: Facts, samples: Samples, at: int) -> tuple[Blocks, Say | None]:
    """The panel's next 72 h from `at` (UTC ms) on, and what is said of the forecast file; None: there is none.

    samples   of the panel, as panel_samples() gives them; at least one
    """
    trace = facts.temperature
    assert trace is not None
    log = panel_log(facts, trace, samples, at)
    own = _likely(log, at, OUTLOOK_H, dew_samples(facts, at))
    weather = facts.weather
    if weather is None or weather.air is None:
        return own, weather.say if weather else None
    common_h = _common_h(log, weather.air, at)
    if common_h < LEAST_OVERLAP_H:
        return own, Say("forecast_learning", {"common_h": common_h, "needed_h": LEAST_OVERLAP_H})
    return _through(own, log, weather.air, at), weather.say


def dew_outlook(facts: Facts, at: int, hours: float) -> Blocks | None:
    """Dew point of the air beside the panel, degC, in the next hours; None where it is not measured now."""
    samples = dew_samples(facts, at)
    if samples is None or dew_now(facts, at) is None:
        return None
    own = _likely(samples, at, hours)
    outdoors = facts.weather.dew_point if facts.weather else None
    if outdoors is None or _common_h(samples, outdoors, at) < LEAST_OVERLAP_H:
        return own
    return _through(own, samples, outdoors, at)


@dataclass(frozen=True)
class _Asked:
    """What an outlook rests on; known again by the digest of all of it."""

    digest: bytes
    samples: Samples = field(compare=False)
    at: int = field(compare=False)
    hours: float = field(compare=False)
    dew: Samples | None = field(compare=False)


def _likely(samples: Samples, at: int, hours: float, dew: Samples | None = None) -> Blocks:
    """outlook(), made once for all panels that have the same past: those of the same probes, in the same minute."""
    upto = int(np.searchsorted(samples.t, at, "right"))
    of = hashlib.blake2b(repr((at // MINUTE_MS, upto, hours, dew is None)).encode(), digest_size=16)
    for part in (samples, *([] if dew is None else [dew])):
        of.update(len(part).to_bytes(8))
        of.update(part.t.tobytes())
        of.update(part.value.tobytes())
    return _made(_Asked(of.digest(), samples, at, hours, dew))


@lru_cache(maxsize=KEPT_OUTLOOKS)
def _made(asked: _Asked) -> Blocks:
    made = outlook(asked.samples, asked.at, asked.hours, asked.dew)
    for values in (made.cold, made.central, made.hot, made.measured, made.spread):
        values.flags.writeable = False  # it is everybody's
    return made


def _common_h(samples: Samples, outdoors: Samples, at: int) -> float:
    """Hours before `at` in which both were logged; a stretch of the shop's log that is missing does not count."""
    past = outdoors.t[outdoors.t <= at]
    upto = samples.t[samples.t <= at]
    if not len(past) or not len(upto) or outdoors.t[-1] <= at:
        return 0.0
    begin, end = max(past[0], upto[0]), min(past[-1], upto[-1])
    logged = len(np.unique(upto[(upto >= begin) & (upto <= end)] // HOUR_MS))
    return float(min(max(int(end - begin) / HOUR_MS, 0.0), logged))


def _through(own: Blocks, samples: Samples, outdoors: Samples, at: int) -> Blocks:
    """The forecast for outdoors through the shop's lag and offset; beyond its end the own outlook, met smoothly."""
    shed = fit(outdoors, thinned(samples), at)
    soon = outlook_from_outdoors(shed, samples, outdoors, at, len(own) / 60.0)
    left = len(own) - len(soon)
    if left <= 0:
        return soon
    part = slice(len(soon), None)
    step = float(soon.central[-1] - own.central[len(soon) - 1])
    fading = step * np.exp(-np.arange(1, left + 1) * 60.0 / shed.lag_s)
    central = np.concatenate([soon.central, own.central[part] + fading])
    spread = np.concatenate([soon.spread, np.maximum(own.spread[part], float(soon.spread[-1]))])
    return replace(own, cold=central.copy(), central=central, hot=central.copy(), spread=spread)
