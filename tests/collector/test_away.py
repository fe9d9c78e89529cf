"""A tenth of three days without a collector; the whole is in tests/long."""

from __future__ import annotations

from pathlib import Path

from tests.collector.away import assert_whole, stay_away

HOURS = 7.2
GROWS_KB = 16_000
"""A window of unacknowledged messages, one batch, the pages of the store that are held: no more, however long."""


def test_a_night_without_a_collector_and_a_broker_that_dies_in_the_middle_is_stored_whole(
    tmp_path: Path,
) -> None:
    assert_whole(stay_away(tmp_path, HOURS, broker_dies=True), GROWS_KB)
