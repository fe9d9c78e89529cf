"""100,000 power cuts: the tests of tests/faults with five times their counts and other dice."""

from __future__ import annotations

import pytest

from tests.faults.test_power_cuts import CUTS, cut


@pytest.mark.parametrize("what", CUTS)
def test_no_power_cut_of_a_hundred_thousand_loses_what_was_acknowledged(what: str) -> None:
    tally = cut(what, times=5, seed=2)
    assert (tally.lost, tally.damaged) == (0, 0), tally.examples
