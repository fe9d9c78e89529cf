"""Who asks for much and takes nothing of it: costs little memory, and not for ever. Against the running server."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import ClassVar

import pytest

from dashboard.door.wire import PIECE, Wire
from dashboard.static_files import PLOTLY, StaticFiles
from tests.browser.serving import DEADLINE_S, Served, free_port, until
from tests.door.house import House, open_house
from tests.door.test_attacks import asked

LARGE = f"/static/{StaticFiles().plotly}/{PLOTLY}"
"""Millions of bytes, for whoever asks: no page works without it, the one to sign in neither."""


class Seen(Wire):
    """Is known to these tests while it lasts."""

    all: ClassVar[list[Wire]] = []

    def connection_made(self, transport) -> None:  # type: ignore[no-untyped-def]
        super().connection_made(transport)
        self.all.append(self)

    def connection_lost(self, exc: Exception | None) -> None:
        super().connection_lost(exc)
        self.all.remove(self)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    opened = open_house(tmp_path, port=free_port())
    served = Served(opened.shop.app, opened.shop.port, http=Seen)
    yield opened
    served.stop()
    opened.close()


def who_takes_nothing(house: House) -> socket.socket:
    one = socket.socket()
    one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    one.settimeout(DEADLINE_S)
    one.connect(("127.0.0.1", house.shop.port))
    one.sendall(f"GET {LARGE} HTTP/1.1\r\nHost: 127.0.0.1:{house.shop.port}\r\n\r\n".encode())
    return one


def test_what_nobody_takes_does_not_wait_in_memory(house: House) -> None:
    with ExitStack() as held:
        for _ in range(4):
            held.enter_context(who_takes_nothing(house))
        until(
            lambda: [one.flow.write_paused for one in Seen.all] == [True] * 4,
            "all four wait for their readers",
        )
        assert max(one.transport.get_write_buffer_size() for one in Seen.all) < 4 * PIECE
        status, headers, body = asked(house, "GET", LARGE)
        assert (status, len(body)) == (200, int(headers["content-length"])), "others get all of it"
        assert len(body) > 3_000_000
    until(lambda: not Seen.all, "all are gone")


def test_whoever_takes_nothing_is_gone_after_a_while(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Seen, "stall_s", 0.3)
    with who_takes_nothing(house) as slow:
        until(lambda: bool(Seen.all), "it has come")
        until(lambda: not Seen.all, "and was sent away though it never hung up")
        taken = 0
        try:
            while part := slow.recv(1 << 20):
                taken += len(part)
        except ConnectionResetError:
            pass
    assert taken < 4_000_000
