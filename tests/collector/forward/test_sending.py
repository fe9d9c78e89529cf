"""The night in a real time-series server equals the store; commit, heartbeat and facts tell how far it is."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from influxdb_client import Point

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quality, Quantity, Reading
from collector.store.damage import set_aside
from collector.store.schema import NotYet
from collector.store.time_series.lines import escaped, reading_line
from collector.store.writer import Writer
from tests.collector.forward.stage import (
    EVENING,
    NOW,
    SITE,
    Ticking,
    announce_revised,
    at_work,
    commit,
    expected,
    exported,
    forwarder,
    last_batch,
    night,
    selected,
    stub,
    told,
)
from tests.services import free_port, influxdb, running, victoria_metrics, wait_until


def test_the_night_in_the_server_equals_the_store_also_after_a_repeat(store: Path, tmp_path: Path):
    """Read back from the server's own export."""
    with running(victoria_metrics(tmp_path / "server")) as server:
        for _ in range(2):
            with at_work(forwarder(store, server.port)) as sender:
                wait_until(
                    lambda: told(store).acknowledged == last_batch(store), "the whole night to be sent"
                )
                wait_until(lambda: sender.state == "connected", "the state to say so")
            assert exported(server, "reading_value") == expected(night(), "value")
            assert exported(server, "reading_quality") == expected(night(), "quality")
            store.with_name("forward.db").unlink()


