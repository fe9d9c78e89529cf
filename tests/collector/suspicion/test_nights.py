"""Faults on invented nights, a share of what tests/long counts: found or in doubt soon; clean nights neither.

The limits of the checks were chosen on other seeds than these. The floors are lower than those of 200 nights, so that
a share of the nights passes them too.
"""

from __future__ import annotations

import pytest

from tests.collector.suspicion.trial import FLOORS, false_alarms, trial

SEED, NIGHTS = 21, 24


def test_clean_nights_with_heaters_doors_fresh_coats_and_panels_carried_in_raise_no_suspicion() -> None:
    rung, leaning = false_alarms(SEED, 3 * NIGHTS)
    assert len({night for night, _, _ in rung}) <= 1, rung
    assert len({night for night, _, _ in leaning}) <= 6, leaning


@pytest.mark.parametrize("fault", sorted(FLOORS))
def test_a_fault_is_found_or_the_answer_is_not_known_an_hour_after_a_reading_is_spoilt(fault: str) -> None:
    found = trial(fault, SEED, NIGHTS)
    assert found.harmful >= 5
    assert found.share >= FLOORS[fault] - 0.15, found
