"""How much a request's body may be, how long it may take to come, and how deep its JSON may go."""

from __future__ import annotations

import asyncio
import re

from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.security import READING, for_pictures, problem

MAX_BODY = 64 * 1024
MAX_PICTURE = 8 * 1024 * 1024
BODY_S = 10.0
PICTURE_S = 60.0
DEEPEST = 16
_STRINGS = re.compile(rb'"(?:[^"\\]|\\.)*"?', re.DOTALL)
_BRACKETS = re.compile(rb"[\[{]|[\]}]")


class Limits:
    """ASGI middleware. 413 for too much, 408 for too slow, 400 for nested too deeply; nothing behind it reads then."""

    def __init__(self, app: ASGIApp, body_s: float = BODY_S, picture_s: float = PICTURE_S) -> None:
        self._app = app
        self._body_s, self._picture_s = body_s, picture_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] in READING:
            await self._app(scope, receive, send)
            return
        picture = for_pictures(scope)
        most, seconds = (MAX_PICTURE, self._picture_s) if picture else (MAX_BODY, self._body_s)
        refusal: JSONResponse | None = None
        messages: list[Message] | None = []
        try:
            async with asyncio.timeout(seconds):
                messages = await _read(receive, most)
        except TimeoutError:
            refusal = problem(408, "The body came too slowly.", "Send it again where the network is better.")
            refusal.headers["Connection"] = "close"
        if messages is None:
            refusal = problem(413, "The body is too large.", f"Send at most {most // 1024} KiB.")
        elif not picture and too_deep(b"".join(item.get("body", b"") for item in messages)):
            refusal = problem(400, "The body is nested too deeply.", f"Send at most {DEEPEST} levels.")
        if refusal is not None:
            await refusal(scope, receive, send)
        else:
            await self._app(scope, _replay(messages or [], receive), send)


def too_deep(body: bytes) -> bool:
    """Whether JSON in it goes deeper than DEEPEST, told without parsing: what is in strings does not count."""
    depth = 0
    for found in _BRACKETS.finditer(_STRINGS.sub(b"", body)):
        depth += 1 if found.group() in b"[{" else -1
        if depth > DEEPEST:
            return True
    return False


def _replay(messages: list[Message], receive: Receive) -> Receive:
    """Gives the messages that were read already once more, then goes on with the connection's own."""
    waiting = iter(messages)

    async def again() -> Message:
        found = next(waiting, None)
        return found if found is not None else await receive()

    return again


async def _read(receive: Receive, most: int) -> list[Message] | None:
    """The whole body's messages; None if it is larger than `most` bytes, whatever its header said."""
    messages, size, more = [], 0, True
    while more:
        message = await receive()
        size += len(message.get("body", b""))
        if size > most:
            return None
        messages.append(message)
        more = message["type"] == "http.request" and message.get("more_body", False)
    return messages