@pytest.mark.usefixtures("unhurried")
def test_a_server_of_the_1_line_is_written_to_at_its_own_address(store: Path, tmp_path: Path):
    """InfluxDB 1.6.7 knows no /api/v2/write; read back by InfluxQL."""
    with running(influxdb(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, server="influxdb-1")
        assert sender.send_some() == len(night())
        sender.close()
        assert selected(server, "reading", "value") == expected(night(), "value")
        assert selected(server, "commit", "n") == {(SITE, "", "", ""): [(NOW, float(len(night())))]}


@pytest.mark.usefixtures("unhurried")
def test_the_commit_and_the_heartbeat_say_how_far_the_server_is(store: Path, tmp_path: Path):
    """Ticks grow though the clock stands still."""
    with running(victoria_metrics(tmp_path / "server")) as server:
        sender = forwarder(store, server.port)
        sender.send_some()
        sender.close()
        key, last = (SITE, "", "", ""), float(last_batch(store))
        for name, value in {
            "seq": last, "since": 0.0, "n": 960.0, "t_min": EVENING, "t_max": EVENING + 479 * 60_000, "revised": 0.0,
        }.items():  # fmt: skip
            assert exported(server, f"commit_{name}") == {key: [(NOW, value)]}, name
        assert exported(server, "facts_runs") == {key: [(NOW + 1, 1.0)]}
        for name, value in {"seq": last, "newest": last, "now": NOW, "kept": 0.0}.items():
            assert exported(server, f"heartbeat_{name}") == {key: [(NOW + 2, value)]}, name


@pytest.mark.usefixtures("unhurried")
def test_new_readings_follow_and_only_they_are_sent(store: Path, tmp_path: Path):
    with running(victoria_metrics(tmp_path / "server")) as server:
        sender = forwarder(store, server.port)
        assert sender.send_some() == len(night())
        assert sender.send_some() == 0
        commit(store, [Reading("S1", Quantity.TEMPERATURE, 4.5, EVENING - 60_000, EVENING)])
        assert sender.send_some() == 1
        sender.close()
        assert (EVENING - 60_000, 4.5) in exported(server, "reading_value")[SITE, "S1", "temperature", ""]
        assert (EVENING - 60_000, 60_000.0) in exported(server, "reading_lag")[SITE, "S1", "temperature", ""]


@pytest.mark.usefixtures("unhurried")
def test_a_revised_span_is_sent_in_series_of_its_own_with_a_commit_that_counts_them(
    store: Path, tmp_path: Path
):
    """A rival value for one minute: of two, the least is served, marked, and told under the tag rev."""
    with running(influxdb(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, server="influxdb-1")
        sender.send_some()
        before = last_batch(store)
        commit(store, [Reading("S1", Quantity.TEMPERATURE, 3.0, EVENING, EVENING)])
        assert last_batch(store) == before + 1
        assert sender.send_some() == 2, "both series at that minute"
        sender.close()
        rev = str(before + 1)
        values = selected(server, "reading", "value")
        assert values[SITE, "S1", "temperature", rev] == [(EVENING, 3.0)]
        assert values[SITE, "S1", "temperature", ""][0] == (EVENING, 18.0)
        assert selected(server, "commit", "revised")[SITE, "", "", ""][-1][1] == 1.0
        assert selected(server, "commit", "n")[SITE, "", "", ""][-1][1] == 2.0


@pytest.mark.usefixtures("unhurried")
def test_the_facts_are_told_at_the_start_when_they_change_and_every_ten_minutes(store: Path, tmp_path: Path):
    seconds = Ticking()
    with running(influxdb(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, monotonic=seconds, server="influxdb-1")

        def after(passed: float) -> list[float]:
            seconds.at += passed
            sender.send_some()
            return [value for _, value in selected(server, "facts", "probes").get((SITE, "", "", ""), [])]

        assert after(0) == [0.0]
        assert after(11) == [0.0]
        writer = Writer.open(store, SteppedClock(EVENING))
        writer.describe([ProbeFacts("S1", "shed", "surface", 60.0, 0.5)])
        writer.close()
        assert after(11) == [0.0, 1.0]
        assert after(590) == [0.0, 1.0]
        assert after(11) == [0.0, 1.0, 1.0]
        sender.close()


@pytest.mark.usefixtures("unhurried")
def test_a_store_that_ends_before_what_was_sent_is_sent_whole(store: Path, caplog: pytest.LogCaptureFixture):
    """Put in its place by hand, or its end was lost: its batches are others than those the server knows."""
    seconds = Ticking()
    with stub() as server:
        sender = forwarder(store, server.port, monotonic=seconds)
        for _ in range(4):
            sender.send_some()
            seconds.at += 30.0
        sender.close()
        for name in ("readings.db", "readings.db-wal", "readings.db-shm"):
            store.with_name(name).unlink(missing_ok=True)
        commit(store, night(3))
        again = forwarder(store, server.port, monotonic=seconds)
        assert again.send_some() == 6
        again.close()
    assert "ends at batch 1, and 40 was sent" in caplog.text
    assert told(store).acknowledged == 1


@pytest.mark.usefixtures("unhurried")
def test_a_store_that_was_set_aside_while_we_send_is_left_for_the_new_one(store: Path):
    """As collect does with a damaged file at its start; its batches go on from a higher number."""
    seconds = Ticking()
    with stub() as server:
        sender = forwarder(store, server.port, monotonic=seconds)
        sender.send_some()
        set_aside(store, NOW)
        with pytest.raises(NotYet):
            sender.send_some()
        writer = Writer.open(store, SteppedClock(NOW))
        writer.number_batches_from(NOW // 1000)
        writer.commit([Reading("S1", Quantity.TEMPERATURE, 4.5, NOW, NOW)])
        writer.close()
        assert sender.send_some() == 1
        sender.close()
        assert server.readings()[-1].endswith(str(NOW))
    assert told(store).acknowledged == NOW // 1000 + 1


@pytest.mark.usefixtures("unhurried")
def test_what_was_revised_over_hours_is_read_piece_by_piece_and_counted_as_one(store: Path):
    """As when a run is found to lie elsewhere: its whole span, in pieces of a quarter of an hour."""
    with stub() as server:
        sender = forwarder(store, server.port)
        sender.send_some()
        announce_revised(store)
        server.writes.clear()
        assert sender.send_some() == len(night())
        sender.close()
    pieces = [lines for _, lines in server.writes if lines[0].startswith("reading")]
    assert len(pieces) == 32
    assert all(",rev=41 " in line for lines in pieces for line in lines)
    (commit_of_it,) = [lines[0] for _, lines in server.writes if "revised=2.0" in lines[0]]
    assert "seq=41.0,since=40.0,n=960.0" in commit_of_it


def test_an_absent_server_costs_time_and_nothing_else(store: Path, tmp_path: Path):
    server = victoria_metrics(tmp_path / "server")
    with at_work(forwarder(store, server.port)) as sender:
        wait_until(lambda: sender.state.startswith("failed: http://127.0.0.1"), "the failure in the state")
        assert told(store).acknowledged == 0
        with running(server):
            wait_until(lambda: told(store).acknowledged == last_batch(store), "the whole night to be sent")
            assert exported(server, "reading_value") == expected(night(), "value")


def test_a_store_that_is_not_there_yet_is_waited_for(tmp_path: Path):
    with at_work(forwarder(tmp_path / "readings.db", free_port())) as sender:
        wait_until(lambda: "collect has not started" in sender.state, "the reason in the state")


@given(
    st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"], exclude_characters="/+#"), min_size=1)
)
def test_names_are_escaped_as_the_client_library_does(name: str):
    """Against influxdb-client's own Point."""
    line = Point("reading").tag("site", name).field("value", 1.5).to_line_protocol()
    assert line == f"reading,site={escaped(name)} value=1.5"


def test_a_reading_becomes_one_line_of_floats():
    reading = Reading("S1", Quantity.TEMPERATURE, 12.0, EVENING, EVENING + 40, Quality.STUCK | Quality.LATE)
    assert reading_line("a shed", reading, 7, revised_by=9) == (
        r"reading,site=a\ shed,probe=S1,quantity=temperature,rev=9 "
        "value=12.0,quality=132.0,seq=7.0,lag=40.0 1795604832000"
    )
