"""Bodies that come too slowly, or are not what they seem, on every route that takes one, against the running server."""

from __future__ import annotations

import gzip
import re
import selectors
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.types import ASGIApp

from dashboard.door.least import TABLE
from dashboard.door.limits import BODY_S, PICTURE_S, Limits
from dashboard.security import for_pictures
from tests.browser.serving import DEADLINE_S, Served, free_port
from tests.door.house import House, open_house
from tests.door.test_attacks import asked, in_our_form

ROUTES = [key.split(" ")[1] for key in TABLE if key.startswith("POST ")]


class Hasty(Limits):
    """Waits less long; nothing else depends on how long."""

    def __init__(self, app: ASGIApp) -> None:
        super().__init__(app, body_s=0.5, picture_s=0.5)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("dashboard.app.Limits", Hasty)
        opened = open_house(Path(tmp_path_factory.mktemp("slow")), port=free_port())
    served = Served(opened.shop.app, opened.shop.port)
    yield opened
    served.stop()
    opened.close()


@pytest.fixture(scope="module")
def cookie(house: House) -> str:
    return "coldshed=" + house.door.sessions.begin(house.door.accounts.named("Kim").id, "test")


def head(house: House, path: str, cookie: str, more: str) -> bytes:
    own = f"127.0.0.1:{house.shop.port}"
    kind = "image/png" if for_pictures({"path": path}) else "application/json"
    lines = [f"POST {path} HTTP/1.1", f"Host: {own}", f"Origin: http://{own}", f"Cookie: {cookie}"]
    return "\r\n".join([*lines, f"Content-Type: {kind}", more, "", ""]).encode()


def trickled(house: House, sent: dict[str, bytes], drop: bytes) -> dict[str, bytes]:
    """What each route answers to a body of which a drop comes now and then, until the server ends the connection."""
    answers = dict.fromkeys(sent, b"")
    with selectors.DefaultSelector() as waiting:
        for path, begun in sent.items():
            one = socket.create_connection(("127.0.0.1", house.shop.port), DEADLINE_S)
            one.sendall(begun)
            waiting.register(one, selectors.EVENT_READ, path)
        while waiting.get_map():
            ready = waiting.select(0.1)
            for key, _ in ready:
                part = _read(key.fileobj)
                answers[key.data] += part
                if not part:
                    waiting.unregister(key.fileobj)
                    key.fileobj.close()  # type: ignore[union-attr]
            for key in list(waiting.get_map().values()) if not ready else ():
                if not answers[key.data]:
                    key.fileobj.send(drop)  # type: ignore[union-attr]
    return answers


def _read(one: object) -> bytes:
    assert isinstance(one, socket.socket)
    try:
        return one.recv(65536)
    except ConnectionResetError:  # it was cut while a drop was under way
        return b""


@pytest.mark.parametrize(
    ("length", "drop"), [("Content-Length: 5000", b" "), ("Transfer-Encoding: chunked", b"1\r\n \r\n")]
)
def test_a_body_that_trickles_is_cut_off_on_every_route(
    house: House, cookie: str, length: str, drop: bytes
) -> None:
    paths = [re.sub(r"\{\w+\}", "x", path) for path in ROUTES]
    assert len(paths) > 25
    visitor = house.door.sessions.visitor(cookie.partition("=")[2])
    house.door.sign(visitor.session, "Kim")  # else the one that is signed is refused before its body
    answers = trickled(house, {path: head(house, path, cookie, length) for path in paths}, drop)
    told = {path: answer.split(b" ", 2)[1] for path, answer in answers.items()}
    assert set(told.values()) == {b"408"}, told
    assert all(in_our_form(answer.partition(b"\r\n\r\n")[2]) for answer in answers.values())
    assert asked(house, "GET", "/api/round", cookie=cookie)[0] == 200


def test_in_earnest_a_body_has_seconds_and_a_picture_a_minute() -> None:
    """Common practice, no source."""
    assert BODY_S <= 15
    assert PICTURE_S <= 60


def test_a_packed_body_is_not_unpacked(house: House, cookie: str) -> None:
    """A zip bomb: 50 MB in 50 kB."""
    bomb = gzip.compress(b" " * 50_000_000)
    assert len(bomb) < 64 * 1024
    for coding in ("gzip", "deflate", "br", "gzip, gzip"):
        status, _, body = asked(house, "POST", "/api/events", bomb, cookie=cookie, content_encoding=coding)
        assert (status, in_our_form(body)) == (400, True)


def test_strangers_hold_no_streams(house: House) -> None:
    assert {asked(house, "GET", "/api/changes")[0] for _ in range(70)} == {401}
    assert house.shop.app.state.changes.listening == 0
