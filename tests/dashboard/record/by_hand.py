"""A record's numbers worked out again in plain Python from its raw rows: no line of the product's arithmetic.

Sources: temperature-time factor and equivalent age as ASTM C1074 defines them, the datum's crossing exact, the
Arrhenius integral by Simpson's rule on twelve parts of each line between two readings; dew point by the Magnus form
with 17.62 and 243.12 degC (D. Sonntag 1990, as WMO-No. 8 prints it, value from memory); cure by the classical
Runge-Kutta rule of fourth order on the rate law that the model's design states. The coats that make up the range are
the product's own fixed set.
"""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

R = 8.314462618
HOUR = 3_600_000
MINUTE = 60_000
POWER_ON = 16
"""The flag of a value that was sent before anything was measured."""

Row = tuple[int, float]


def rows_of(record: dict[str, Any], probe: str, quantity: str) -> list[Row]:
    """Raw rows of one series that can be used, in order."""
    series = next(
        one for one in record["used"]["series"] if (one["probe"], one["quantity"]) == (probe, quantity)
    )
    return [(at, value) for at, value, quality, _ in series["rows"] if not quality & POWER_ON]


def corrected(rows: list[Row], since: int, points: list[list[float]]) -> list[Row]:
    """By a straight line through two points, from `since` on."""
    (r0, t0), (r1, t1) = points
    slope = ((t1 - r1) - (t0 - r0)) / (r1 - r0)
    return [(at, value + ((t0 - r0) + slope * (value - r0) if at >= since else 0.0)) for at, value in rows]


def joined(rows: list[Row], begun: int, end: int) -> list[Row]:
    """The life from `begun` to `end`, its ends on the lines between readings or held."""
    t = [at for at, _ in rows]

    def at_(time: int) -> float:
        i = bisect.bisect_right(t, time)
        if i == 0:
            return rows[0][1]
        if i == len(rows):
            return rows[-1][1]
        (a, va), (b, vb) = rows[i - 1], rows[i]
        return va + (vb - va) * (time - a) / (b - a)

    return [(begun, at_(begun)), *((a, v) for a, v in rows if begun < a < end), (end, at_(end))]


def gaps(rows: list[Row], begun: int, end: int, longest: int = 300_000) -> list[tuple[int, int]]:
    """Stretches of the life between two readings further apart than five intervals of a minute."""
    found = []
    for (a, _), (b, _) in itertools.pairwise(rows):
        if b - a > longest and b > begun and a < end:
            found.append((max(a, begun), min(b, end)))
    return found


def degree_hours(life: list[Row], datum: float, longest: int = 300_000) -> float:
    """Nurse-Saul, with the exact crossing of the datum."""
    total = 0.0
    for (a, va), (b, vb) in itertools.pairwise(life):
        if b - a > longest:
            continue
        dt, x, y = (b - a) / HOUR, va - datum, vb - datum
        if x >= 0 and y >= 0:
            total += dt * (x + y) / 2
        elif x > 0 or y > 0:
            top = max(x, y)
            total += dt * top / abs(y - x) * top / 2
    return total


def equivalent_age(life: list[Row], E: float, reference: float, longest: int = 300_000) -> float:
    """Hours at the reference temperature; Simpson's rule on twelve parts of each line."""

    def rate(T: float) -> float:
        return math.exp(-E / R * (1 / (T + 273.15) - 1 / (reference + 273.15)))

    total = 0.0
    for (a, va), (b, vb) in itertools.pairwise(life):
        if b - a > longest:
            continue
        values = [rate(va + (vb - va) * i / 12) for i in range(13)]
        total += (
            (b - a) / HOUR / 36 * (values[0] + values[12] + 4 * sum(values[1:12:2]) + 2 * sum(values[2:11:2]))
        )
    return total


def minute_means(rows: list[Row], begin: int, minutes: int) -> list[float]:
    """Mean of the lines between readings in each minute, by exact area."""
    life = joined(rows, begin, begin + minutes * MINUTE)
    t, v = [a for a, _ in life], [b for _, b in life]

    def value(at: int, i: int) -> float:
        return v[i] + (v[i + 1] - v[i]) * (at - t[i]) / (t[i + 1] - t[i])

    found = []
    for m in range(minutes):
        start, end, area = begin + m * MINUTE, begin + (m + 1) * MINUTE, 0.0
        i = max(bisect.bisect_right(t, start) - 1, 0)
        at = start
        while at < end:
            upto = min(t[i + 1], end)
            area += (upto - at) * (value(at, i) + value(upto, i)) / 2
            at, i = upto, i + 1
        found.append(area / MINUTE)
    return found


