"""50 kills at random moments; 200 in tests/long."""

from __future__ import annotations

from pathlib import Path

from tests.journeys.killing import assert_nothing_lost, kill_at_random


def test_fifty_kills_of_collector_broker_and_watch_lose_and_double_nothing(tmp_path: Path) -> None:
    assert_nothing_lost(kill_at_random(tmp_path, kills=50, seed=1))
