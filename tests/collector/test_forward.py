"""The night in a real time-series server equals the store; what the server did not take stays to be sent."""

from __future__ import annotations

import http.server
import json
import socket
import threading
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from influxdb_client import Point

from collector.clock import SteppedClock
from collector.forward import Cursor, Forwarder, ServerError, escaped, reading_line
from collector.reading import Quality, Quantity, Reading
from collector.settings import Forward
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.services import Server, flush, free_port, running, victoria_metrics, wait_until

EVENING = 1_795_604_832_000
SITE = "example shed, north=1"


def night(minutes: int = 480) -> list[Reading]:
    """Two series, a value each minute, invented; one value in fifty is flagged."""
    readings = []
    for minute in range(minutes):
        at = EVENING + 60_000 * minute
        quality = Quality.IMPOSSIBLE_RATE if minute % 50 == 49 else Quality.GOOD
        readings.append(Reading("S1", Quantity.TEMPERATURE, round(18 - minute / 60, 2), at, at + 40, quality))
        readings.append(Reading("A 1", Quantity.RELATIVE_HUMIDITY, round(60 + minute / 40, 1), at, at + 40))
    return readings


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "readings.db"
    writer = Writer.open(path, SteppedClock(EVENING))
    rows = night()
    for start in range(0, len(rows), 24):
        writer.commit(rows[start : start + 24])
    writer.close()
    return path


@pytest.fixture
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy machine we may stand still for longer than a read or a request may take.

    run() tries again then; a test that calls send_some() itself would see the wrong error.
    """
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", 60.0)
    monkeypatch.setattr("collector.forward.TIMEOUT_MS", 60_000)


def forwarder(store: Path, port: int, **more: Any) -> Forwarder:
    server = Forward(url=f"http://127.0.0.1:{port}", bucket="coldshed", **more)
    cursor = Cursor(store.with_name("forward.cursor"))
    return Forwarder(lambda: Reader.open(store), server, SITE, cursor, SteppedClock(EVENING + 28_800_000))


@contextmanager
def at_work(sender: Forwarder) -> Iterator[Forwarder]:
    stop = threading.Event()
    thread = threading.Thread(target=sender.run, args=(stop.is_set,))
    thread.start()
    try:
        yield sender
    finally:
        stop.set()
        thread.join(20)
        assert not thread.is_alive()


def sent(store: Path) -> int:
    return Cursor(store.with_name("forward.cursor")).read()


def last_batch(store: Path) -> int:
    reader = Reader.open(store)
    try:
        return reader.last_batch()
    finally:
        reader.close()


def export(server: Server, name: str) -> dict[tuple[str, ...], list[tuple[int, float]]]:
    """All samples of a series as the server gives them out: by site, probe and quantity, (UTC ms, value) each."""
    flush(server)
    query = urllib.parse.urlencode({"match[]": name, "start": 0, "end": EVENING // 1000 + 86_400})
    series = {}
    with urllib.request.urlopen(
        f"http://127.0.0.1:{server.port}/api/v1/export?{query}", timeout=10
    ) as answer:
        for line in answer:
            row = json.loads(line)
            key = tuple(row["metric"].get(tag, "") for tag in ("site", "probe", "quantity"))
            series[key] = sorted(zip(row["timestamps"], row["values"], strict=True))
    return series


def expected(field: str) -> dict[tuple[str, ...], list[tuple[int, float]]]:
    series: dict[tuple[str, ...], list[tuple[int, float]]] = {}
    for reading in night():
        key = (SITE, reading.probe, reading.quantity.value)
        series.setdefault(key, []).append((reading.at, float(getattr(reading, field))))
    return series


def test_the_night_in_the_server_equals_the_store_also_after_a_repeat(store: Path, tmp_path: Path):
    """Read back from the server's own export."""
    with running(victoria_metrics(tmp_path / "server")) as server:
        for _ in range(2):
            with at_work(forwarder(store, server.port)) as sender:
                wait_until(lambda: sent(store) == last_batch(store), "the whole night to be sent")
                wait_until(lambda: sender.state == "connected", "the state to say so")
            assert export(server, "reading_value") == expected("value")
            assert export(server, "reading_quality") == expected("quality")
            store.with_name("forward.cursor").unlink()


def test_the_commit_row_and_the_heartbeat_say_how_far_the_server_is(store: Path, tmp_path: Path):
    with running(victoria_metrics(tmp_path / "server")) as server:
        with at_work(forwarder(store, server.port)):
            wait_until(lambda: sent(store) == last_batch(store), "the whole night to be sent")
        now = EVENING + 28_800_000
        key = (SITE, "", "")
        assert export(server, "commit_seq") == {key: [(now, float(last_batch(store)))]}
        assert export(server, "commit_t_min") == {key: [(now, float(EVENING))]}
        assert export(server, "commit_t_max") == {key: [(now, float(EVENING + 479 * 60_000))]}
        assert export(server, "heartbeat_seq") == {key: [(now, float(last_batch(store)))]}


