"""Checks of a probe in the shop: ice water for temperature, saturated salts for humidity, and what they say.

Pure. A check waits until the probe has been in long enough and its readings have come to rest, then compares
their mean with the reference. Times UTC ms; temperatures degC; humidity % over water; differences K or %.

Sources: ice point, ice with air-saturated water at atmospheric pressure, 0.0 degC (MSL Technical Guide 1).
Saturated salts: L. Greenspan, Humidity Fixed Points of Binary Saturated Aqueous Solutions, J. Res. NBS 81A
(1977) 89, polynomials in degC. Waiting times, steadiness and what a kitchen bath is good for: common
practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.reading import UNUSABLE, Quantity, silent_after_ms
from dashboard.correction import Stretch, correct
from dashboard.devices import Check, ProbeLog

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
ICE = "ice water"
SALTS: dict[str, tuple[float, float, float, float]] = {
    "magnesium chloride": (33.6686, -0.00797397, -0.108988e-2, 0.0),
    "sodium chloride": (75.5164, 0.0398321, -0.265459e-2, 0.2848e-4),
    "potassium chloride": (88.6190, -0.193340, 0.899706e-3, 0.0),
}
"""Coefficients A0 to A3 of RH = A0 + A1 t + A2 t^2 + A3 t^3, t in degC."""
SALT_RANGE_C = (0.0, 50.0)
AGAINST = (ICE, *SALTS)
BATH_K = 0.1
"""What ice and water in a cup may be off by (common practice, no source)."""
BOX_PC = 2.0
"""What the air over a salt in a closed box may be off by: mostly salt and probe not equally warm (no source)."""
MARGIN: dict[Quantity, float] = {Quantity.TEMPERATURE: 15.0, Quantity.RELATIVE_HUMIDITY: 25.0}
"""How far from where it was checked a proposed correction may be used without a word (common practice)."""
TOGETHER_MS = 30 * DAY_MS
"""Checks so close together are points of one correction."""
DUE_MS: dict[Quantity, int] = {Quantity.TEMPERATURE: 365 * DAY_MS, Quantity.RELATIVE_HUMIDITY: 182 * DAY_MS}
"""When the next check is proposed: a year, half a year for humidity (common practice, no source)."""

Times = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Rest:
    """When readings have come to rest: at least `count` of them in `window_ms`, within `spread` (K or %)."""

    window_ms: int
    spread: float
    count: int = 5


REST: dict[Quantity, Rest] = {
    Quantity.TEMPERATURE: Rest(3 * MINUTE_MS, 0.2),
    Quantity.RELATIVE_HUMIDITY: Rest(HOUR_MS, 1.0),
}


@dataclass(frozen=True)
class RawSeries:
    """One series as the store gives it, of any length: t increasing, raw values, quality flags."""

    t: Times
    value: Floats
    quality: NDArray[np.int64]


@dataclass(frozen=True)
class Comparison:
    """What a finished check found.

    since, at   from when to when the probe was in, UTC ms
    readings    the raw values it rests on, the last of that time; reads: their mean
    error       mean of the corrected values less `true`: what the probe was off by, as found or as left
    half_width  how well that is known (95 %)
    """

    against: str
    quantity: Quantity
    since: int
    at: int
    readings: tuple[float, ...]
    reads: float
    true: float
    error: float
    half_width: float


@dataclass(frozen=True)
class Progress:
    """Where a check stands.

    state   "nothing": no usable reading in three intervals; "soaking": not in long enough; "moving": not at
            rest, or too few readings; "outside": the box is colder or warmer than the salt's table; "steady"
    wait_ms how long it must stay in, from the start; in_ms how long it has been in
    spread  between the largest and the smallest reading of the window, None without readings
    true    what it should read now, None while the box's temperature is not known
    """

    state: str
    wait_ms: int
    in_ms: int
    count: int
    spread: float | None
    reads: float | None
    true: float | None
    temperature_C: float | None
    found: Comparison | None = None


def quantity_of(against: str) -> Quantity:
    """What a reference checks. Raises ValueError for one that is not in AGAINST."""
    if against not in AGAINST:
        raise ValueError(f"{against!r} is no reference here; allowed: {', '.join(AGAINST)}")
    return Quantity.TEMPERATURE if against == ICE else Quantity.RELATIVE_HUMIDITY


def humidity_over(salt: str, t_C: float) -> float:
    """Relative humidity over the saturated solution, %; t_C in 0 to 50 degC. Raises ValueError outside."""
    if not SALT_RANGE_C[0] <= t_C <= SALT_RANGE_C[1]:
        raise ValueError(
            f"{t_C:g} degC: the salts are used from {SALT_RANGE_C[0]:g} to {SALT_RANGE_C[1]:g} degC"
        )
    a0, a1, a2, a3 = SALTS[salt]
    return a0 + t_C * (a1 + t_C * (a2 + t_C * a3))


def wait_ms(against: str, t_C: float | None) -> int:
    """How long the probe stays in: five minutes in ice water, 12 h over a salt, 24 h in the cold or if not known."""
    if against == ICE:
        return 5 * MINUTE_MS
    return 12 * HOUR_MS if t_C is not None and t_C >= 15.0 else 24 * HOUR_MS


def window_ms(quantity: Quantity, interval_s: float) -> int:
    """The stretch of readings that is looked at: for a slow probe so long that enough of them fall into it."""
    rest = REST[quantity]
    return max(rest.window_ms, round(1000 * interval_s * (rest.count + 0.5)))


def progress(
    against: str,
    since: int,
    at: int,
    interval_s: float,
    heard: RawSeries,
    temperature: RawSeries,
    stretches: Sequence[Stretch],
) -> Progress:
    """Where the check stands at `at`, of a probe that has been in since `since`.

    heard, temperature   raw readings of the checked quantity, and of the probe's temperature
    stretches            corrections of the checked quantity
    """
    quantity = quantity_of(against)
    begin = max(since, at - window_ms(quantity, interval_s))
    t, raw = _usable(heard, begin, at)
    warm = _usable(temperature, begin, at)[1]
    t_C = _mean(warm) if len(warm) else None
    inside = t_C is None or SALT_RANGE_C[0] <= t_C <= SALT_RANGE_C[1]
    true = 0.0 if against == ICE else humidity_over(against, t_C) if t_C is not None and inside else None
    spread = float(raw.max() - raw.min()) if len(raw) else None
    wait = wait_ms(against, t_C)
    state = "steady"
    if not len(raw):
        state = "nothing" if at - since > silent_after_ms(interval_s) else "soaking"
    elif against != ICE and not inside:
        state = "outside"
    elif at - since < wait:
        state = "soaking"
    elif len(raw) < REST[quantity].count or spread is None or spread > REST[quantity].spread or true is None:
        state = "moving"
    here = Progress(state, wait, at - since, len(raw), spread, _mean(raw) if len(raw) else None, true, t_C)
    if state != "steady" or true is None or spread is None:
        return here
    error = _mean(correct(t, raw, stretches, 0.0).value) - true
    own = BATH_K if against == ICE else BOX_PC
    half_width = math.hypot(own, spread / 2)
    found = Comparison(against, quantity, since, at, tuple(raw.tolist()), _mean(raw), true, error, half_width)
    return Progress(state, wait, at - since, len(raw), spread, found.reads, true, t_C, found)


Series = Callable[[str, Quantity, int, int], RawSeries]
"""Raw readings of a probe's quantity from one UTC ms to another."""


