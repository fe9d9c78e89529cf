"""A week without the time-series server: 483,840 readings, drained in under ten minutes, none lost, none twice."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.collector.forward.mixed_faults import got_through
from tests.collector.forward.outage import drained, killed_again_and_again
from tests.services import influxdb, victoria_metrics

ROUNDS = 7 * 8640
LONGEST_S = 600.0


@pytest.mark.parametrize("kind", [influxdb, victoria_metrics])
def test_a_week_without_a_server_is_there_once_when_it_is_back(tmp_path: Path, kind):
    done = drained(tmp_path, kind(tmp_path / "server"), ROUNDS)
    sys.stdout.write(
        f"{kind.__name__}: {done.readings} readings in {done.seconds:.1f} s, {done.wrong} wrong\n"
    )
    assert done.held == done.readings == 483_840
    assert done.wrong == 0
    assert done.seconds < LONGEST_S


def test_a_server_killed_ten_times_while_it_takes_a_day_has_all_of_it_in_the_end(tmp_path: Path):
    """Each time within seconds of an acknowledgement."""
    assert killed_again_and_again(tmp_path, victoria_metrics(tmp_path / "server"), 8640, 10) == 0


@pytest.mark.parametrize("seed", range(5))
def test_a_day_through_a_proxy_that_does_everything_wrong_arrives_whole(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", 60.0)
    faults = got_through(tmp_path, influxdb(tmp_path / "server"), 8640, seed, most=1000)
    sys.stdout.write(f"seed {seed}: {faults} faults\n")
    assert faults >= 10
