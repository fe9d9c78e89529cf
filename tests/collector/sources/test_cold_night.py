"""The invented night: physics that can be checked, the same for the same seed, and the scenes the demo needs."""

from __future__ import annotations

import functools
import itertools
import math
import threading
import time
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import psychrolib
import pytest
from scipy.integrate import solve_ivp

from collector.arrival import Arrival
from collector.clock import DemoClock, SteppedClock
from collector.decode import decoder_for
from collector.reading import Quantity
from collector.settings import FieldMap, TextLine
from collector.sources.cold_night import (
    ColdNight,
    Course,
    Wave,
    saturation_pressure,
    scene_lines,
    scene_points,
)
from collector.sources.simulated import SimulatedNightSource
from tests.services import wait_until

OSLO = ZoneInfo("Europe/Oslo")
NOON = int(datetime(2026, 11, 24, 12, tzinfo=OSLO).timestamp() * 1000)
HOUR = 3_600_000
FIELDS = (
    FieldMap(key="T", quantity=Quantity.TEMPERATURE, unit="degC"),
    FieldMap(key="RH", quantity=Quantity.RELATIVE_HUMIDITY, unit="%"),
)


def hour_of(at: int) -> float:
    return at / HOUR + 1  # Norway's standard time


@functools.cache
def night(seed: int = 1, start: int = NOON, hours: int = 24) -> list[tuple[int, str, Quantity, float]]:
    decoder = decoder_for(TextLine(kind="text_line", field=FIELDS))
    found = []
    for at, line in scene_lines(seed, start, start + hours * HOUR, OSLO):
        decoded = decoder.decode(Arrival("demo", line, at))
        assert decoded.refused == []
        found += [(at, sample.name, sample.quantity, sample.value) for sample in decoded.samples]
    return found


@pytest.mark.parametrize("temperature", [-10.0, 0.0, 5.0, 12.0, 20.0, 30.0])
def test_saturation_pressure_agrees_with_a_reference(temperature: float) -> None:
    # psychrolib's GetSatVapPres (ASHRAE Handbook of Fundamentals 2017, ch. 1, eq. 5 and 6); ours is over water,
    # so below 0 degC the comparison is with Buck (1981), 6.1121 exp(17.502 t / (t + 240.97)), value from memory.
    psychrolib.SetUnitSystem(psychrolib.SI)
    if temperature >= 0.01:
        reference = psychrolib.GetSatVapPres(temperature)
    else:
        reference = 611.21 * math.exp(17.502 * temperature / (temperature + 240.97))
    assert saturation_pressure(temperature) == pytest.approx(reference, rel=3e-3)


def test_a_lagged_wave_solves_the_equation_of_first_order_lag() -> None:
    # dT/dt = (forcing - T) / tau, integrated by scipy from the wave's own start.
    forcing = Course(10.0, (Wave(6.0, 15.0, 24.0), Wave(2.0, 3.0, 7.0)))
    lagged = forcing.lagged(1.7)
    hours = np.linspace(0.0, 48.0, 97)
    solved = solve_ivp(
        lambda t, y: (forcing.at(t) - y) / 1.7,
        (0.0, 48.0),
        [lagged.at(0.0)],
        t_eval=hours,
        rtol=1e-9,
        atol=1e-9,
    )
    assert [lagged.at(hour) for hour in hours] == pytest.approx(list(solved.y[0]), abs=1e-5)


def test_the_same_seed_gives_the_same_lines_whatever_the_pieces_and_another_seed_others() -> None:
    whole = list(scene_lines(7, NOON, NOON + HOUR, OSLO))
    cuts = [NOON, NOON + 1, NOON + 10_070, NOON + 1_234_567, NOON + HOUR]
    pieces = [line for a, b in itertools.pairwise(cuts) for line in scene_lines(7, a, b, OSLO)]
    assert pieces == whole
    assert [at for at, _ in whole] == sorted(at for at, _ in whole)
    assert list(scene_lines(8, NOON, NOON + HOUR, OSLO)) != whole


def test_each_probe_speaks_every_ten_seconds() -> None:
    moments = [at for at, line in scene_lines(1, NOON, NOON + HOUR, OSLO) if line.startswith(b"S1 ")]
    assert len(moments) == 360
    assert {b - a for a, b in itertools.pairwise(moments)} == {10_000}


def test_temperatures_come_in_sixteenths_of_a_degree() -> None:
    values = [value for _, name, quantity, value in night(hours=1) if quantity is Quantity.TEMPERATURE]
    assert all(value * 16 == round(value * 16) for value in values)


