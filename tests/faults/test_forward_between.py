"""What stands between us and a time-series server: a page to sign in, a proxy's own page, a way to somewhere else."""

from __future__ import annotations

import gzip
import http.server
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from collector.forward.link import ServerError
from collector.store.time_series.asking import Asking, Unanswered
from collector.store.time_series.influxql import InfluxQL
from tests.collector.forward.stage import TAKEN, all_lines, filled, forwarder, night, stub, told

pytestmark = pytest.mark.usefixtures("unhurried")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return filled(tmp_path, night(24))


PAGE = "<!DOCTYPE html><title>Sign in</title>"


@pytest.mark.parametrize("status", [200, 201, 202])
def test_b51_a_page_to_sign_in_is_no_acknowledgement(store: Path, status: int):
    """As guest networks and proxies answer whatever one asks; nothing of what they took is anywhere."""
    with stub(lambda path, lines: (status, {"Content-Type": "text/html"}, PAGE)) as server:
        sender = forwarder(store, server.port)
        with pytest.raises(ServerError, match=f"answers {status}, not 204: a proxy or a page to sign in"):
            sender.send_some()
        assert told(store).acknowledged == 0
        server.answer = lambda path, lines: TAKEN
        assert sum(iter(sender.send_some, 0)) == len(night(24))
        sender.close()
        assert server.readings() == all_lines(night(24))


@contextmanager
def speaking(status: int, headers: dict[str, str], body: bytes) -> Iterator[tuple[int, list[str]]]:
    """Answers everything with these bytes; yields its port and the tokens that it was shown."""
    tokens: list[str] = []

    class Handler(http.server.BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            self.rfile.read(int(self.headers.get("Content-Length", 0)))
            tokens.append(self.headers.get("Authorization", ""))
            self.send_response(status)
            told = headers if "Transfer-Encoding" in headers else {"Content-Length": str(len(body))} | headers
            for name, value in told.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)
            self.close_connection = True

        do_GET = do_POST

        def log_message(self, format: str, *args: object) -> None:
            """Nothing on the test's own output."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.01,))
        thread.start()
        try:
            yield server.server_port, tokens
        finally:
            server.shutdown()
            thread.join(10)


@pytest.mark.parametrize("status", [200, 502])
def test_b51_a_page_that_is_no_text_is_told_and_sending_begins_behind_what_is_safe(store: Path, status: int):
    """An umlaut in Latin-1, as old proxies have it."""
    with stub() as server:
        sender = forwarder(store, server.port)
        sender.send_some()
        sender.close()
    with speaking(status, {}, "<title>Störung</title>".encode("latin-1")) as (port, _):
        sender = forwarder(store, port)
        with pytest.raises(ServerError, match=r"answers what makes no sense .*: a proxy or a page") as found:
            sender.send_some()
        sender.close()
    assert not found.value.alive


@pytest.mark.parametrize("location", ["http://[", None])
def test_b51_a_way_that_leads_nowhere_ends_nothing(store: Path, location: str | None):
    with speaking(307, {"Location": location} if location else {}, b"") as (port, _):
        with pytest.raises(Unanswered, match="it points to elsewhere"):
            Asking(f"http://127.0.0.1:{port}").get("/query", {})
        sender = forwarder(store, port)
        with pytest.raises(ServerError, match=r"it points to elsewhere|makes no sense"):
            sender.send_some()
        sender.close()


@pytest.mark.parametrize("status", [301, 302, 307, 308])
def test_b51_a_way_to_somewhere_else_is_told_and_the_token_never_goes_there(
    store: Path, tmp_path: Path, status: int
):
    """By the one who sends and the one who reads."""
    token = tmp_path / "token"
    token.write_text("secret")
    with speaking(204, {}, b"") as (elsewhere, shown):
        away = f"http://localhost:{elsewhere}/x"
        with speaking(status, {"Location": away}, b"moved") as (port, tokens):
            sender = forwarder(store, port, token_file=str(token))
            with pytest.raises(
                ServerError, match=f"answers {status}: it points to {away}, and nothing is sent"
            ):
                sender.send_some()
            sender.close()
            asking = Asking(f"http://127.0.0.1:{port}", "Bearer", token)
            with pytest.raises(
                Unanswered, match=f"answers {status} .*: it points to {away}, and nothing is asked"
            ):
                asking.get("/api/v1/export", {})
    assert tokens == ["Bearer secret"] * 2
    assert shown == []
    assert told(store).acknowledged == 0


WHOLE = b'{"results": []}'


@pytest.mark.parametrize(
    ("headers", "body"),
    [
        ({"Content-Length": str(len(WHOLE) + 1)}, WHOLE),
        ({"Transfer-Encoding": "chunked"}, b"f\r\n" + WHOLE + b"\r\n"),
        ({"Transfer-Encoding": "chunked"}, b"ff\r\n" + WHOLE),
        ({"Content-Encoding": "gzip"}, WHOLE),
    ],
    ids=["cut short", "no last chunk", "a cut chunk", "no gzip"],
)
def test_b51_an_answer_that_ends_too_early_is_none(headers: dict[str, str], body: bytes):
    """RFC 9112, 8: an incomplete message."""
    whole = {"Content-Length": str(len(gzip.compress(WHOLE))), "Content-Encoding": "gzip"}
    with speaking(200, whole, gzip.compress(WHOLE)) as (port, _):
        assert InfluxQL(Asking(f"http://127.0.0.1:{port}"), "x").rows("reading", {}, (), 0, 1) == []
    with speaking(200, headers, body) as (port, _), pytest.raises(Unanswered):
        InfluxQL(Asking(f"http://127.0.0.1:{port}"), "x").rows("reading", {}, (), 0, 1)