def look(
    series: Series, probe: str, interval_s: float, log: ProbeLog, against: str, since: int, at: int
) -> Progress:
    """progress() of a probe, its readings fetched from `series`, whatever that raises."""
    quantity = quantity_of(against)
    begin = max(since, at - window_ms(quantity, interval_s))
    heard, warm = (series(probe, what, begin, at) for what in (quantity, Quantity.TEMPERATURE))
    return progress(against, since, at, interval_s, heard, warm, log.stretches(quantity))


def steps(against: str) -> tuple[str, ...]:
    """Keys of the sentences that say what to do, in order; words.LABELS has them."""
    kind = "ice" if against == ICE else "salt"
    return tuple(f"{kind}_{number}" for number in range(1, 5))


@dataclass(frozen=True)
class Proposal:
    """A correction that checks suggest: see dashboard.correction.Correction."""

    points: tuple[tuple[float, float], ...]
    half_width: float
    margin: float
    reference: str
    since: int
    due_at: int


def proposal(checks: Sequence[Check], quantity: Quantity) -> Proposal | None:
    """From the newest check of a device, if it was "as found", and those of other references close before it.

    checks in order of time, of any quantity. One reference gives an offset, two a two-point correction.
    """
    mine = [item for item in checks if item.quantity is quantity]
    if not mine or mine[-1].stage != "as found":
        return None
    newest = mine[-1]
    together = [item for item in mine if item.stage == "as found" and newest.at - item.at <= TOGETHER_MS]
    last = {item.against: item for item in together}
    return Proposal(
        points=tuple(sorted((item.reads, item.true) for item in last.values())),
        half_width=max(item.half_width for item in last.values()),
        margin=MARGIN[quantity],
        reference=", ".join(sorted(last)),
        since=newest.at,
        due_at=newest.due_at or newest.at + DUE_MS[quantity],
    )


def _usable(heard: RawSeries, begin: int, end: int) -> tuple[Times, Floats]:
    kept = ((heard.quality & int(UNUSABLE)) == 0) & (heard.t >= begin) & (heard.t <= end)
    return heard.t[kept], heard.value[kept]


def _mean(values: Floats) -> float:
    """The same for any order of the values."""
    return math.fsum(values.tolist()) / len(values)
