"""What every answer carries and what every request must show, before any page sees it.

Headers, Host allow-list against DNS rebinding, and no change without a same-origin JSON POST: OWASP ASVS
5.0.0 (3.4.1 to 3.4.6, 3.5.1 to 3.5.3).
"""

from __future__ import annotations

import ipaddress
import re
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from urllib.parse import parse_qsl

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.refusals import TOLD, Refusals

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


TLS_S = 31_536_000
MOST_HEADERS, MOST_HEADER_BYTES = 100, 16 * 1024
SEVERAL = frozenset({"panel", "cloth_gm2", "cloth_ozyd2", "plies", "weave"})
"""What an address may tell more than once. Of anything else two readers could each take another one."""


def problem(status: int, what: str, do: str, beside: Mapping[str, str] | None = None) -> JSONResponse:
    """The one shape of every error: what happened, and what to do. `beside`: what a program may go by."""
    error = {"error": {"what": _sentence(what), "do": _sentence(do)}}
    return JSONResponse({**error, **(beside or {})}, status_code=status)


def not_used(method: str, used: Sequence[str]) -> JSONResponse:
    """405, with what may be asked instead (RFC 9110, 15.5.6)."""
    answer = problem(405, f"{method} is not used here.", "Use GET to read and POST to log.")
    answer.headers["Allow"] = ", ".join(used)
    return answer


def reads_and_logs(path: str) -> Sequence[str]:
    """What may be asked of any path, as far as is known."""
    return "GET", "HEAD", "POST"


def _sentence(text: str) -> str:
    """With a capital and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def outside(answer: Response) -> Response:
    """With the headers of every answer, for one that is made outside of the guard: where all else has failed."""
    answer.headers.update({**HEADERS, "Cache-Control": "no-store"})
    return answer


class Guard:
    """ASGI middleware. `hosts`: names that a Host header may carry, with our port, or as "name:port".

    numbers   any IP address may stand there, too: a foreign page can be led here by a name only
    tls       the name under which a proxy answers by TLS: browsers are told to keep to that
    methods   what may be asked of a path; empty if it is not known
    """

    def __init__(
        self,
        app: ASGIApp,
        hosts: Iterable[str],
        port: int,
        numbers: bool = False,
        tls: str | None = None,
        methods: Callable[[str], Sequence[str]] = reads_and_logs,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app = app
        self._hosts = frozenset(_allowed(hosts, port))
        self._port = port
        self._numbers = numbers
        self._tls = tls and tls.lower()
        self._methods = methods
        self._refusals = Refusals(steady)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        refusal = self._refusal(scope)

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                # What an account may not do is told by the door, each time.
                if message["status"] in TOLD and (refusal is not None or message["status"] != 403):
                    self._refusals.tell(message["status"], scope)
                headers = MutableHeaders(scope=message)
                headers.update(HEADERS)
                headers.setdefault("Cache-Control", "private, no-cache")
                if self._tls and Headers(scope=scope).get("host", "").lower() == self._tls:
                    headers["Strict-Transport-Security"] = f"max-age={TLS_S}"
            await send(message)

        await (refusal or self._app)(scope, receive, send_guarded)

    def _refusal(self, scope: Scope) -> JSONResponse | None:
        method, headers = scope["method"], Headers(scope=scope)
        if len(headers) > MOST_HEADERS or sum(len(a) + len(b) for a, b in headers.raw) > MOST_HEADER_BYTES:
            return problem(431, "The request has too many headers.", f"Send at most {MOST_HEADERS}.")
        host = headers.get("host", "").lower()
        if not host or len(headers.getlist("host")) > 1:
            return problem(400, "The request names no host, or several.", "Open the page by its address.")
        if host not in self._hosts and not (self._numbers and _is_number(host, self._port)):
            return problem(
                421,
                "This computer does not answer under that name.",
                "Open it by an address it knows, or start serve with that name allowed.",
            )
        twice = _told_twice(scope["query_string"])
        if twice:
            return problem(400, f"The address tells {twice!r} twice.", "Tell it once.")
        used = self._methods(scope["path"]) or reads_and_logs(scope["path"])
        if method not in used:
            return not_used(method, used)
        if method in READING:
            return _embedded_elsewhere(headers)
        # What carries its own token was not sent by a browser on somebody else's behalf.
        foreign = None if "authorization" in headers else _cross_site(headers, host)
        return foreign or (_not_a_picture(headers) if for_pictures(scope) else _not_json(headers))


def _told_twice(query: bytes) -> str | None:
    told = set[str]()
    for name, _ in parse_qsl(query.decode("latin-1"), keep_blank_values=True):
        if name in told and name not in SEVERAL:
            return name[:40]
        told.add(name)
    return None


def _cross_site(headers: Headers, host: str) -> JSONResponse | None:
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    own = (f"http://{host}", f"https://{host}")
    same = origin.lower() in own if origin is not None else site == "same-origin"
    if same and site in (None, "same-origin"):
        return None
    return problem(403, "Only this shop's own pages may log something.", "Tap the button on the page itself.")


def _embedded_elsewhere(headers: Headers) -> JSONResponse | None:
    """What a page of another site would put into itself: a browser shows it nothing, but we would have worked for it.

    W3C Fetch Metadata Request Headers, 2.1 and 2.3. A link that leads here navigates, and is followed.
    """
    if headers.get("sec-fetch-site") == "cross-site" and headers.get("sec-fetch-mode") != "navigate":
        return problem(403, "Another site asks for it.", "Open the page itself.")
    return None


def for_pictures(scope: Scope) -> bool:
    """Whether this is where a photo is taken in."""
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


def _is_number(host: str, port: int) -> bool:
    """ "192.168.1.20:8137" or "[fd00::2]:8137"."""
    name, _, told = host.rpartition(":")
    try:
        ipaddress.ip_address(name.removeprefix("[").removesuffix("]"))
    except ValueError:
        return False
    return told == str(port)


def _allowed(hosts: Iterable[str], port: int) -> Iterable[str]:
    for host in hosts:
        name = host.lower()
        yield name
        if ":" not in name or name.endswith("]"):
            yield f"{name}:{port}"
