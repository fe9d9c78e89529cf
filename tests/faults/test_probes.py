"""Rows 19 to 25 of the list of faults: what a probe sends when it has nothing to say, and what must be let through."""

from __future__ import annotations

import pytest

from collector.checks import Checks
from collector.reading import ProbeFacts, Quality, Quantity, Reading

T0 = 1_795_600_000_000
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
PROBES = [
    ProbeFacts(id, zone, "air", 10.0, 0.8) for id, zone in (("S1", "shed"), ("S2", "shed"), ("O1", "oven"))
]


def said(
    *values: float | tuple[float, float], step_s: int = 10, start_s: int = 0, probe: str = "S1"
) -> list[Reading]:
    """Temperatures, or (temperature, humidity) pairs, one each step."""
    readings = []
    for i, value in enumerate(values):
        at = T0 + (start_s + i * step_s) * 1000
        pair = value if isinstance(value, tuple) else (value,)
        for quantity, number in zip((TEMPERATURE, HUMIDITY), pair, strict=False):
            readings.append(Reading(probe, quantity, number, at, at))
    return readings


def flags(readings: list[Reading], checks: Checks | None = None) -> list[Quality]:
    return [reading.quality for reading in (checks or Checks(PROBES)).flag(readings)]


def test_b19_85_at_start_is_flagged_and_85_in_an_oven_is_believed() -> None:
    # DS18B20 data sheet: the scratchpad holds +85 degC at power-on.
    assert flags(said(85.0, 12.0, 12.1)) == [Quality.POWER_ON_VALUE, 0, 0]
    checks = Checks(PROBES)
    checks.flag(said(82.0, probe="S2"))
    assert flags(said(85.0, start_s=5), checks) == [0]


@pytest.mark.parametrize("gone", [-127.0, 127.94, 127.9375, 0.0])
def test_b20_a_one_wire_probe_that_does_not_answer_is_flagged(gone: float) -> None:
    # -127 is drivers' common practice, no source; 127.94 is all scratchpad bits but the sign; zeros have a CRC of 0.
    assert flags(said(12.0, 12.1, gone, 12.1)) == [0, 0, Quality.DISCONNECTED, 0]


def test_b20_zero_degrees_in_ice_water_or_frost_are_a_reading() -> None:
    assert flags(said(12.0, 7.3, 4.4, 2.7, 1.6, 1.0, 0.4, 0.0, 0.0, 0.0625, 0.0)) == [0] * 11
    checks = Checks(PROBES)
    checks.flag(said(0.5, probe="S2"))
    assert flags(said(5.0, 0.0), checks) == [0, 0], "the zone is as cold"


def test_b21_an_empty_frame_and_the_end_of_the_scale_are_flagged() -> None:
    found = flags(said((12.0, 80.0), (0.0, 0.0), (-3274.5, 80.0), (12.0, 80.1)))
    assert found[2] & Quality.DISCONNECTED
    assert found[3] & Quality.DISCONNECTED
    assert found[4] == Quality.OUT_OF_RANGE
    assert found[6:] == [0, 0]


def test_b21_an_empty_frame_is_flagged_also_in_frost() -> None:
    found = flags(said((0.2, 80.0), (0.0, 0.0), (0.1, 80.0)))
    assert not found[2].usable
    assert not found[3].usable
    assert found[4:] == [0, 0]


def test_b21_a_lost_sign_is_flagged_until_it_has_lasted_and_a_pass_through_zero_is_not() -> None:
    assert flags(said(2.1, -2.1, 2.1)) == [0, Quality.IMPOSSIBLE_RATE, 0]
    found = flags(said(2.1, *[-2.1] * 70))
    assert set(found[1:60]) == {Quality.IMPOSSIBLE_RATE}
    assert found[-1] == 0, "ten minutes of it are the weather"
    assert set(flags(said(*[1.0 - 0.1 * i for i in range(20)]))) == {Quality.GOOD}


@pytest.mark.parametrize("frame", [(130.0, 100.0), (-45.0, 0.0), (130.0, 119.0), (-45.0, -6.0)])
def test_b22_raw_ends_of_the_scale_spoil_temperature_and_humidity(frame: tuple[float, float]) -> None:
    # SHT3x data sheet: T = -45 + 175 S/65535, RH = 100 S/65535; SHT4x: RH = -6 + 125 S/65535; S = 65535 and 0.
    found = flags(said((12.0, 80.0), frame, (12.0, 80.0)))
    assert [quality.usable for quality in found] == [True, True, False, False, True, True]
    assert found[3] & Quality.DISCONNECTED


def test_b22_a_sensor_warmed_by_its_own_heater_is_flagged_until_it_has_cooled() -> None:
    # 12 degC and 80 % are 1122 Pa of water; at 16 and 18 degC the same water is 61.7 and 54.3 % (Bolton 1980).
    found = flags(said((12.0, 80.0), (16.0, 61.7), (18.0, 54.3), (15.0, 65.8), (13.0, 74.9), (12.0, 80.0)))
    assert {*found[2:8]} == {Quality.SELF_HEATED}
    assert found[8:] == [0] * 4


def test_b22_warm_moist_air_from_another_room_is_no_heater() -> None:
    assert set(flags(said((12.0, 80.0), (16.0, 78.0), (17.0, 77.0)))) == {Quality.GOOD}


def test_b23_the_first_value_after_power_up_is_flagged_the_second_is_believed() -> None:
    checks = Checks(PROBES)
    checks.flag(said((5.0, 80.0), (5.1, 80.0)))
    found = flags(said((22.4, 45.0), (5.2, 80.0), start_s=90), checks)
    assert found == [Quality.POWER_ON_VALUE, Quality.POWER_ON_VALUE, 0, 0]


def test_b23_a_night_away_is_another_temperature_not_a_fault() -> None:
    checks = Checks(PROBES)
    checks.flag(said(5.0))
    assert flags(said(20.0, start_s=8 * 3600), checks) == [0]


@pytest.mark.parametrize("cold", [-140.0, -145.75, -150.0])
def test_b23_impossible_cold_and_zero_humidity_are_flagged(cold: float) -> None:
    found = flags(said((12.0, 80.0), (cold, 0.0), (12.0, 0.0)))
    assert [quality.usable for quality in found] == [True, True, False, False, True, False]


def test_b24_saturated_air_is_a_state_of_the_air_and_the_model_is_told() -> None:
    found = flags(said(*[(5.0 + 0.0625 * (i % 3), 99.9) for i in range(2000)], step_s=11))
    assert set(found[1::2]) == {Quality.SATURATED}
    assert Quality.SATURATED.usable
    assert flags(said((5.0, 103.0)))[1] == Quality.SATURATED
    assert flags(said((5.0, 0.0)))[1] == Quality.OUT_OF_RANGE


def test_b25_a_value_that_has_not_moved_for_half_an_hour_is_flagged() -> None:
    moving = said(*[12.0 + (i % 7) / 16 for i in range(120)])
    still = said(*[12.0] * 200, start_s=1200)
    found = flags(moving + still)
    assert found[-1] == Quality.STUCK
    assert Quality.STUCK not in found[: 120 + 170]
