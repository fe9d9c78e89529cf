"""Faults of the collect process as a whole: each test is named after its row of the list of faults."""

from __future__ import annotations

import signal
from pathlib import Path

from collector import app
from tests.collector.away import PROBES, heard, judge, send, settings_file, stored
from tests.collector.test_collect import Collector
from tests.services import mosquitto, running, wait_until

ROUNDS = 600
ENDS_S = 5.0


def test_b58_sigterm_in_the_middle_of_a_backlog_ends_in_time_and_loses_nothing(tmp_path: Path) -> None:
    """4,800 messages wait at the broker, whose window is never empty; those not committed come again."""
    broker = mosquitto(tmp_path / "broker")
    conf = broker.folder / "mosquitto.conf"
    conf.write_text(conf.read_text().replace("autosave_on_changes true", "autosave_on_changes false"))
    with running(broker):
        settings = settings_file(tmp_path, broker.port)
        first = Collector(settings)
        wait_until(lambda: heard(broker, settings), "the collector hears the probes")
        first.end(signal.SIGKILL)
        send(broker, 0, ROUNDS)
        second = Collector(settings)
        wait_until(lambda: stored(settings) > PROBES, "the first of it in the store")
        second.process.send_signal(signal.SIGTERM)
        assert second.process.wait(ENDS_S) == app.ENDED
        third = Collector(settings)
        try:
            wait_until(lambda: stored(settings) >= ROUNDS * PROBES, "all of it in the store", 60)
        finally:
            assert third.end(signal.SIGTERM) == app.ENDED
        away = judge(settings, ROUNDS, 0, 0)
    assert away.values_right, away
    assert away.conflicts == 0
