"""A number of invented nights through the checks: what is found, how soon, and what is suspected for nothing.

A fault counts from the moment at which the probe's reading is off by more than its stated accuracy (0.8 K; 5 % of
humidity): before that no answer could be wrong by it, and in still air beside a panel as warm as the air nothing
can be told. Nights in which that moment never comes are counted apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.reading import ProbeFacts
from collector.suspicion.grid import Site
from collector.suspicion.look import compare
from collector.suspicion.response import NOISE_K2
from tests.collector.suspicion import nights as physics
from tests.collector.suspicion.nights import MINUTES, Floats, Nights, draw, spoken

ACCURACY_K, HUMIDITY_OFF = 0.8, 5.0
HOUR = 60
SETTLED = 180
"""Minutes: nothing is judged in the first three hours."""
THIN_MIN = 20.0
"""A panel that follows its air faster than this is a thin skin."""
EVENING, MORNING = (420, 1140), (1260, 1560)
"""Minutes since noon between which faults begin: 19:00 to 07:00; sun: 09:00 to 14:00."""
FACTS = {
    name: ProbeFacts(
        name,
        "room" if name in ("A2", "S3") else "shed",
        "air" if name[0] == "A" else "surface",
        10.0,
        ACCURACY_K,
    )
    for name in ("A1", "A3", "A2", "S1", "S2", "S3")
}
NOISE = dict.fromkeys(FACTS, NOISE_K2 / 12)

Fault = Callable[[Nights, NDArray[np.int64]], None]

FAULTS: dict[str, tuple[str, tuple[int, int], Fault]] = {
    "tape off in the shed": ("S1", EVENING, lambda n, begin: physics.tape_off(n, "S1", begin)),
    "tape off in the warm room": ("S3", EVENING, lambda n, begin: physics.tape_off(n, "S3", begin)),
    "swap in the shed": ("S1", EVENING, lambda n, begin: physics.swap(n, "S1", "A1", begin)),
    "swap in the warm room": ("S3", EVENING, lambda n, begin: physics.swap(n, "S3", "A2", begin)),
    "sun on a panel's probe": ("S1", MORNING, lambda n, begin: physics.sun(n, "S1", begin)),
    "sun on an air probe": ("A1", MORNING, lambda n, begin: physics.sun(n, "A1", begin)),
    "stuck humidity": ("A1", EVENING, lambda n, begin: physics.stuck_humidity(n, "A1", begin)),
}


FLOORS = {
    "tape off in the shed": 0.88,
    "tape off in the warm room": 0.90,
    "swap in the shed": 0.85,
    "swap in the warm room": 0.88,
    "sun on a panel's probe": 0.95,
    "sun on an air probe": 0.88,
    "stuck humidity": 0.90,
}
"""The least share found within the hour where the fault spoils the reading within ten minutes."""


@dataclass(frozen=True)
class Result:
    """Of one fault on a number of nights; thin skins are counted apart.

    harmful          nights in which the reading came to be off by more than it may be
    in_time          of these, found within an hour of that moment
    at_once          nights in which it was off within ten minutes of the fault; at_once_in_time: found by then
    harmless         nights in which it never was
    within_the_hour  of all nights, found within an hour of the fault itself
    """

    nights: int
    harmful: int
    in_time: int
    at_once: int
    at_once_in_time: int
    harmless: int
    within_the_hour: int
    thin: int
    thin_in_time: int

    @property
    def share(self) -> float:
        return self.in_time / max(self.harmful, 1)

    @property
    def share_at_once(self) -> float:
        return self.at_once_in_time / max(self.at_once, 1)


def site(heat: dict[str, Floats], damp: dict[str, Floats], night: int) -> Site:
    """One night as the checks see it; every other shed has a single air probe."""
    names = [name for name in FACTS if name != "A3" or night % 2]
    return Site(
        0,
        tuple(FACTS[name] for name in names),
        {name: heat[name][night].reshape(-1, 2).mean(1) for name in names},
        {name: value[night].reshape(-1, 2).mean(1) for name, value in damp.items()},
        (12 + np.arange(MINUTES // 2) / 30) % 24,
    )


def first_votes(one: Site) -> list[tuple[int, str, str]]:
    """(minute, probe, kind) of every bin that votes for a suspicion, after the first three hours."""
    return sorted(
        (2 * int(i) + 2, vote.probe, vote.kind)
        for vote in compare(one, NOISE)
        for i in np.flatnonzero(vote.speaks_for)
        if 2 * i >= SETTLED
    )


def false_alarms(seed: int, count: int) -> list[tuple[int, str, str]]:
    """(night, probe, kind): every suspicion on that many clean nights."""
    drawn = draw(seed, count)
    heat, damp = spoken(drawn, seed + 50)
    return sorted(
        {
            (night, probe, kind)
            for night in range(count)
            for _, probe, kind in first_votes(site(heat, damp, night))
        }
    )


def trial(name: str, seed: int, count: int) -> Result:
    """That fault on so many nights."""
    probe, (earliest, latest), strike = FAULTS[name]
    drawn = draw(seed, count)
    begin = np.random.default_rng(seed + 100).integers(earliest, latest, count)
    said = drawn.humidity if name == "stuck humidity" else drawn.said
    true, limit = said[probe].copy(), HUMIDITY_OFF if name == "stuck humidity" else ACCURACY_K
    strike(drawn, begin)
    off = (np.abs(said[probe] - true) > limit) & physics.after(begin)
    heat, damp = spoken(drawn, seed + 50)
    thin = drawn.tau_min[probe] < THIN_MIN if probe in drawn.tau_min else np.zeros(count, bool)
    wrong = np.where(off.any(1), off.argmax(1), -1)
    found = np.array([_found(site(heat, damp, night), int(begin[night])) for night in range(count)])
    in_time = (wrong >= 0) & (found <= wrong + HOUR)
    at_once = (wrong >= 0) & (wrong <= begin + 10)
    return Result(
        nights=int((~thin).sum()),
        harmful=int((~thin & (wrong >= 0)).sum()),
        in_time=int((~thin & in_time).sum()),
        at_once=int((~thin & at_once).sum()),
        at_once_in_time=int((~thin & at_once & in_time).sum()),
        harmless=int((~thin & (wrong < 0)).sum()),
        within_the_hour=int((~thin & (found <= begin + HOUR)).sum()),
        thin=int((thin & (wrong >= 0)).sum()),
        thin_in_time=int((thin & in_time).sum()),
    )


def _found(one: Site, begin: int) -> float:
    return next((float(minute) for minute, _, _ in first_votes(one) if minute > begin), np.inf)
