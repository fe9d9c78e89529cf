"""What collect suspects, from readings in a real store: when it begins, what it rests on, how it ends."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.sources.cold_night import ColdNight, scene_points
from collector.store.reader import Reader
from collector.store.writer import Writer
from collector.suspicion.lookout import Lookout

NOON = 1_795_600_800_000
MINUTE = 60_000
HOUR = 60 * MINUTE
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
PROBES = [
    ProbeFacts("S1", "shed", "surface", 60.0, 0.8),
    ProbeFacts("A1", "shed", "air", 60.0, 0.8),
    ProbeFacts("A2", "shed", "air", 60.0, 0.8),
]

Course = Callable[[float], float]


class Shop:
    """A store in memory, its lookout, and readings told by functions of the hour."""

    def __init__(self, probes: list[ProbeFacts] = PROBES) -> None:
        self.clock = SteppedClock(NOON)
        self.writer = Writer.open(None, self.clock)
        self.writer.describe(probes)
        self.lookout = Lookout(self.writer, probes, ZoneInfo("UTC"), self.clock)
        self.random = random.Random(1)

    def hours(
        self, start: float, end: float, each_s: float = 60.0, look_min: int = 10, **courses: Course
    ) -> None:
        """Commits what was said between those hours, and lets the lookout look each so many minutes."""
        step, turn = round(each_s * 1000), look_min * MINUTE
        for begin in range(NOON + round(start * HOUR), NOON + round(end * HOUR), turn):
            times = range(begin, begin + turn, step)
            self.writer.commit(
                [self._reading(probe, at, course) for probe, course in courses.items() for at in times]
            )
            self.clock.at = begin + turn
            self.lookout.turn()

    def _reading(self, probe: str, at: int, course: Course) -> Reading:
        value = course((at - NOON) / HOUR)
        damp = probe.endswith("_rh")
        value += self.random.gauss(0.0, 0.2 if damp else 0.02)
        return Reading(probe.removesuffix("_rh"), HUMIDITY if damp else TEMPERATURE, value, at, at)

    def suspicions(self, kind: str = "") -> list[Suspicion]:
        return [item for item in Reader(self.writer.connection).suspicions() if kind in ("", item.kind)]


def air(hour: float) -> float:
    """A shed with a thermostat: 12 degC in the mean, switching each half hour or so."""
    return 12.0 + 2.0 * np.sin(hour / 4) + 0.4 * np.sin(2 * np.pi * hour / 0.47)


def panel(hour: float) -> float:
    """A laminate that lags it by an hour."""
    return 11.2 + 1.9 * np.sin((hour - 1) / 4) + 0.03 * np.sin(2 * np.pi * (hour - 0.11) / 0.47)


def test_a_probe_that_comes_off_is_suspected_within_the_hour_and_no_more_once_it_is_on_again() -> None:
    shop = Shop()
    shop.hours(0, 6, S1=panel, A1=air, A2=air)
    assert shop.suspicions() == []
    shop.hours(6, 7, S1=lambda h: air(h) + 0.2, A1=air, A2=air)
    assert {(item.probe, item.kind) for item in shop.suspicions()} <= {("S1", "tape_off"), ("S1", "unsure")}
    (item,) = shop.suspicions("tape_off")
    assert (item.probe, item.until) == ("S1", None)
    assert NOON + 5 * HOUR < item.since <= NOON + 7 * HOUR
    assert 0.0 < float(item.numbers["near_K"]) < 0.6
    shop.hours(7, 9, S1=panel, A1=air, A2=air)
    assert all(item.until is not None for item in shop.suspicions())
    (item,) = shop.suspicions("tape_off")
    assert item.until is not None
    assert NOON + 7 * HOUR < item.until <= NOON + 9 * HOUR


def test_a_suspicion_does_not_end_because_its_evidence_has_grown_old() -> None:
    shop = Shop()
    shop.hours(0, 6, S1=panel, A1=air, A2=air)
    shop.hours(6, 8, S1=air, A1=air, A2=air)

    def calm(hour: float) -> float:
        return 12.0 + 2.0 * np.sin(hour / 4)

    shop.hours(8, 40, look_min=120, S1=calm, A1=calm, A2=calm)
    assert [item.until for item in shop.suspicions("tape_off")] == [None]


def test_a_collect_that_is_started_again_goes_on_with_what_it_suspected() -> None:
    shop = Shop()
    shop.hours(0, 6, S1=panel, A1=air, A2=air)
    shop.hours(6, 7.5, S1=air, A1=air, A2=air)
    before = shop.suspicions()
    shop.lookout = Lookout(shop.writer, PROBES, ZoneInfo("UTC"), shop.clock)
    shop.lookout.turn()
    assert [(item.probe, item.kind, item.since) for item in shop.suspicions()] == [
        (item.probe, item.kind, item.since) for item in before
    ]
    shop.hours(7.5, 9.5, S1=panel, A1=air, A2=air)
    assert all(item.until is not None for item in shop.suspicions())
    assert len(shop.suspicions("tape_off")) == 1


def calm_air(hour: float) -> float:
    """A closed shed at night: it trembles by less than an alarm could rest on."""
    return 10.0 + 0.035 * np.sin(2 * np.pi * hour / 0.23) + 0.025 * np.sin(2 * np.pi * hour / 0.37)


def test_a_probe_that_comes_off_in_calm_air_only_leans_and_no_more_once_it_is_on_again() -> None:
    shop = Shop([replace(probe, interval_s=10.0) for probe in PROBES])
    shop.hours(0, 8, S1=lambda h: 10.1, A1=calm_air, A2=calm_air)
    assert shop.suspicions("unsure") == []
    shop.hours(8, 10, S1=lambda h: calm_air(h) + 0.1, A1=calm_air, A2=calm_air)
    assert shop.suspicions("tape_off") == []
    (item,) = shop.suspicions("unsure")
    assert (item.probe, item.kind, item.until) == ("S1", "unsure", None)
    assert NOON + 7 * HOUR < item.since < NOON + 9 * HOUR
    shop.hours(10, 13, S1=lambda h: 10.1, A1=calm_air, A2=calm_air)
    (item,) = shop.suspicions("unsure")
    assert item.until is not None
    assert NOON + 10 * HOUR < item.until < NOON + 12 * HOUR


def test_a_swap_names_both_and_swapping_back_ends_it() -> None:
    shop = Shop()
    shop.hours(0, 4, S1=lambda h: panel(h) - 2, A1=air)
    shop.hours(4, 6, S1=air, A1=lambda h: panel(h) - 2)
    found = shop.suspicions("swapped")
    assert [(item.probe, item.numbers["other"], item.until) for item in found] == [
        ("A1", "S1", None),
        ("S1", "A1", None),
    ]
    shop.hours(6, 8, S1=lambda h: panel(h) - 2, A1=air)
    assert [item.until is None for item in shop.suspicions("swapped")] == [False, False]


def test_sun_on_a_probe_is_suspected_by_day_and_ends_in_the_evening() -> None:
    shop = Shop()

    def shone_on(hour: float) -> float:
        return air(hour) + (7.0 * min(1.0, (hour - 3) * 8) if 3 <= hour < 5 else 0.0)

    shop.hours(0, 4, S1=panel, A1=shone_on, A2=air)
    (item,) = shop.suspicions("sunlit")
    assert (item.probe, item.until) == ("A1", None)
    assert float(item.numbers["above_K"]) > 4
    shop.hours(4, 6, S1=panel, A1=shone_on, A2=air)
    assert [item.until is None for item in shop.suspicions("sunlit")] == [False]


def test_humidity_that_leaps_to_its_wet_end_and_stays_is_suspected_and_fog_is_not() -> None:
    shop = Shop()
    shop.hours(0, 4, A1=air, A1_rh=lambda h: 75.0 + np.sin(h))
    shop.hours(4, 5, A1=air, A1_rh=lambda h: 99.4)
    (item,) = shop.suspicions("wet_end")
    assert item.probe == "A1"
    fog = Shop()
    fog.hours(0, 6, A1=lambda h: 6.0 - h / 2, A1_rh=lambda h: min(99.5, 80.0 + 5 * h))
    fog.hours(6, 12, A1=lambda h: 3.0 - h / 10, A1_rh=lambda h: 99.5)
    assert fog.suspicions() == []


def test_humidity_stuck_for_weeks_is_suspected_once_warmth_does_not_move_it() -> None:
    """A sensor of open fabric that stays near 99 after a wet night; no leap was seen."""
    shop = Shop()
    shop.hours(0, 24, each_s=120, look_min=60, A1=lambda h: 8 + 4 * np.sin(h / 4), A1_rh=lambda h: 99.3)
    assert [item.probe for item in shop.suspicions("wet_end")] == ["A1"]


def test_a_probe_that_sends_fahrenheit_is_named_within_two_hours_of_being_set_up() -> None:
    shop = Shop()
    shop.hours(0, 2, S1=panel, A1=air, A2=lambda h: air(h) * 1.8 + 32)
    (item,) = shop.suspicions("sends_degF")
    assert item.probe == "A2"
    assert float(item.numbers["read_C"]) == pytest.approx(53.6, abs=4)


def test_drift_against_a_twin_is_told_within_two_days_and_a_diurnal_difference_is_not() -> None:
    shop = Shop()

    def other_corner(hour: float) -> float:
        return air(hour) + 0.8 * np.sin(2 * np.pi * hour / 24)

    shop.hours(0, 48, each_s=120, look_min=60, A1=air, A2=other_corner)
    assert shop.suspicions() == []
    drifting = Shop()
    drifting.hours(0, 48, each_s=120, look_min=60, A1=air, A2=lambda h: other_corner(h) + 0.1 * h)
    found = drifting.suspicions("drift")
    assert [(item.probe, item.numbers["other"]) for item in found] == [("A1", "A2"), ("A2", "A1")]
    assert float(found[1].numbers["day_K"]) == pytest.approx(2.4, abs=0.3)


def test_a_slow_battery_node_is_noticed_once_and_no_more_when_it_keeps_the_pace() -> None:
    shop = Shop()
    shop.hours(0, 3, each_s=600, A1=air)
    (item,) = shop.suspicions("slow")
    assert float(item.numbers["learned_h"]) == pytest.approx(1 / 6, rel=0.1)
    shop.hours(3, 7, A1=air)
    assert [item.until is None for item in shop.suspicions("slow")] == [False]


def test_the_simulated_shop_of_the_demo_is_suspected_of_nothing() -> None:
    scene = ColdNight()
    probes = [
        ProbeFacts(name, "warm room" if name in ("S3", "A2") else "shed", "air" if name[0] == "A" else "surface",
                   60.0, 0.8)
        for name in ("S1", "S2", "S3", "S4", "A1", "A2")
    ]  # fmt: skip
    shop = Shop(probes)
    base = NOON / HOUR

    def of(name: str, which: int) -> Course:
        return lambda hour: float(scene_points(scene, 3, base + hour)[name][which] or 0.0)

    courses = {probe.id: of(probe.id, 0) for probe in probes} | {f"{a}_rh": of(a, 1) for a in ("A1", "A2")}
    shop.hours(0, 36, each_s=120, look_min=120, **courses)
    assert shop.suspicions() == []
