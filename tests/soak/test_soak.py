"""Promise A14: it runs for months. Days of 32 probes at full speed; memory, descriptors, threads and the log stay.

CI runs three days with a reading each 30 s, tests/long thirty with one each 10 s.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from collector.store.wal import FOLD_BYTES, MOST_BYTES
from dashboard.follow import TAIL_MS
from tests.soak.shop_of_days import PROBES

ROOT = Path(__file__).parents[2]
GROWTH = 5_000_000
"""Bytes of resident memory, from the end of the first day to the end of the last (the issue's figure)."""


def live(folder: Path, days: int, seconds: int) -> list[dict[str, Any]]:
    """What the process held at the end of each day."""
    code = "from tests.soak.shop_of_days import main; main()"
    done = subprocess.run(
        [sys.executable, "-P", "-c", code, str(folder), str(days), str(seconds)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([*filter(None, sys.path), str(ROOT)])},
        stdout=subprocess.PIPE,
        check=True,
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def assert_at_rest(held: list[dict[str, Any]], days: int, seconds: int) -> None:
    first, last = held[0], held[-1]
    rounds = 86_400 // seconds
    assert [day["batches"] for day in held] == [rounds * (number + 1) for number in range(days)]
    kept = PROBES * TAIL_MS // (1000 * seconds)
    assert abs(last["followed"] - kept) <= PROBES * 3600 // seconds, "the watch did not follow"
    assert last["removed"] == days - 2, "nothing was removed: the file cannot have come to rest"
    assert last["resident"] - first["resident"] < GROWTH, held
    assert {day["descriptors"] for day in held} == {first["descriptors"]}, held
    assert {day["threads"] for day in held} == {first["threads"]}, held
    assert FOLD_BYTES <= max(day["largest_log"] for day in held) <= MOST_BYTES, held
    if days > 3:
        assert last["file"] < 1.2 * held[3]["file"], held


def test_three_days_of_32_probes_leave_memory_descriptors_threads_and_log_as_the_first_day_did(
    tmp_path: Path,
) -> None:
    assert_at_rest(live(tmp_path, days=3, seconds=30), days=3, seconds=30)
