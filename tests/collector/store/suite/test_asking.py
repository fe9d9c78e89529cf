"""What a server answers besides rows: refusals in its own words, errors inside a 200, answers in pieces, nonsense."""

from __future__ import annotations

import base64
import http.server
import json
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from collector.store.time_series.asking import AGAIN_S, Asking, Unanswered
from collector.store.time_series.export_api import ExportApi
from collector.store.time_series.influxql import InfluxQL
from tests.services import free_port


class Stub:
    """Answers every GET with what it is told; keeps what it was asked."""

    def __init__(self) -> None:
        self.status, self.body = 200, b""
        self.asked: list[tuple[str, str | None]] = []
        stub = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                stub.asked.append((self.path, self.headers.get("Authorization")))
                self.send_response(stub.status)
                self.send_header("Content-Length", str(len(stub.body)))
                self.end_headers()
                self.wfile.write(stub.body)

            def log_message(self, format: str, *args: object) -> None:
                """Nothing on the test's own output."""

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}"


@pytest.fixture
def stub() -> Iterator[Stub]:
    one = Stub()
    thread = threading.Thread(target=one.server.serve_forever, args=(0.01,))
    thread.start()
    yield one
    one.server.shutdown()
    one.server.server_close()
    thread.join(10)


def asks(stub: Stub) -> tuple[Callable[[], object], Callable[[], object]]:
    """One question by each engine; neither is put off by an earlier failure."""
    times = iter(range(0, 10_000, 100))
    influx = InfluxQL(Asking(stub.url, monotonic=lambda: float(next(times))), "coldshed")
    export = ExportApi(Asking(stub.url, monotonic=lambda: float(next(times))))
    return (lambda: influx.rows("commit", {"site": ["north"]}, ("seq",), 0, 1)), (
        lambda: export.rows("commit", {"site": ["north"]}, ("seq",), 0, 1)
    )


@pytest.mark.parametrize("status", [400, 401, 403, 404, 429, 500, 503])
def test_a_refusal_is_told_in_the_servers_own_words(stub: Stub, status: int) -> None:
    stub.status, stub.body = status, b"database is shut for the night"
    for ask in asks(stub):
        with pytest.raises(Unanswered, match=rf"answers {status} .*database is shut for the night"):
            ask()


def test_an_error_inside_a_good_answer_and_a_part_of_one_are_no_rows(stub: Stub) -> None:
    influx, _ = asks(stub)
    stub.body = json.dumps({"results": [{"statement_id": 0, "error": "timeout"}]}).encode()
    with pytest.raises(Unanswered, match="refuses a query: timeout"):
        influx()
    series = {"name": "commit", "columns": ["time", "seq"], "values": [[1, 2]]}
    stub.body = json.dumps({"results": [{"series": [series], "partial": True}]}).encode()
    with pytest.raises(Unanswered, match="only a part"):
        influx()


def test_an_answer_in_pieces_is_put_together(stub: Stub) -> None:
    influx, export = asks(stub)
    pieces = [
        {"results": [{"series": [{"name": "commit", "tags": {"site": "north", "rev": ""}, "columns": ["time", "seq"],
                                  "values": [[at, seq]]}], "partial": at < 2}]}
        for at, seq in ((1, 10), (2, None))
    ]  # fmt: skip
    stub.body = b"\n".join(json.dumps(piece).encode() for piece in pieces)
    [rows] = influx()  # type: ignore[misc, attr-defined]
    assert rows.tags == {"site": "north"}
    assert rows.t.tolist() == [1, 2]
    assert rows.whole(("seq",)).t.tolist() == [1]
    lines = [
        {"metric": {"__name__": "commit_seq", "db": "x", "site": "north"}, "values": [v], "timestamps": [at]}
        for at, v in ((1, 10.0), (2, 11.0), (2, 12.0))
    ]
    stub.body = b"\n".join(json.dumps(line).encode() for line in lines)
    [rows] = export()  # type: ignore[misc, attr-defined]
    assert rows.tags == {"site": "north"}
    assert rows.columns["seq"].tolist() == [10.0, 12.0], "of what came twice the last"


@pytest.mark.parametrize(
    "body", [b"<html>sign in</html>", b"[1]", b'{"metric": 1}', b'{"results": 3}', b"\xff\xfe{"]
)
def test_nonsense_is_no_answer(stub: Stub, body: bytes) -> None:
    stub.body = body
    for ask in asks(stub):
        with pytest.raises(Unanswered):
            ask()


def test_a_server_that_is_away_is_left_alone_for_a_while(stub: Stub) -> None:
    now = 100.0
    asking = Asking(stub.url, monotonic=lambda: now)
    stub.status = 503
    for _ in range(5):
        with pytest.raises(Unanswered, match="503"):
            asking.get("/query", {})
    assert len(stub.asked) == 1
    now += AGAIN_S
    stub.status, stub.body = 200, b"here"
    assert asking.get("/query", {}) == b"here"


def test_a_server_that_hangs_is_left_alone_for_twice_as_long_as_it_kept_us_waiting(stub: Stub) -> None:
    times = iter([0.0, 4.0, 11.9, 12.0, 17.0, 26.9, 27.0])
    asking = Asking(stub.url, monotonic=lambda: next(times))
    stub.status = 504
    for asked in (1, 1, 2, 2):
        with pytest.raises(Unanswered, match="504"):
            asking.get("/query", {})
        assert len(stub.asked) == asked
    stub.status = 200
    assert asking.get("/query", {}) == b"", "ten seconds at most"


def test_nothing_listens_there_and_it_says_so() -> None:
    url = f"http://127.0.0.1:{free_port()}"
    with pytest.raises(Unanswered, match=f"{url} does not answer: .*refused") as told:
        Asking(url).get("/query", {})
    assert "object at" not in str(told.value)
    assert "host=" not in str(told.value)


def test_the_token_is_shown_as_each_server_wants_it_and_read_anew(stub: Stub, tmp_path: Path) -> None:
    """RFC 6750, 2.1 (Bearer); RFC 7617, 2 (Basic: user-id and password joined by a colon, in Base64)."""
    token = tmp_path / "token"
    token.write_text("Aladdin:open sesame\n")
    Asking(stub.url, "Basic", token).get("/query", {})
    assert stub.asked[-1][1] == "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="
    bearer = Asking(stub.url, "Bearer", token)
    token.write_text("another\n")
    bearer.get("/query", {})
    assert stub.asked[-1][1] == "Bearer another"
    assert base64.b64decode("QWxhZGRpbjpvcGVuIHNlc2FtZQ==") == b"Aladdin:open sesame"
    token.unlink()
    with pytest.raises(Unanswered, match="token"):
        bearer.get("/query", {})


def test_names_cannot_step_out_of_a_question(stub: Stub) -> None:
    influx = InfluxQL(Asking(stub.url), "coldshed")
    stub.body = b'{"results": []}'
    assert influx.rows("commit", {"site": ["x' OR 'a'='a", "b\\"]}, (), 0, 1) == []
    assert "%27x%5C%27+OR" in stub.asked[-1][0].replace("%20", "+")
