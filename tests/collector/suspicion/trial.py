"""A number of invented nights through the checks: what is found, how soon, and what is suspected for nothing.

A fault counts from the moment at which the probe's reading is off by more than its stated accuracy (0.8 K; 5 % of
humidity): before that no answer could be wrong by it, and in still air beside a panel as warm as the air nothing
can be told. Nights in which that moment never comes are counted apart. A night is right if at the last look within
the hour after that moment something stands against the probe that began no sooner than the fault: an alarm, or a lean,
by which the answer is "not known". Looks are ten minutes apart, as the lookout's, at a phase of each night's own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from collector.reading import ProbeFacts, Suspicion
from collector.suspicion.finding import Votes
from collector.suspicion.grid import BIN_MS, Site
from collector.suspicion.look import compare, update
from collector.suspicion.lookout import EACH_MS
from collector.suspicion.response import NOISE_K2
from dashboard.doubts import LEANS
from tests.collector.suspicion import nights as physics
from tests.collector.suspicion.nights import MINUTES, Floats, Nights, draw, spoken

ACCURACY_K, HUMIDITY_OFF = 0.8, 5.0
HOUR, MINUTE_MS = 60, 60_000
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


FLOORS = dict.fromkeys(FAULTS, 0.90)
"""The least share of the nights with a spoilt reading in which it rings, or the answer is not known, in time."""
MOST_FALSE, MOST_LEANING = 2, 0.05
"""Of 200 clean nights: so many may ring; such a share may have a panel whose answer is not known for a while, and as
many a humidity that is left out."""


@dataclass(frozen=True)
class Result:
    """Of one fault on a number of nights; thin skins are counted apart.

    harmful       nights in which the reading came to be off by more than it may be
    rung          of these, an alarm stands an hour after that moment
    right         of these, an alarm or a lean does
    harmless      nights in which it never was
    thin, thin_right   nights of thin skins in which it was; of these, an alarm or a lean stands
    late, late_covered looks later than that hour at which the reading was off, and how many of them something stood
    """

    harmful: int
    rung: int
    right: int
    harmless: int
    thin: int
    thin_right: int
    late: int
    late_covered: int

    @property
    def share(self) -> float:
        return self.right / max(self.harmful, 1)

    @property
    def share_rung(self) -> float:
        return self.rung / max(self.harmful, 1)

    @property
    def share_with_thin(self) -> float:
        return (self.right + self.thin_right) / max(self.harmful + self.thin, 1)


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


def settled(one: Site) -> list[Votes]:
    """All votes of a night but those of its first three hours."""
    found = compare(one, NOISE)
    for vote in found:
        vote.speaks_for[: SETTLED // 2 - 1] = False
    return [vote for vote in found if vote.speaks_for.any()]


def false_alarms(seed: int, count: int) -> tuple[set[tuple[int, str, str]], set[tuple[int, str, str]]]:
    """(night, probe, kind) of what rings on that many clean nights, and of what only leans."""
    drawn = draw(seed, count)
    heat, damp = spoken(drawn, seed + 50)
    found = {
        (night, vote.probe, vote.kind) for night in range(count) for vote in settled(site(heat, damp, night))
    }
    leaning = {item for item in found if item[2] in LEANS}
    return found - leaning, leaning


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
    harmful = off.any(1)
    nights = [
        watched(site(heat, damp, night), probe, int(begin[night]), off[night], night % 5)
        if harmful[night]
        else NOTHING
        for night in range(count)
    ]
    rung, right, late, covered = (np.array(part) for part in zip(*nights, strict=True))
    thick = harmful & ~thin
    return Result(
        harmful=int(thick.sum()),
        rung=int(rung[thick].sum()),
        right=int(right[thick].sum()),
        harmless=int((~harmful).sum()),
        thin=int((harmful & thin).sum()),
        thin_right=int(right[harmful & thin].sum()),
        late=int(late[thick].sum()),
        late_covered=int(covered[thick].sum()),
    )


NOTHING = (False, False, 0, 0)


def watched(
    one: Site, probe: str, begin: int, off: NDArray[np.bool_], phase: int
) -> tuple[bool, bool, int, int]:
    """Whether an alarm, and whether anything, stood in time; looks later than that at which the reading was off, and
    how many of them something stood."""
    in_time = int(off.argmax()) + HOUR
    rung = right = False
    late = covered = 0
    for minute, standing in looks(one, [vote for vote in settled(one) if vote.probe == probe], phase):
        kinds = {item.kind for item in standing if item.shown_to > begin * MINUTE_MS}
        if minute <= in_time:
            rung, right = bool(kinds - set(LEANS)), bool(kinds)
        elif minute < MINUTES and off[minute]:
            late, covered = late + 1, covered + bool(kinds)
    return rung, right, late, covered


def looks(one: Site, votes: list[Votes], phase: int) -> Iterator[tuple[int, list[Suspicion]]]:
    """(minute, what stands) at each look, by the lookout's own rules."""
    known: dict[tuple[str, str, int], Suspicion] = {}
    for end in range(SETTLED // 2 + phase, len(one.hour) + 1, EACH_MS // BIN_MS):
        seen = [replace(vote, speaks_for=vote.speaks_for[:end], against=vote.against[:end]) for vote in votes]
        for item in update(known.values(), one, seen):
            known[item.probe, item.kind, item.since] = item
        yield 2 * end, [item for item in known.values() if item.until is None]
