"""HEAD is answered as GET is, without content and without effect: RFC 9110, 9.3.2."""

from __future__ import annotations

import http.client
from collections.abc import AsyncIterator, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import anyio
import pytest
from starlette.responses import StreamingResponse

from dashboard.first_run_app import create_set_up_app
from dashboard.heads import Heads
from tests.browser.serving import DEADLINE_S, Served, free_port, until
from tests.dashboard.client import Client
from tests.door.house import BOSS, House, open_house
from tests.door.test_mechanisms import readable

OF_THE_MOMENT = {"date"}


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    opened = open_house(Path(tmp_path_factory.mktemp("heads")), port=free_port(), heard=True)
    served = Served(opened.shop.app, opened.shop.port)
    yield opened
    served.stop()
    opened.close()


@pytest.fixture
def cookie(house: House) -> str:
    """Of Kim, who may do everything."""
    return "coldshed=" + house.door.sessions.begin(house.door.accounts.named("Kim").id, "test")


class Line:
    """One connection, kept: bytes that should not have come would be taken for the next answer."""

    def __init__(self, connection: http.client.HTTPConnection) -> None:
        self._connection = connection

    def asked(self, method: str, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
        self._connection.request(method, path, headers=headers)
        answer = self._connection.getresponse()
        told = {name.lower(): value for name, value in answer.getheaders()}
        return answer.status, {k: v for k, v in told.items() if k not in OF_THE_MOMENT}, answer.read()


@pytest.fixture
def line(house: House) -> Iterator[Line]:
    with closing(http.client.HTTPConnection("127.0.0.1", house.shop.port, timeout=30)) as connection:
        yield Line(connection)


def test_every_page_and_way_of_the_api_answers_head_with_the_headers_of_get(
    house: House, line: Line, cookie: str
) -> None:
    other = {}
    for path in (*readable(house.caller()), "/static/old/coldshed.css", "/nowhere", "/api/nowhere"):
        house.hand.at += 60.0  # nobody is too fast
        told = line.asked("HEAD", path, cookie=cookie)
        got = line.asked("GET", path, cookie=cookie)
        if told != (*got[:2], b""):
            other[path] = told, got[:2]
    assert other == {}


def test_a_copy_that_is_still_good_is_said_to_be_so(line: Line, cookie: str) -> None:
    tag = line.asked("GET", "/api/round", cookie=cookie)[1]["etag"]
    assert line.asked("HEAD", "/api/round", **{"cookie": cookie, "if-none-match": tag})[0] == 304


def test_who_may_not_read_is_refused_as_for_a_get(house: House, line: Line) -> None:
    for path in ("/", "/api/round", "/door/trail.csv"):
        assert line.asked("HEAD", path)[:2] == line.asked("GET", path)[:2]
    assert line.asked("HEAD", "/api/round")[0] == 401
    taps = house.door.tokens.make("scale", ("taps",), BOSS, "")
    assert line.asked("HEAD", "/api/round", authorization=f"Bearer {taps}")[0] == 403


def test_a_head_has_no_effect(house: House, line: Line, cookie: str) -> None:
    """Nothing is logged, and no line says that something was taken out, as each GET of these has one."""
    exports = ("/door/trail.csv", "/api/events", "/api/panels/lid-4/record.csv")
    before = house.trail(), house.shop.logbook.events()
    for path in exports:
        assert line.asked("HEAD", path, cookie=cookie)[0] == 200
    for path in ("/api/panels/lid-4/decisions", "/door/out", "/api/alarms/quiet"):
        status, headers, _ = line.asked("HEAD", path, cookie=cookie)
        assert (status, headers["allow"]) == (405, "POST")
    assert (house.trail(), house.shop.logbook.events()) == before
    assert line.asked("GET", exports[0], cookie=cookie)[0] == 200
    assert len(house.trail()) == len(before[0]) + 1


def test_the_head_of_a_stream_ends_at_once_and_nobody_listens(house: House, line: Line, cookie: str) -> None:
    status, headers, _ = line.asked("HEAD", "/api/changes", cookie=cookie)
    assert (status, headers["content-type"]) == (200, "text/event-stream; charset=utf-8")
    assert line.asked("GET", "/api/health")[0] == 200, "on the same connection"
    until(lambda: house.shop.app.state.changes.listening == 0, "nobody listens")


def test_what_would_be_told_is_never_made_even_if_nobody_says_that_the_caller_has_gone() -> None:
    made: list[bytes] = []
    said: list[Any] = []

    async def endless() -> AsyncIterator[bytes]:
        while True:
            made.append(b"told")
            yield made[-1]
            await anyio.sleep(0)

    async def receive() -> Any:
        await anyio.sleep_forever()

    async def send(message: Any) -> None:
        said.append(message)

    async def ask() -> None:
        with anyio.fail_after(DEADLINE_S):
            await Heads(StreamingResponse(endless()))({"type": "http", "method": "HEAD"}, receive, send)

    anyio.run(ask)
    assert [message["type"] for message in said] == ["http.response.start", "http.response.body"]
    assert (said[1]["body"], made) == (b"", [])


def test_set_up_answers_head_too() -> None:
    app = create_set_up_app(None, None, 8137, lambda: None)  # type: ignore[arg-type]  # nothing of either is asked
    assert Client(app).send("HEAD", "/static/old/x.css").status_code == 404
