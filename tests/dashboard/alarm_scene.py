"""Invented nights with faults, replayed through assess, the alarms and the outbox with a clock moved by hand.

The physics is that of tests/collector/suspicion/nights.py: weather, a shed, a warm room, panels and probes that nobody
tuned for alarms. Here people coat panels in the afternoon and evening, and things go wrong: probes fall silent, one by
one or all at once, a plug is loose, a tape lets go, somebody forgets a pot. Nobody acts on any alarm: the worst case.
Two people are told: Kim, who never chose, and Robin, who asked to be woken for everything that can be asked for.

What should have rung is taken from the truth of the night, not from any answer. Probabilities are invented.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np

from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.store.site_state import SiteState
from dashboard.follow import Trace
from dashboard.panel import Coat, Panel
from tests.collector.suspicion.nights import MINUTES, Floats, Nights, draw, spoken
from tests.dashboard.night import card

MINUTE = 60_000
HOUR = 60 * MINUTE
NOON = 1_795_604_400_000
"""2026-11-25 12:00 in Oslo, minute 0 of a night."""
ZONE = ZoneInfo("Europe/Oslo")
HISTORY_DAYS = 10
END = 2**62
CARD = card()
PROBES = {
    name: ProbeFacts(name, "room" if name in ("A2", "S3") else "shed", place, 60.0, 0.8)
    for name, place in (("A1", "air"), ("A2", "air"), ("S1", "surface"), ("S2", "surface"), ("S3", "surface"))
}
PANELS = (("hull-1", "S1", "A1"), ("lid-2", "S2", "A1"), ("box-3", "S3", "A2"), ("rib-4", "S1", "A1"))
LAST_MINUTE = 21 * 60
"""Nights are followed from 13:00 to 09:00."""


@dataclass
class Fault:
    """A probe that says nothing, or is not to be believed, from minute to minute."""

    probe: str
    begin: int
    end: int
    tape_off: bool = False


@dataclass
class Scene:
    """One night: what its probes say by minute, who coated what when, and what goes wrong. Minutes since noon.

    coats   by panel: (mixed, applied)
    away    the way out is shut between these
    killed  the notifier is killed in the middle of sending once it has come so far
    """

    heat: dict[str, Floats]
    damp: Floats
    truth: dict[str, Floats]
    dew: Floats
    coats: dict[str, list[tuple[int, int]]]
    faults: list[Fault]
    away: tuple[int, int]
    killed: int


def scenes(seed: int, count: int) -> Iterator[Scene]:
    """`count` nights of that seed."""
    nights = draw(seed, count)
    heat, damp = spoken(nights, seed + 1, each_minute=1)
    random = np.random.default_rng(seed + 2)
    for index in range(count):
        yield _scene(random, nights, heat, damp["A1"], index)


def _scene(
    random: np.random.Generator, nights: Nights, heat: dict[str, Floats], damp: Floats, index: int
) -> Scene:
    coats = {panel: _coats(random) for panel, _, _ in PANELS}
    faults = _faults(random)
    begin = int(random.integers(180, 1000)) if random.random() < 0.4 else 10_000
    vapour = nights.vapour_Pa[index]
    # Bolton (1980), eq. 11, the inverse of the formula the nights are made with.
    logarithm = np.log(vapour / 611.2)
    return Scene(
        heat={probe: heat[probe][index] for probe in PROBES},
        damp=damp[index],
        truth={probe: panel[index] for probe, panel in nights.panel.items()},
        dew=243.5 * logarithm / (17.67 - logarithm),
        coats=coats,
        faults=faults,
        away=(begin, begin + 120),
        killed=int(random.integers(120, 1100)) if random.random() < 0.5 else 10_000,
    )


def _coats(random: np.random.Generator) -> list[tuple[int, int]]:
    """One to three coats, three to five hours apart, none after 23:00; one pot in twelve is forgotten."""
    found, minute = [], int(random.integers(70, 480))
    for _ in range(int(random.integers(1, 4))):
        if minute > 11 * 60:
            break
        on = int(random.integers(40, 70)) if random.random() < 1 / 12 else int(random.integers(4, 14))
        found.append((minute, minute + on))
        minute += int(random.integers(180, 300))
    return found


def _faults(random: np.random.Generator) -> list[Fault]:
    found: list[Fault] = []
    for probe in PROBES:
        if random.random() < 0.15:
            begin = int(random.integers(120, 1200))
            found.append(Fault(probe, begin, begin + int(random.integers(5, 600))))
    if random.random() < 0.15:  # a power strip
        begin = int(random.integers(120, 1200))
        found += [Fault(probe, begin, begin + int(random.integers(60, 600))) for probe in PROBES]
    if random.random() < 0.15:  # a loose plug: comes and goes for hours
        probe, begin = str(random.choice(list(PROBES))), int(random.integers(300, 900))
        found += [Fault(probe, begin + 17 * n, begin + 17 * n + 9) for n in range(14)]
    if random.random() < 0.15:
        begin = int(random.integers(300, 1100))
        found.append(Fault(str(random.choice(["S1", "S2", "S3"])), begin, LAST_MINUTE + 60, tape_off=True))
    return found


class Shed:
    """What a Follower would know of the night at a minute: only what has been said by then."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.minute = 0
        back = HISTORY_DAYS * 1440
        self._t = NOON + MINUTE * np.arange(-back, MINUTES, dtype=np.int64)
        self._value = {
            (probe, Quantity.TEMPERATURE): _with_history(value, drift=1.5, seed=number)
            for number, (probe, value) in enumerate(scene.heat.items())
        }
        self._value["A1", Quantity.RELATIVE_HUMIDITY] = np.clip(
            _with_history(scene.damp, drift=4.0, seed=99), 5.0, 100.0
        )
        self._said = {probe: np.ones(len(self._t), bool) for probe in PROBES}
        for fault in scene.faults:
            if not fault.tape_off:
                self._said[fault.probe][back + fault.begin : back + fault.end] = False
        self._upto = back
        self._heard = {
            probe: np.maximum.accumulate(np.where(said, self._t, self._t[0]))
            for probe, said in self._said.items()
        }

    def at(self, minute: int) -> int:
        self.minute = minute
        self._upto = HISTORY_DAYS * 1440 + minute + 1
        return NOON + minute * MINUTE

    def trace(self, probe: str, quantity: Quantity) -> Trace | None:
        value = self._value.get((probe, quantity))
        if value is None:
            return None
        upto = self._seen(probe)
        said = self._said[probe][:upto]
        t, values = self._t[:upto][said], value[:upto][said]
        told = next(iter(self.doubts(probe)), None) if quantity is Quantity.TEMPERATURE else None
        doubtful = [(told.since, END)] if told else []
        made = Trace.of(PROBES[probe], quantity, t, values, np.zeros(len(t), np.int64), doubtful=doubtful)
        return replace(made, doubt=told)

    sites: tuple[SiteState, ...] = ()
    site_of: Mapping[str, str] = {}

    def heard(self, probe: str) -> int | None:
        return int(self._heard[probe][self._seen(probe) - 1])

    def _seen(self, probe: str) -> int:
        """Up to which minute it is known what the probe said."""
        return self._upto

    def doubts(self, probe: str) -> list[Suspicion]:
        """A tape that let go is told of after forty minutes, as collect takes about that long."""
        return [
            Suspicion(probe, "tape_off", NOON + one.begin * MINUTE, None, 0, 0, {"near_K": 0.3})
            for one in self.scene.faults
            if one.tape_off and one.probe == probe and one.begin + 40 <= self.minute < one.end
        ]

    def unusable(self, probe: str, at: int) -> Reading | None:
        return None


def _with_history(day: Floats, drift: float, seed: int) -> Floats:
    """Days like this one before it, each a little off, so that the outlook has something to go by."""
    random = np.random.default_rng(seed)
    offsets = np.append(np.cumsum(random.normal(0.0, drift / 2, HISTORY_DAYS))[::-1], 0.0)
    edge = np.repeat(np.arange(HISTORY_DAYS), 1440) + np.tile(np.arange(1440) / 1440, HISTORY_DAYS)
    earlier = np.tile(day[:1440], HISTORY_DAYS) + np.interp(edge, np.arange(HISTORY_DAYS + 1), offsets)
    return np.concatenate([earlier, day])


def panel_at(name: str, surface: str, air: str, coats: list[tuple[int, int]], minute: int) -> Panel:
    """As its log stands at that minute."""
    made = tuple(
        Coat(
            number, CARD.id, NOON + mixed * MINUTE, NOON + on * MINUTE if on <= minute else None, "laminate",
            f"{name}-{number}",
        )
        for number, (mixed, on) in enumerate(coats, start=1)
        if mixed <= minute
    )  # fmt: skip
    return Panel(name, name, PROBES[surface].zone, surface, air, "wood", coats=made)
