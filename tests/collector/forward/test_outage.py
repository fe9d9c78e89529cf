"""A server that comes back after hours has all of them, once; tests/long does the same with a week."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from collector.reading import Quantity, Reading
from tests.collector.forward.mixed_faults import got_through
from tests.collector.forward.outage import PROBES, drained
from tests.collector.forward.stage import EVENING, commit, expected, forwarder, night, selected, told
from tests.services import influxdb, running, victoria_metrics

ROUNDS = 360
"""An hour at one round in ten seconds."""


@pytest.mark.parametrize("kind", [influxdb, victoria_metrics])
def test_an_hour_without_a_server_is_there_once_when_it_is_back(tmp_path: Path, kind):
    done = drained(tmp_path, kind(tmp_path / "server"), ROUNDS)
    assert done.held == done.readings == ROUNDS * PROBES
    assert done.wrong == 0


@pytest.mark.usefixtures("unhurried")
def test_through_a_proxy_that_does_everything_wrong_all_of_it_arrives(tmp_path: Path):
    """Refusals, pauses, cuts, answers after the write, lines that are dropped: by chance, a third of all requests."""
    assert got_through(tmp_path, influxdb(tmp_path / "server"), 120, seed=2, most=100) >= 5


@pytest.mark.usefixtures("unhurried")
def test_a_value_that_a_real_server_refuses_is_set_aside_with_its_words_and_the_rest_is_there(tmp_path: Path):
    """InfluxDB takes no infinite value; no decoder of ours gives one, so it is put into the store past them."""
    store = tmp_path / "readings.db"
    rows = night(300)
    at = EVENING + 77_000
    commit(store, rows, [Reading("S1", Quantity.TEMPERATURE, math.inf, at, at)])
    with running(influxdb(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, server="influxdb-1")
        sender.send_some()
        sender.close()
        assert selected(server, "reading", "value") == expected(rows, "value")
    assert told(store).kept == 1
    assert "unable to parse" in told(store).last_words
