"""200 invented nights for each fault, and 200 clean ones, on two seeds on which no limit was chosen."""

from __future__ import annotations

import sys

import pytest

from dashboard.doubts import LEANS
from tests.collector.suspicion.trial import FAULTS, FLOORS, MOST_FALSE, MOST_LEANING, false_alarms, trial

NIGHTS, SEEDS, SPREAD = 200, [75, 76], 0.02


@pytest.mark.parametrize("seed", SEEDS)
def test_at_most_a_few_of_200_clean_nights_ring_and_few_make_an_answer_not_known(seed: int) -> None:
    rung, leaning = false_alarms(seed, NIGHTS)
    sys.stdout.write(f"seed {seed}: of {NIGHTS} clean nights rang {sorted(rung)}, leant {sorted(leaning)}\n")
    assert len({night for night, _, _ in rung}) <= MOST_FALSE
    for kind in LEANS:
        assert len({night for night, _, which in leaning if which == kind}) <= MOST_LEANING * NIGHTS


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_a_fault_on_twice_200_nights_is_found_or_the_answer_is_not_known(fault: str) -> None:
    """Of one seed's 150 spoilt nights a share is known to 5 in 100 either way, so the floor holds for both together."""
    results = [trial(fault, seed, NIGHTS) for seed in SEEDS]
    for seed, found in zip(SEEDS, results, strict=True):
        sys.stdout.write(
            f"seed {seed}: {fault}: {found.share:.3f}, by an alarm {found.share_rung:.3f}, "
            f"with thin skins {found.share_with_thin:.3f}; {found}\n"
        )
        assert found.share >= FLOORS[fault] - SPREAD
    assert sum(found.right for found in results) >= FLOORS[fault] * sum(found.harmful for found in results)
