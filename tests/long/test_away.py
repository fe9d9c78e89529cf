"""Three days without a collector, with the broker's settings of the notes: 207,360 messages."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.collector.away import assert_whole, stay_away
from tests.collector.test_away import GROWS_KB


@pytest.mark.parametrize("broker_dies", [False, True])
def test_three_days_without_a_collector_are_stored_whole(tmp_path: Path, broker_dies: bool) -> None:
    away = stay_away(tmp_path, 72, broker_dies)
    sys.stdout.write(f"broker dies: {broker_dies}; {away}\n")
    assert_whole(away, GROWS_KB)
