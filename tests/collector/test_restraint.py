"""A probe that sends far too often: held back and counted, the others and the past untouched."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.reading import ProbeFacts, Quantity
from collector.restraint import BURST, TIMES_FASTER, Restraint

T0 = 1_795_600_000_000
T, RH = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
INTERVAL_S = 10.0


def restraint() -> Restraint:
    return Restraint([ProbeFacts(id, "shed", "surface", INTERVAL_S, 0.8) for id in ("S1", "S2")])


def passed(times: list[int], of: Restraint) -> int:
    return sum(of.allows("S1", T, at) for at in times)


def test_a_probe_a_hundred_times_too_fast_is_held_to_twenty_in_an_interval():
    hour = [T0 + number * 100 for number in range(36_000)]
    allowed = 3600 / INTERVAL_S * TIMES_FASTER
    assert abs(passed(hour, restraint()) - BURST - allowed) <= 1


@given(st.integers(1, TIMES_FASTER))
def test_up_to_that_many_all_pass_for_ever(times: int):
    step = round(1000 * INTERVAL_S / times)
    assert passed([T0 + number * step for number in range(3000)], restraint()) == 3000


def test_each_series_has_its_own_restraint():
    of = restraint()
    assert passed([T0] * 1000, of) == BURST
    assert of.allows("S1", RH, T0)
    assert of.allows("S2", T, T0)


def test_a_clock_that_steps_back_by_years_stops_nothing_for_good():
    of = restraint()
    assert passed([T0] * 1000, of) == BURST
    back = T0 - 10**11
    assert passed([back + number * 500 for number in range(1000)], of) == 999


def test_times_that_go_a_little_to_and_fro_count_once():
    to_and_fro = [T0 + second * 10 + ahead for second in range(1000) for ahead in range(0, 1000, 100)]
    assert passed(to_and_fro, restraint()) <= BURST + 1 + 11_000 / 1000 / INTERVAL_S * TIMES_FASTER
