"""The connection itself: how long a request's head may take and how large it is, how many connections one client has.

uvicorn alone waits for ever for a head that never ends and for a reader who takes nothing, and answers what it cannot
read in a form of its own.
"""

from __future__ import annotations

import asyncio
import json
import logging
import sys
import time
from http import HTTPStatus
from typing import Any

import h11
import uvicorn
from starlette.types import Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from dashboard.door.delays import Seldom, network
from dashboard.security import HEADERS

log = logging.getLogger("coldshed.door")
HEAD_S = 10.0
"""A head is there within this time, or the connection ends."""
LINGER_S = 5.0
"""What is still sent after a refusal is read away so long, so that the refusal can be read."""
STALL_S = 120.0
"""Whoever takes nothing of an answer for so long is gone."""
TOLD_S = 60.0
"""A line of the log for each status, so often."""
PIECE = 64 * 1024
"""An answer goes out in pieces of so many bytes: of one that nobody takes no more than a few wait in memory."""
HEAD_BYTES = 16 * 1024
PER_CLIENT, ALTOGETHER = 40, 300
"""Connections. A browser opens six to one address; people behind one address of this computer's proxy count as one."""
HERE = ("127.0.0.1", "::1")

SAID = {
    400: ("This is no request that can be read.", "Open the page by its address."),
    408: ("The request came too slowly.", "Send it again where the network is better."),
    431: ("The request's head is too large.", f"Send at most {HEAD_BYTES // 1024} KiB of headers."),
    503: ("Too many connections.", "Close other pages of this shop, then open it again."),
}


class Wire(H11Protocol):
    """uvicorn's own protocol with these limits; times can be set for tests."""

    head_s = HEAD_S
    linger_s = LINGER_S
    stall_s = STALL_S
    refusals = Seldom(TOLD_S, time.monotonic)
    """Of all connections."""
    _timer: asyncio.TimerHandle | None = None
    _stalled: asyncio.TimerHandle | None = None

    def __init__(self, *config: Any, **more: Any) -> None:
        super().__init__(*config, **more)
        self.app = in_pieces(self.app)

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        if self._too_many():
            self._refuse(503)
            return
        self._wait_for_head()

    def data_received(self, data: bytes) -> None:
        if self.transport.is_closing():
            return
        if self.conn.their_state is h11.IDLE and _too_long(self.conn.trailing_data[0] + data):
            self._refuse(431)  # before it is parsed: ten thousand headers take a third of a second
            return
        super().data_received(data)
        if self.conn.their_state is h11.IDLE and self.conn.trailing_data[0]:
            self._wait_for_head()
        elif self.conn.their_state is not h11.IDLE:
            self._stop_waiting()

    def pause_writing(self) -> None:
        super().pause_writing()
        self._wait_for_reader()

    def resume_writing(self) -> None:
        super().resume_writing()
        self._go_on()

    def timeout_keep_alive_handler(self) -> None:
        super().timeout_keep_alive_handler()
        self._wait_for_reader()  # it is closed once the last bytes are taken, if ever

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        self._go_on()
        super().connection_lost(exc)

    def on_response_complete(self) -> None:
        super().on_response_complete()
        if self.conn.their_state is h11.SEND_BODY and not self.transport.is_closing():
            self._stop_waiting()
            self._timer = self.loop.call_later(self.linger_s, self.transport.close)

    def send_400_response(self, msg: str) -> None:
        error = sys.exception() if sys.version_info >= (3, 12) else sys.exc_info()[1]
        self._refuse(431 if getattr(error, "error_status_hint", 400) == 431 else 400)

    def _too_many(self) -> bool:
        if len(self.connections) > ALTOGETHER:
            return True
        here = self.client[0] if self.client else ""
        if here in HERE:
            return False
        mine = [1 for other in self.connections if _client(other) == network(here)]
        return len(mine) > PER_CLIENT

    def _wait_for_head(self) -> None:
        if self._timer is None:
            self._timer = self.loop.call_later(self.head_s, self._head_is_late)

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _wait_for_reader(self) -> None:
        if self._stalled is None:
            self._stalled = self.loop.call_later(self.stall_s, self.transport.abort)

    def _go_on(self) -> None:
        if self._stalled is not None:
            self._stalled.cancel()
            self._stalled = None

    def _head_is_late(self) -> None:
        self._timer = None
        if not self.transport.is_closing() and self.conn.their_state is h11.IDLE:
            self._refuse(408)

    def _refuse(self, status: int) -> None:
        """Answers in our form if an answer may be given now, and ends the connection."""
        if self.refusals.is_due(str(status)):
            log.warning("refused: %d before it was a request · %s", status, (self.client or ("",))[0])
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            what, do = SAID[status]
            body = json.dumps({"error": {"what": what, "do": do}}).encode()
            headers = [("Content-Type", "application/json"), ("Content-Length", str(len(body)))]
            headers += [("Connection", "close"), *HEADERS.items()]
            answer = h11.Response(
                status_code=status, headers=headers, reason=HTTPStatus(status).phrase.encode()
            )
            for event in (answer, h11.Data(data=body), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        self.transport.close()


def in_pieces(app: Any) -> Any:
    """The ASGI application, each body of whose answers goes out in pieces; uvicorn waits between two for the reader."""

    async def asked(scope: Scope, receive: Receive, send: Send) -> None:
        async def send_pieces(message: Message) -> None:
            body, at = message.get("body", b""), 0
            while len(body) - at > PIECE:
                await send({**message, "body": body[at : at + PIECE], "more_body": True})
                at += PIECE
            await send({**message, "body": body[at:]} if at else message)

        await app(scope, receive, send_pieces)

    return asked


def _too_long(begun: bytes) -> bool:
    """Whether a head does not end within what a head may be."""
    if len(begun) <= HEAD_BYTES:
        return False
    head = begun[:HEAD_BYTES]
    return b"\r\n\r\n" not in head and b"\n\n" not in head


def _client(protocol: Any) -> str:
    found = getattr(protocol, "client", None)
    return network(found[0]) if found else ""


def config_for(app: Any, host: str, port: int, **more: Any) -> uvicorn.Config:
    """uvicorn's settings, with the limits of this house."""
    told: dict[str, Any] = {
        "http": Wire, "h11_max_incomplete_event_size": HEAD_BYTES, "ws": "none",
        # Its warnings are a line or two for each request that cannot be read: whoever sends many would fill the log.
        "log_level": "error",
        "timeout_graceful_shutdown": 3, "server_header": False, "proxy_headers": False,
    }  # fmt: skip
    return uvicorn.Config(app, host=host, port=port, **(told | more))