@pytest.mark.usefixtures("unhurried")
def test_new_readings_follow_and_only_they_are_sent(store: Path, tmp_path: Path):
    with running(victoria_metrics(tmp_path / "server")) as server:
        sender = forwarder(store, server.port)
        assert sender.send_some() == len(night())
        assert sender.send_some() == 0
        writer = Writer.open(store, SteppedClock(EVENING))
        writer.commit([Reading("S1", Quantity.TEMPERATURE, 4.5, EVENING - 60_000, EVENING)])
        writer.close()
        assert sender.send_some() == 1
        sender.close()
        assert (EVENING - 60_000, 4.5) in export(server, "reading_value")[SITE, "S1", "temperature"]


def test_an_absent_server_costs_time_and_nothing_else(store: Path, tmp_path: Path):
    server = victoria_metrics(tmp_path / "server")
    with at_work(forwarder(store, server.port)) as sender:
        wait_until(lambda: sender.state.startswith("failed: http://127.0.0.1"), "the failure in the state")
        assert sent(store) == 0
        with running(server):
            wait_until(lambda: sent(store) == last_batch(store), "the whole night to be sent")
            assert export(server, "reading_value") == expected("value")


class Answering(http.server.BaseHTTPRequestHandler):
    """Answers every write with the status the server was given, and keeps what it was sent."""

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        self.server.bodies.append((self.path, body))  # type: ignore[attr-defined]
        self.send_response(self.server.status)  # type: ignore[attr-defined]
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *args: object) -> None:
        pass


@contextmanager
def answering(status: int) -> Iterator[Any]:
    with http.server.HTTPServer(("127.0.0.1", 0), Answering) as server:
        server.status = status  # type: ignore[attr-defined]
        server.bodies = []  # type: ignore[attr-defined]
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join(10)


@pytest.mark.usefixtures("unhurried")
@pytest.mark.parametrize("status", [400, 401, 404, 422, 429, 500, 503])
def test_an_error_answer_keeps_the_cursor(store: Path, status: int):
    with answering(status) as server:
        sender = forwarder(store, server.server_address[1])
        with pytest.raises(ServerError, match=str(status)):
            sender.send_some()
        sender.close()
    assert sent(store) == 0


@pytest.mark.usefixtures("unhurried")
def test_the_request_states_milliseconds_and_only_floats(store: Path):
    """The v2 write API: POST /api/v2/write with bucket, org and precision; an integer would end in i."""
    with answering(204) as server:
        sender = forwarder(store, server.server_address[1])
        sender.send_some()
        sender.close()
    path, body = server.bodies[0]
    query = urllib.parse.parse_qs(urllib.parse.urlsplit(path).query)
    assert urllib.parse.urlsplit(path).path == "/api/v2/write"
    assert (query["precision"], query["bucket"]) == (["ms"], ["coldshed"])
    lines = body.splitlines()
    assert len(lines) == len(night()) + 2
    fields = [field for line in lines for field in line.rsplit(" ", 2)[1].split(",")]
    assert all(float(field.split("=")[1]) is not None and not field.endswith("i") for field in fields)


def test_a_server_that_hangs_does_not_keep_us_from_ending(store: Path):
    with socket.create_server(("127.0.0.1", 0)) as deaf, ExitStack() as held:
        with at_work(forwarder(store, deaf.getsockname()[1])):
            held.enter_context(deaf.accept()[0])
        assert sent(store) == 0


def test_a_missing_token_file_is_told(store: Path):
    with at_work(forwarder(store, free_port(), token_file="/nowhere/token")) as sender:
        wait_until(lambda: "/nowhere/token" in sender.state, "the file in the state")


def test_a_store_that_is_not_there_yet_is_waited_for(tmp_path: Path):
    with at_work(forwarder(tmp_path / "readings.db", free_port())) as sender:
        wait_until(lambda: "collect has not started" in sender.state, "the reason in the state")


def test_the_cursor_survives_and_is_replaced_whole(tmp_path: Path):
    path = tmp_path / "forward.cursor"
    assert Cursor(path).read() == 0
    Cursor(path).write(17)
    path.with_name("forward.cursor.new").write_text("half a li")
    assert Cursor(path).read() == 17
    Cursor(path).write(18)
    assert Cursor(path).read() == 18
    assert [entry.name for entry in tmp_path.iterdir()] == ["forward.cursor"]


def test_a_cursor_file_of_something_else_is_not_taken_for_zero(tmp_path: Path):
    path = tmp_path / "forward.cursor"
    path.write_text("nonsense")
    with pytest.raises(ValueError, match="delete it"):
        Cursor(path).read()


@given(
    st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"], exclude_characters="/+#"), min_size=1)
)
def test_names_are_escaped_as_the_client_library_does(name: str):
    """Against influxdb-client's own Point."""
    line = Point("reading").tag("site", name).field("value", 1.5).to_line_protocol()
    assert line == f"reading,site={escaped(name)} value=1.5"


def test_a_reading_becomes_one_line_of_floats():
    reading = Reading("S1", Quantity.TEMPERATURE, 12.0, EVENING, EVENING, Quality.STUCK | Quality.LATE)
    assert reading_line(reading, "a shed") == (
        r"reading,site=a\ shed,probe=S1,quantity=temperature value=12.0,quality=132.0 1795604832000"
    )