def dew_point(T: float, rh: float) -> float:
    """Magnus, over water."""
    x = math.log(rh / 100) + 17.62 * T / (243.12 + T)
    return 243.12 * x / (17.62 - x)


def bounded(rows: list[Row], side: float, longest: int = 300_000, K_h: float = 3.0) -> list[Row]:
    """The rows with what a gap may have held at most (side +1) or at least (-1): away from each end at 3 K/h, or at
    twice the slope between them, until the two lines meet."""
    found = []
    for (a, va), (b, vb) in itertools.pairwise(rows):
        found.append((a, va))
        if b - a > longest:
            rate = max(K_h / HOUR, 2 * abs(vb - va) / (b - a))
            turn = round((b - a) / 2 + side * (vb - va) / (2 * rate))
            found.append((a + turn, va + side * rate * turn))
    return [*found, rows[-1]]


@dataclass(frozen=True)
class Law:
    """The numbers of the rate law, as the design of the model has them."""

    m: float = 0.8
    n: float = 2.0
    c: float = 0.13
    gel: float = 0.577
    C: float = 28.0
    lead: float = 8.0
    liquid: float = -40.0
    shape: float = 0.4


def transition(law: Law, a: Any, full: Any) -> Any:
    """DiBenedetto's equation, degC; numbers or arrays."""
    return law.liquid + (full - law.liquid) * law.shape * a / (1 - (1 - law.shape) * a)


def critical(law: Law, T: Any, full: Any) -> Any:
    """The conversion whose transition lies `lead` above T: the equation above, solved for it."""
    x = (T + law.lead - law.liquid) / (full - law.liquid)
    return x / (law.shape + (1 - law.shape) * x)


def speed(law: Law, a: Any, k: Any, a_c: Any) -> Any:
    """da/dt, 1/h; numbers or arrays."""
    return k * (law.c + np.maximum(a, 0.0) ** law.m) * (1 - a) ** law.n / (1 + np.exp(law.C * (a - a_c)))


def runge_kutta(rate: Callable[[Any], Any], a: Any, hours: float, steps: int) -> Any:
    h = hours / steps
    for _ in range(steps):
        k1 = rate(a)
        k2 = rate(a + h * k1 / 2)
        k3 = rate(a + h * k2 / 2)
        k4 = rate(a + h * k3)
        a = a + h * (k1 + 2 * k2 + 2 * k3 + k4) / 6
    return a


def rate_constant(law: Law, hours_to_gel: float, reference: float, full: Any) -> Any:
    """k at the reference temperature, 1/h, that puts the gel point at so many hours: by bisection over Runge-Kutta."""
    a_c = critical(law, reference, full)
    low, high = np.full(np.shape(full), 0.01), np.full(np.shape(full), 10.0)
    for _ in range(50):
        k = np.sqrt(low * high)
        short = (
            runge_kutta(partial(speed, law, k=k, a_c=a_c), np.zeros(np.shape(full)), hours_to_gel, 400)
            < law.gel
        )
        low, high = np.where(short, k, low), np.where(short, high, k)
    return np.sqrt(low * high)


def arrhenius(T: Any, E: Any, reference: float) -> Any:
    return np.exp(-E / R * (1 / (T + 273.15) - 1 / (reference + 273.15)))


def cures(
    law: Law,
    means: list[float],
    first_h: float,
    k: Any,
    E: Any,
    reference: float,
    full: Any,
    offset: Any = 0.0,
) -> list[Any]:
    """Conversion at the end of each minute, the first of them `first_h` long, each at its mean temperature; numbers,
    or arrays with one value for each coat of the range."""
    a, found = np.zeros(np.shape(k)), []
    for index, mean in enumerate(means):
        T = mean + offset
        rate = partial(speed, law, k=k * arrhenius(T, E, reference), a_c=critical(law, T, full))
        a = runge_kutta(rate, a, first_h if index == 0 else 1 / 60, 1)
        found.append(a)
    return found


def quantile(values: Any, q: float) -> float:
    """Each value in the middle of its own equal share, straight lines between."""
    ordered = sorted(float(value) for value in values)
    place = q * len(ordered) - 0.5
    i = min(max(math.floor(place), 0), len(ordered) - 2)
    return ordered[i] + (ordered[i + 1] - ordered[i]) * min(max(place - i, 0.0), 1.0)
