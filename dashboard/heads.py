"""HEAD for whatever answers GET: the same headers and no content (RFC 9110, 9.3.2)."""

from __future__ import annotations

import anyio
from anyio.lowlevel import checkpoint
from starlette.types import ASGIApp, Message, Receive, Scope, Send


class Heads:
    """ASGI middleware next to the routes, which take it for a GET; whoever stands before it sees which it was.

    Once the headers are out the answer is given up: a stream is never begun, a file never read.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self._app(scope, receive, send)
            return
        with anyio.CancelScope() as answering:

            async def send_head(message: Message) -> None:
                if message["type"] == "http.response.start":
                    await send(message)
                    await send({"type": "http.response.body", "body": b""})
                    answering.cancel()
                await checkpoint()

            await self._app({**scope, "method": "GET"}, receive, send_head)
