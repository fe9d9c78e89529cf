"""200 kills at random moments."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.journeys.killing import assert_nothing_lost, kill_at_random


def test_two_hundred_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    toll = kill_at_random(tmp_path, kills=200, seed=2)
    sys.stdout.write(f"{toll}\n")
    assert_nothing_lost(toll)
