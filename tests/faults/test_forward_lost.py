"""A time-series server that forgets what it has acknowledged, or never had it: it is found out, and sent again."""

from __future__ import annotations

import http.client
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from collector.forward.forwarder import Forwarder
from collector.forward.link import ServerError
from collector.reading import Quantity, Reading
from tests.collector.forward.stage import (
    EVENING,
    NOW,
    SITE,
    TAKEN,
    Answer,
    Ticking,
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
from tests.services import Server, influxdb, running, victoria_metrics

pytestmark = pytest.mark.usefixtures("unhurried")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return filled(tmp_path, night())


def test_b51_what_was_written_before_a_500_is_not_there_twice(store: Path, tmp_path: Path):
    """A proxy before a real server: the first answers are lost on the way back."""
    with running(influxdb(tmp_path / "server")) as behind, stub() as server:

        def answer(path: str, lines: list[str]) -> Answer:
            status = passed_on(behind, path, lines)
            assert status == 204
            return TAKEN if len(server.writes) > 3 else (500, {}, "timed out")

        server.answer = answer
        sender = forwarder(store, server.port, server="influxdb-1")
        for _ in range(3):
            with pytest.raises(ServerError, match="500"):
                sender.send_some()
        assert sender.send_some() == len(night())
        sender.close()
        assert selected(behind, "reading", "value") == expected(night(), "value")


def passed_on(server: Server, path: str, lines: list[str]) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    try:
        connection.request("POST", path, "\n".join(lines).encode())
        return connection.getresponse().status
    finally:
        connection.close()


def minutes_pass(sender: Forwarder, seconds: Ticking, minutes: int) -> None:
    """The forwarder turns twice a minute, as its heartbeat does."""
    for _ in range(2 * minutes):
        seconds.at += 30.0
        sender.send_some()


def test_b51_a_server_that_acknowledges_and_drops_is_found_out(store: Path):
    """Asked within a minute; sent again once; then it is told, new readings go on, and it is tried again."""
    seconds = Ticking()
    with stub() as server:
        server.count = lambda: 950
        sender = forwarder(store, server.port, monotonic=seconds, server="influxdb")
        sender.send_some()
        assert server.questions == []
        minutes_pass(sender, seconds, 1)
        assert len(server.questions) == 1
        question = parse_qs(urlsplit(server.questions[0]).query)["q"][0]
        assert f"seq > 0 AND seq <= {last_batch(store)}" in question
        assert sum(line.startswith("reading,") for line in server.taken) == 2 * len(night()), (
            "all of it once more"
        )
        assert sender.state == "connected"
        minutes_pass(sender, seconds, 1)
        assert "took 960 readings from 2026-11-25 11:07 UTC to 2026-11-25 19:06 UTC twice" in sender.state
        assert "has 950 of them" in told(store).trouble
        server.count = lambda: 1
        commit(store, [Reading("S1", Quantity.TEMPERATURE, 5.0, NOW, NOW)])
        assert sender.send_some() == 1, "what is new goes on"
        server.count = lambda: 960
        minutes_pass(sender, seconds, 13)
        assert sender.state == "connected"
        assert told(store).not_held == []
        assert told(store).trouble == ""
        sender.close()


def test_b51_a_commit_that_was_dropped_is_sent_again(store: Path):
    """The readings are all there, but who reads them there could not know it."""
    seconds = Ticking()
    with stub() as server:
        server.count = lambda: 960
        sender = forwarder(store, server.port, monotonic=seconds, server="influxdb")
        sender.send_some()
        server.taken[:] = [line for line in server.taken if not line.startswith("commit,")]
        minutes_pass(sender, seconds, 1)
        assert len([line for line in server.taken if line.startswith("commit,")]) == 1
        minutes_pass(sender, seconds, 2)
        assert sender.state == "connected"
        assert len([line for line in server.taken if line.startswith("commit,")]) == 1
        sender.close()


def test_b51_a_server_that_cannot_be_asked_is_believed_and_that_is_said_once(
    store: Path, caplog: pytest.LogCaptureFixture
):
    """A token that may write and not read."""
    seconds = Ticking()
    with stub() as server:
        sender = forwarder(store, server.port, monotonic=seconds)
        sender.send_some()
        minutes_pass(sender, seconds, 3)
        assert sender.state == "connected"
        sender.close()
        again = forwarder(store, server.port, monotonic=seconds)
        assert again.send_some() == 0, "it was safe"
        again.close()
    assert len([record for record in caplog.records if "does not say whether" in record.message]) == 1


def test_b51_a_server_that_closes_politely_each_time_is_not_taken_for_one_started_anew(store: Path):
    with stub(keep_alive=False) as server:
        sender = forwarder(store, server.port)
        assert sender.send_some() == len(night())
        assert sender.send_some() == 0
        sender.close()
        assert len(server.taken) == len(set(server.taken))


def test_b51_another_kind_of_value_stored_there_before_is_told_and_nothing_is_passed_over(
    store: Path, tmp_path: Path
):
    """InfluxDB fixes a field's type by its first value; it is cleared away, and all arrives."""
    with running(influxdb(tmp_path / "server")) as server:
        assert (
            passed_on(server, "/write?db=coldshed&precision=ms", [f'reading value="warm" {EVENING}']) == 204
        )
        sender = forwarder(store, server.port, server="influxdb-1")
        with pytest.raises(ServerError, match="field type conflict"):
            sender.send_some()
        assert told(store).acknowledged == told(store).kept == 0
        asked(server, "DROP MEASUREMENT reading")
        assert sender.send_some() == len(night())
        sender.close()
        assert selected(server, "reading", "value") == expected(night(), "value")


def asked(server: Server, question: str) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    try:
        connection.request("POST", "/query?db=coldshed", f"q={question}".replace(" ", "+"), FORM)
        assert b"error" not in connection.getresponse().read()
    finally:
        connection.close()


FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def test_b51_what_is_older_than_the_server_keeps_is_passed_over_and_the_commit_counts_the_rest(
    tmp_path: Path,
):
    """InfluxDB with a day of retention answers 400 and says how many it dropped."""
    old = [
        Reading("S1", Quantity.TEMPERATURE, 5.0, 1_000_000_000_000 + at, 1_000_000_000_000 + at)
        for at in range(7)
    ]
    store = filled(tmp_path, old)
    with running(influxdb(tmp_path / "server")) as server:
        asked(server, "ALTER RETENTION POLICY autogen ON coldshed DURATION 52w")
        sender = forwarder(store, server.port, server="influxdb-1")
        assert sender.send_some() == 7
        sender.close()
        assert selected(server, "commit", "n") == {(SITE, "", "", ""): [(NOW, 0.0)]}
    assert (told(store).acknowledged, told(store).kept, told(store).too_old) == (1, 0, 7)


@pytest.mark.parametrize("while_away", [0, 100])
def test_b51_a_server_killed_after_its_acknowledgement_gets_again_what_it_lost(
    tmp_path: Path, while_away: int
):
    """VictoriaMetrics keeps on disk what it acknowledged more than some seconds ago; killed at once, it has nothing."""
    store, seconds = filled(tmp_path, night()), Ticking()
    with running(victoria_metrics(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, monotonic=seconds)
        assert sender.send_some() == len(night())
        server.kill()
        server.start()
        assert exported(server, "reading_value") == {}, "else nothing is shown here"
        late = night(480 + while_away)[len(night()) :]
        if late:
            commit(store, late)
        seconds.at += 30.0
        for _ in range(2):
            sender.send_some()
        sender.close()
        assert exported(server, "reading_value") == expected(night() + late, "value")
        assert exported(server, "commit_seq")[SITE, "", "", ""][-1][1] == float(last_batch(store))