@pytest.mark.parametrize("seed", [1, 2, 3, 17])
def test_the_shed_is_cold_before_dawn_and_mild_in_the_evening(seed: int) -> None:
    air = {
        at: value
        for at, name, quantity, value in night(seed)
        if (name, quantity) == ("A1", Quantity.TEMPERATURE)
    }
    lowest = min(air, key=lambda at: air[at])
    assert 3.0 <= air[lowest] <= 5.0
    assert 3 <= datetime.fromtimestamp(lowest / 1000, OSLO).hour <= 6
    evening = [value for at, value in air.items() if 19 <= datetime.fromtimestamp(at / 1000, OSLO).hour < 20]
    assert 12.0 <= np.mean(evening) <= 17.0


@pytest.mark.parametrize("seed", [1, 2, 3, 17])
def test_only_the_thin_skin_falls_below_the_dew_point_and_only_in_the_small_hours(seed: int) -> None:
    scene = ColdNight()
    below = {"S1": set(), "S2": set(), "S3": set()}
    for minute in range(0, 24 * 60, 5):
        at = NOON + minute * 60_000
        points = scene_points(scene, seed, hour_of(at))
        for name in below:
            if points[name][0] < scene.dew_point:
                below[name].add(datetime.fromtimestamp(at / 1000, OSLO).hour)
    assert below["S1"] == below["S3"] == set()
    assert below["S2"]
    assert below["S2"] <= {1, 2, 3, 4, 5, 6, 7}


def test_the_airs_vapour_pressure_is_the_same_all_night() -> None:
    pressures = []
    for hour in range(24):
        temperature, humidity = scene_points(ColdNight(), 1, hour_of(NOON) + hour)["A1"]
        assert humidity is not None
        pressures.append(humidity / 100 * saturation_pressure(temperature))
    assert max(pressures) - min(pressures) < 0.01


def test_the_warm_room_is_held_near_twenty_degrees() -> None:
    air = [value for _, name, what, value in night() if (name, what) == ("A2", Quantity.TEMPERATURE)]
    panel = [value for _, name, what, value in night() if (name, what) == ("S3", Quantity.TEMPERATURE)]
    assert 19.3 < min(air) < 19.8 < 20.2 < max(air) < 20.7
    assert max(panel) - min(panel) < max(air) - min(air)


def test_the_fourth_probe_is_silent_from_twelve_past_three_until_noon_unless_told_otherwise() -> None:
    heard = [at for at, name, _, _ in night(hours=26) if name == "S4"]
    gap = max(itertools.pairwise(heard), key=lambda pair: pair[1] - pair[0])
    fell, back = (datetime.fromtimestamp(at / 1000, OSLO) for at in gap)
    assert (fell.hour, fell.minute) == (3, 11)
    assert (back.hour, back.minute) == (12, 0)
    scene = ColdNight(silent_from=None)
    assert (
        sum(line.startswith(b"S4") for _, line in scene_lines(1, NOON, NOON + 24 * HOUR, OSLO, scene)) == 8640
    )


def test_summer_time_shifts_the_names_of_the_hours_and_not_the_physics() -> None:
    change = int(datetime(2026, 3, 29, 0, tzinfo=OSLO).timestamp() * 1000)
    air = [
        v for _, name, what, v in night(start=change, hours=4) if (name, what) == ("A1", Quantity.TEMPERATURE)
    ]
    assert max(abs(b - a) for a, b in itertools.pairwise(air)) < 0.5


def test_live_lines_follow_a_fast_clock_and_stop_when_told() -> None:
    clock = DemoClock(NOON, time.monotonic(), 3600.0)
    source = SimulatedNightSource("demo", 1, OSLO, clock)
    arrivals: list[Arrival] = []
    stop = threading.Event()
    thread = threading.Thread(target=source.run, args=(arrivals.append, stop.is_set))
    thread.start()
    wait_until(lambda: len(arrivals) > 300, "several rounds")
    stop.set()
    thread.join()
    sent = [(arrival.received, arrival.payload) for arrival in arrivals]
    assert sent == list(scene_lines(1, sent[0][0], sent[-1][0] + 1, OSLO))
    assert all(arrival.live for arrival in arrivals)


def test_a_clock_that_leaps_ten_years_does_not_flood_the_house() -> None:
    clock = SteppedClock(NOON)
    source = SimulatedNightSource("demo", 1, OSLO, clock)
    sent: list[Arrival] = []
    stop = threading.Event()
    thread = threading.Thread(target=source.run, args=(sent.append, stop.is_set))
    thread.start()
    wait_until(lambda: source.state == "connected", "it runs")
    clock.at += 10 * 365 * 24 * HOUR
    wait_until(lambda: len(sent) > 0, "it goes on")
    stop.set()
    thread.join()
    assert sent[0].received >= clock.at - 24 * HOUR
