"""1,000,000 mutated frames, and a Modbus slave that falls behind many hundred times."""

from __future__ import annotations

import sys

import pytest

from tests.faults.test_frames import PARSERS, assert_survives
from tests.faults.test_modbus import assert_values_never_shift

MUTANTS = 1_000_000


@pytest.mark.parametrize("name", PARSERS)
def test_mutated_frames_never_crash_a_parser_nor_pass_a_wrong_checksum(name: str) -> None:
    score = assert_survives(name, -(-MUTANTS // len(PARSERS)), seed=2)
    sys.stdout.write(
        f"{name}: {score.mutants} mutants, {score.taken} taken, {score.refused} refused, "
        f"{score.unsealed} with a wrong checksum, {len(score.faults)} faults\n"
    )


@pytest.mark.parametrize(("late", "refuses"), [(1, False), (2, False), (5, False), (1, True), (3, True)])
def test_a_late_modbus_answer_never_shifts_the_values(late: int, refuses: bool) -> None:
    assert_values_never_shift(late, refuses, requests=500)
