"""200 invented nights for each fault, and 200 clean ones, on two seeds on which no limit was chosen."""

from __future__ import annotations

import sys

import pytest

from tests.collector.suspicion.trial import FAULTS, FLOORS, false_alarms, trial

NIGHTS = 200


@pytest.mark.parametrize("seed", [73, 74])
def test_at_most_a_few_of_200_clean_nights_raise_a_suspicion(seed: int) -> None:
    found = false_alarms(seed, NIGHTS)
    sys.stdout.write(
        f"seed {seed}: {len({night for night, _, _ in found})} of {NIGHTS} clean nights: {found}" + "\n"
    )
    assert len({night for night, _, _ in found}) <= MOST_FALSE


@pytest.mark.parametrize("seed", [73, 74])
@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_a_fault_on_200_nights(fault: str, seed: int) -> None:
    found = trial(fault, seed, NIGHTS)
    sys.stdout.write(f"seed {seed}: {fault}: {found}" + "\n")
    assert found.share_at_once >= FLOORS[fault]


MOST_FALSE = 2
