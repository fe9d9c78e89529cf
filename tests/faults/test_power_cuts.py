"""Promise A1 and A21: 20,000 power cuts over all that writes, and nothing that was acknowledged is lost.

The figures of the first trials are the yardstick: FULL loses nothing, NORMAL loses rows, OFF ruins files.
tests/long repeats it with 100,000.
"""

from __future__ import annotations

import pytest

from collector.store import schema
from tests.faults.cuts import Check, Tally, Workload, cut_power
from tests.faults.power_files import (
    backup_whole_or_not_there,
    bring_back,
    digest,
    digests_fit,
    make_backup,
    migrate,
    old_or_restored,
    one_schema_or_the_other,
)
from tests.faults.power_ingest import ingest, readings_kept
from tests.faults.power_keeping import keep_two_days, there_or_summarised

CUTS: dict[str, tuple[Workload, Check, int]] = {
    "ingest and checkpoints": (ingest, readings_kept, 12_000),
    "migration": (migrate, one_schema_or_the_other, 3_000),
    "day digests": (digest, digests_fit, 2_000),
    "removal of old readings": (keep_two_days, there_or_summarised, 1_000),
    "backup": (make_backup, backup_whole_or_not_there, 2_000),
    "restore": (bring_back, old_or_restored, 1_000),
}


def cut(what: str, times: int = 1, seed: int = 1) -> Tally:
    workload, check, cuts = CUTS[what]
    return cut_power(workload, check, cuts * times, seed)


@pytest.mark.parametrize("what", CUTS)
def test_no_power_cut_loses_what_was_acknowledged_or_ruins_a_file(what: str) -> None:
    tally = cut(what)
    assert (tally.lost, tally.damaged) == (0, 0), tally.examples
    assert tally.cuts == CUTS[what][2]


def test_with_less_than_full_syncing_the_same_cuts_lose_rows_and_without_any_they_ruin_files(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(schema, "SYNCHRONOUS", "normal")
    normal = cut_power(ingest, readings_kept, 500, seed=1)
    monkeypatch.setattr(schema, "SYNCHRONOUS", "off")
    off = cut_power(ingest, readings_kept, 500, seed=1)
    assert normal.lost > 100
    assert normal.damaged == 0
    assert off.damaged > 10
