"""100,000 power cuts and 5,000 flipped bits: the tests of tests/faults with larger counts and other dice."""

from __future__ import annotations

import pytest

from tests.faults.flips import flip
from tests.faults.test_power_cuts import CUTS, cut


@pytest.mark.parametrize("what", CUTS)
def test_no_power_cut_of_a_hundred_thousand_loses_what_was_acknowledged(what: str) -> None:
    tally = cut(what, times=5, seed=2)
    assert (tally.lost, tally.damaged) == (0, 0), tally.examples


def test_every_flipped_bit_of_5000_that_changes_a_fact_is_noticed() -> None:
    found = flip(trials=5000, seed=2)
    assert found.noticed == found.changed > 1000
