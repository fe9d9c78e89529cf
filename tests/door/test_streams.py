"""A stream of changes is for whoever may come in, and for no longer than that."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from dashboard.changes import MOST
from tests.browser.serving import DEADLINE_S, Served, free_port, until
from tests.door.house import BOSS, House, open_house
from tests.door.test_attacks import asked


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    opened = open_house(tmp_path, port=free_port())
    served = Served(opened.shop.app, opened.shop.port)
    yield opened
    served.stop()
    opened.close()


def listening(house: House, head: str) -> socket.socket:
    """A stream that has brought its first event."""
    asked = socket.create_connection(("127.0.0.1", house.shop.port), DEADLINE_S)
    asked.sendall(
        f"GET /api/changes HTTP/1.1\r\nHost: 127.0.0.1:{house.shop.port}\r\n{head}\r\n\r\n".encode()
    )
    found = b""
    while b"event: changed" not in found:
        part = asked.recv(4096)
        assert part, found
        found += part
    assert found.startswith(b"HTTP/1.1 200 ")
    return asked


def cookie_of(house: House, name: str) -> str:
    account = house.door.accounts.named(name)
    return "Cookie: coldshed=" + house.door.sessions.begin(account.id, "test")


def ends(stream: socket.socket) -> bool:
    """Reads until the server says that this was all: the last chunk (RFC 9112, 7.1)."""
    stream.settimeout(DEADLINE_S)
    tail, deadline = b"", time.monotonic() + DEADLINE_S
    while time.monotonic() < deadline and (part := stream.recv(4096)):
        tail = (tail + part)[-5:]
        if tail == b"0\r\n\r\n":
            return True
    return False


def sign_out(house: House) -> None:
    found = next(one for one in house.door.sessions.all() if one.name == "Robin")
    house.door.sessions.end(found.id, BOSS, "")


def set_password(house: House) -> None:
    house.door.accounts.set_password(
        house.door.accounts.named("Robin"), "seven planks under rain", "", BOSS, ""
    )


def remove(house: House) -> None:
    house.door.accounts.remove(house.door.accounts.named("Robin"), BOSS, "")


@pytest.mark.parametrize("sent_away", [sign_out, set_password, remove])
def test_a_stream_ends_with_its_session(house: House, sent_away: Callable[[House], None]) -> None:
    with (
        closing(listening(house, cookie_of(house, "Robin"))) as robins,
        closing(listening(house, cookie_of(house, "Kim"))) as kims,
    ):
        sent_away(house)
        assert ends(robins)
        assert b"event: changed" in kims.recv(4096), "who is still in hears on"
        until(lambda: house.shop.app.state.changes.listening == 1, "Robin's is gone")


def test_a_stream_ends_when_its_token_is_taken_back(house: House) -> None:
    made = house.door.tokens.make("wall", ["read"], BOSS, "")
    with closing(listening(house, f"Authorization: Bearer {made}")) as stream:
        house.door.tokens.revoke(house.door.tokens.all()[0].id, BOSS, "")
        assert ends(stream)


def test_a_stream_does_not_keep_its_session_alive(house: House) -> None:
    with closing(listening(house, cookie_of(house, "Robin"))) as stream:
        house.clock.at += 13 * 3_600_000
        house.door.trail.add(BOSS, "", "looked", "all streams are looked at")
        assert ends(stream)


def test_streams_without_end_leave_the_pages_alone(house: House) -> None:
    head = cookie_of(house, "Robin")
    held = [listening(house, head) for _ in range(MOST)]
    try:
        cookie = head.removeprefix("Cookie: ")
        assert asked(house, "GET", "/api/changes", cookie=cookie)[0] == 503
        assert asked(house, "GET", "/api/round", cookie=cookie)[0] == 200
    finally:
        for stream in held:
            stream.close()
    until(lambda: house.shop.app.state.changes.listening == 0, "those that were left are given back")
