"""What every answer carries and what every request must show, before any page sees it.

Headers, Host allow-list against DNS rebinding, and no change without a same-origin JSON POST: OWASP ASVS
5.0.0 (3.4.1 to 3.4.6, 3.5.1 to 3.5.3).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MAX_BODY = 64 * 1024
MAX_PICTURE = 8 * 1024 * 1024
PICTURES = frozenset({"image/jpeg", "image/png", "image/webp"})
"""What a photo may be sent as, and nowhere but where photos are taken in."""
PLOTLY_STYLES = (
    "sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=",
    "sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o=",
)
"""Hashes of the two style elements that Plotly 7.1.0 puts into a page: an empty one, and its map's."""

CSP = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self' " + " ".join(f"'{item}'" for item in PLOTLY_STYLES),
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)
HEADERS = {
    "Content-Security-Policy": CSP,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
READING = frozenset({"GET", "HEAD"})


def problem(status: int, what: str, do: str) -> JSONResponse:
    """The one shape of every error: what happened, and what to do."""
    return JSONResponse({"error": {"what": _sentence(what), "do": _sentence(do)}}, status_code=status)


def _sentence(text: str) -> str:
    """With a capital and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


class Guard:
    """ASGI middleware. `hosts`: names that a Host header may carry, with our port, or as "name:port"."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str], port: int) -> None:
        self._app = app
        self._hosts = frozenset(_allowed(hosts, port))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-cache")
            await send(message)

        refusal = self._refusal(scope["method"], Headers(scope=scope), _for_pictures(scope))
        if refusal is None and scope["method"] not in READING:
            most = MAX_PICTURE if _for_pictures(scope) else MAX_BODY
            body = await _read(receive, most)
            if body is None:
                refusal = problem(413, "The body is too large.", f"Send at most {most // 1024} KiB.")
            else:
                receive = _replay(body, receive)
        await (refusal or self._app)(scope, receive, send_guarded)

    def _refusal(self, method: str, headers: Headers, pictures: bool) -> JSONResponse | None:
        host = headers.get("host", "").lower()
        if not host or len(headers.getlist("host")) > 1:
            return problem(400, "The request names no host, or several.", "Open the page by its address.")
        if host not in self._hosts:
            return problem(
                421,
                "This computer does not answer under that name.",
                "Open it by an address it knows, or start serve with that name allowed.",
            )
        if method in READING:
            return None
        if method != "POST":
            return problem(405, f"{method} is not used here.", "Use GET to read and POST to log.")
        return _cross_site(headers, host) or (_not_a_picture(headers) if pictures else _not_json(headers))


def _cross_site(headers: Headers, host: str) -> JSONResponse | None:
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    same = urlsplit(origin).netloc.lower() == host if origin is not None else site == "same-origin"
    if same and site in (None, "same-origin"):
        return None
    return problem(403, "Only this shop's own pages may log something.", "Tap the button on the page itself.")


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


def _for_pictures(scope: Scope) -> bool:
    return re.fullmatch(r"/api/panels/[^/]+/photos/[^/]+", scope["path"]) is not None


def _not_a_picture(headers: Headers) -> JSONResponse | None:
    if _kind(headers) in PICTURES:
        return None
    return problem(415, "That is no picture that can be kept.", "Send a JPEG, PNG or WebP picture.")


def _kind(headers: Headers) -> str:
    return headers.get("content-type", "").partition(";")[0].strip().lower()


def _not_json(headers: Headers) -> JSONResponse | None:
    if _kind(headers) == "application/json":
        return None
    return problem(415, "The body is not marked as JSON.", "Send Content-Type: application/json.")


def _allowed(hosts: Iterable[str], port: int) -> Iterable[str]:
    for host in hosts:
        name = host.lower()
        yield name
        if ":" not in name or name.endswith("]"):
            yield f"{name}:{port}"
