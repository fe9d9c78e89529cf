"""A time-series server that had all of it, and has it no more: emptied, put back from an old copy, or another one."""

from __future__ import annotations

import shutil
import time
import urllib.parse
import urllib.request
from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.forward.forwarder import Forwarder
from collector.forward.still_there import ASK_EVERY_S
from collector.store.runs import SYNCED, Run
from collector.store.writer import Writer
from tests.collector.forward.stage import (
    SITE,
    Ticking,
    by_24,
    commit,
    expected,
    exported,
    filled,
    forwarder,
    last_batch,
    night,
    selected,
    stub,
    told,
)
from tests.services import Server, flush, influxdb, running, victoria_metrics

pytestmark = pytest.mark.usefixtures("unhurried")


EARLY, LATE = night(240), night()[480:]
"""Two halves of one night, invented."""


def minutes(sender: Forwarder, seconds: Ticking, number: int, shows: Server | None = None) -> None:
    """shows: a victoria-metrics, which has half a minute each time to show what it took."""
    for _ in range(2 * number):
        sender.send_some()
        if shows is not None:
            flush(shows)
        seconds.at += 30.0


def emptied(server: Server) -> None:
    for question in ("DROP DATABASE coldshed", "CREATE DATABASE coldshed"):
        form = urllib.parse.urlencode({"q": question}).encode()
        with urllib.request.urlopen(f"http://127.0.0.1:{server.port}/query", form, 20) as answer:
            assert b"error" not in answer.read()


def test_b51_a_server_that_was_emptied_gets_all_of_it_again_within_the_hour(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
):
    """InfluxDB, its database dropped and made again while nothing was sent: no request has failed."""
    store, seconds = filled(tmp_path, night()), Ticking()
    with running(influxdb(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, monotonic=seconds, server="influxdb-1")
        minutes(sender, seconds, 3)
        emptied(server)
        seconds.at += ASK_EVERY_S
        minutes(sender, seconds, 1)
        assert selected(server, "reading", "value") == expected(night(), "value")
        assert selected(server, "commit", "n")[SITE, "", "", ""][-1][1] == float(len(night()))
        minutes(sender, seconds, 3)
        sender.close()
    assert told(store).not_held == []
    assert [record.message for record in caplog.records if "is sent again" in record.message] == [
        f"http://127.0.0.1:{server.port} has batches to 0, and 40 was safe there: the rest is sent again"
    ]


def test_b51_a_server_put_back_from_an_old_copy_gets_what_came_since(tmp_path: Path):
    """VictoriaMetrics, its folder as it was hours ago: it is asked as soon as it has been started anew."""
    store, seconds = filled(tmp_path, EARLY), Ticking()
    with running(victoria_metrics(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, monotonic=seconds)
        minutes(sender, seconds, 3, server)
        server.stop()
        shutil.copytree(tmp_path / "server" / "data", tmp_path / "copy")
        server.start()
        had = last_batch(store)
        commit(store, *by_24(LATE))
        minutes(sender, seconds, 4, server)
        assert exported(server, "reading_value") == expected(night(), "value")
        server.stop()
        shutil.rmtree(tmp_path / "server" / "data")
        shutil.move(tmp_path / "copy", tmp_path / "server" / "data")
        server.start()
        assert exported(server, "reading_value") == expected(EARLY, "value"), "else nothing is shown here"
        before = told(store).acknowledged
        minutes(sender, seconds, 2, server)
        assert exported(server, "reading_value") == expected(night(), "value")
        sender.close()
    assert told(store).acknowledged == before > had


def test_b51_another_name_of_the_site_or_another_server_is_sent_all_of_it(tmp_path: Path):
    """What forward.db says was said of the old one."""
    store, seconds = filled(tmp_path, EARLY), Ticking()
    with running(influxdb(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, monotonic=seconds, server="influxdb-1")
        minutes(sender, seconds, 3)
        sender.close()
        again = forwarder(store, server.port, monotonic=seconds, server="influxdb-1", site="another name")
        minutes(again, seconds, 1)
        again.close()
        found = selected(server, "reading", "value")
    assert {key[0] for key in found} == {SITE, "another name"}
    assert sum(len(rows) for rows in found.values()) == 2 * len(EARLY)


def test_b51_a_server_that_has_all_of_it_is_sent_nothing_twice_however_long_it_is_asked(tmp_path: Path):
    store, seconds = filled(tmp_path, EARLY), Ticking()
    with stub() as server:
        server.count = lambda: len(EARLY)
        sender = forwarder(store, server.port, monotonic=seconds, server="influxdb")
        for _ in range(4):
            minutes(sender, seconds, 3)
            seconds.at += ASK_EVERY_S
        sender.close()
        again = forwarder(store, server.port, monotonic=seconds, server="influxdb")
        minutes(again, seconds, 2)
        again.close()
    lines = [line for line in server.taken if line.startswith("reading,")]
    assert len(lines) == len(set(lines)) == len(EARLY)
    assert sum("FROM+commit" in asked and "count" not in asked for asked in server.questions) >= 5


def test_b51_a_server_that_loses_every_commit_is_not_sent_all_of_it_without_end(tmp_path: Path):
    """It has the readings, and never what counts them: sent twice, told, and tried once more each ten minutes."""
    store, seconds = filled(tmp_path, EARLY), Ticking()
    with stub() as server:
        server.count = lambda: len(EARLY)
        sender = forwarder(store, server.port, monotonic=seconds, server="influxdb")
        for _ in range(60):
            server.taken[:] = [line for line in server.taken if not line.startswith("commit,")]
            minutes(sender, seconds, 1)
        sender.close()
        sent = sum(line.startswith("reading,") for line in server.taken)
    assert told(store).not_held
    assert 2 * len(EARLY) <= sent <= 8 * len(EARLY)


def test_b51_a_clock_that_was_once_far_ahead_leaves_no_mark_once_it_is_set(tmp_path: Path):
    """VictoriaMetrics drops what is days ahead: the readings are there, and no commit that counts them."""
    store, seconds = filled(tmp_path, EARLY), Ticking()
    right = int(time.time() * 1000)
    clock = SteppedClock(right + 30 * 86_400_000)
    with running(victoria_metrics(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, clock=clock, monotonic=seconds)
        minutes(sender, seconds, 4, server)
        assert exported(server, "commit_seq") == {}, "else nothing is shown here"
        assert told(store).not_held
        clock.at = right
        minutes(sender, seconds, 1, server)
        assert exported(server, "commit_seq") == {}, (
            "our clock may as well be behind, until a time service has set it"
        )
        writer = Writer.open(store, clock)
        writer.begin(Run(99, "second", right, 0, SYNCED, 0))
        writer.close()
        minutes(sender, seconds, 4, server)
        sender.close()
        [commits] = exported(server, "commit_seq").values()
        assert commits[-1][1] == float(last_batch(store))
        assert right <= commits[-1][0] < right + 1000
        assert exported(server, "reading_value") == expected(EARLY, "value")
    assert (told(store).not_held, told(store).trouble) == ([], "")
