"""One server of the settings: requests through influxdb-client, and what its answers mean for us."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

from collector.forward_table import Forward
from collector.web_address import in_words, way_to, without_login

TIMEOUT_MS = 4000
"""For one request, so that we end within 5 s when asked to, whatever the server does."""
LONGEST_RETRY_AFTER_S = 3600.0
"""A server may ask for more; we look again after this."""
WORDS_KEPT = 300
"""Characters of a server's answer: it may be a whole page."""
WRITTEN = 204
"""What every server of the three kinds says once it has taken lines. Another 2xx is a page to sign in, or a proxy's."""
NO_SERVER = "a proxy or a page to sign in answers in the place of the server"
_TOO_OLD = re.compile(r"retention polic.*?dropped=(\d+)", re.DOTALL)


class ServerError(Exception):
    """The server did not take what we sent; the text says why.

    kind      what it is in a word or two, the same each time it comes again
    alive     the server goes on as it was and wants something else of us. Otherwise what it has acknowledged lately
              may be gone: it is sent again, over a new connection and with the token file read again
    wait_s    how long the server asked us to wait
    """

    def __init__(self, text: str, kind: str, alive: bool = False, wait_s: float = 0.0) -> None:
        super().__init__(text)
        self.kind = kind
        self.alive = alive
        self.wait_s = wait_s

    @property
    def says_nothing(self) -> bool:
        """To a question: the server is there and does not answer it, as with a token that may write and not read."""
        return self.alive or self.kind.isdecimal()


class Refused(ServerError):
    """400 or 422: something is wrong with a line of the request. `too_old`: how many were only older than is kept
    there; the others were taken then. `words`: the server's own."""

    def __init__(self, text: str, words: str) -> None:
        super().__init__(text, "refused", alive=True)
        self.words = words
        found = _TOO_OLD.search(words)
        self.too_old = int(found[1]) if found else None


class TooLarge(ServerError):
    """413: send less at once."""


class Link:
    """Made anew after every failure: so the token file is read again."""

    def __init__(self, settings: Forward, now: Callable[[], int]) -> None:
        """now: UTC ms, for a server that names a date to come again.

        Raises ServerError if the library is missing, OSError or UnicodeDecodeError if the token file cannot
        be read."""
        try:
            from influxdb_client.client.influxdb_client import InfluxDBClient
        except ImportError as error:
            raise ServerError(
                "the influxdb-client library is missing: install coldshed[server]", "library"
            ) from error
        self._settings = settings
        self._url = without_login(settings.url)
        self._now = now
        self._client: Any = InfluxDBClient(
            url=settings.url,
            org=settings.org,
            timeout=TIMEOUT_MS,
            enable_gzip=False,
            ssl_ca_cert=settings.ca_file,
        )
        if settings.token_file is not None:
            shown = _shown(settings.server, Path(settings.token_file).read_text(encoding="utf-8").strip())
            api: Any = self._client.api_client
            api.set_default_header("Authorization", shown)
        self._told_to_close = True
        self._broken = False
        self._count_connections()

    def close(self) -> None:
        self._client.close()

    def write(self, lines: list[str]) -> bool:
        """Returns once the server has acknowledged them. Raises ServerError.

        False if that was over a new connection though nothing had said that the old one would end: the server may have
        been started anew.
        """
        where = {"bucket": self._settings.bucket, "org": self._settings.org, "precision": "ms"}
        path = "/api/v2/write"
        if self._settings.server == "influxdb-1":
            where, path = {"db": self._settings.bucket, "precision": "ms"}, "/write"
        self._call("POST", path, where, "\n".join(lines))
        broken, self._broken = self._broken, False
        return not broken

    def ask(self, path: str, query: dict[str, str]) -> str:
        """What the server answers to a GET. Raises ServerError."""
        return self._call("GET", path, query, None)

    def _call(self, method: str, path: str, query: dict[str, str], body: str | None) -> str:
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError, ReadTimeoutError

        api = self._client.api_client
        try:
            api.call_api(
                path,
                method,
                query_params=list(query.items()),
                header_params={"Content-Type": "text/plain; charset=utf-8", "Accept": "*/*"},
                body=body,
            )
        except ApiException as error:
            answer: Any = error.response
            if answer is not None:
                self._look_at_connection(answer.urllib3_response)
            raise self._meaning(error) from error
        except ValueError as error:  # no text, or headers that name no address
            text = f"{self._url} answers what makes no sense ({error}): {NO_SERVER}"
            raise ServerError(text, "no sense") from error
        except (HTTPError, OSError) as error:
            # A question that takes too long says nothing of what was written.
            slow = method == "GET" and isinstance(error, ReadTimeoutError)
            self._told_to_close |= slow
            text = f"{self._url} does not answer: {in_words(error)[:WORDS_KEPT]}"
            raise ServerError(text, type(error).__name__, alive=slow) from error
        answer = api.last_response
        self._look_at_connection(answer.urllib3_response)
        if method == "POST" and answer.status != WRITTEN:
            text = f"{self._url} answers {answer.status}, not {WRITTEN}: {NO_SERVER}"
            raise ServerError(text, "no server")
        return str(answer.data)

    def _count_connections(self) -> None:
        """urllib3 connects anew without a word where the server has hung up; so its connections count themselves."""
        pool = self._client.api_client.rest_client.pool_manager.connection_from_url(self._settings.url)
        plain = pool.ConnectionCls

        def connect(connection: Any) -> None:
            plain.connect(connection)
            self._broken |= not self._told_to_close

        pool.ConnectionCls = type("Counted", (plain,), {"connect": connect})

    def _look_at_connection(self, answer: Any) -> None:
        """Whether the server has said that the connection ends with this answer."""
        wish = str(answer.headers.get("Connection", "")).lower()
        self._told_to_close = wish == "close" or (answer.version == 10 and wish != "keep-alive")

    def _meaning(self, error: Any) -> ServerError:
        url, status, words = self._url, error.status, _words(error)
        text = f"{url} answers {status} {error.reason or ''}".rstrip() + (f": {words}" if words else "")
        wait_s = _retry_after(error.headers, self._now())
        if status in (400, 422):
            return Refused(text, words or f"{status} {error.reason}")
        if status in (401, 403):
            where = self._settings.token_file or "a token_file in [forward]"
            text += f". Put a token that may write into {where}: it is read again each time"
            return ServerError(text, str(status))
        if 300 <= status < 400:
            text = f"{url} answers {status}: it points to {way_to((error.headers or {}).get('Location'))}"
            return ServerError(
                f"{text}, and nothing is sent there unless url in [forward] says so", str(status)
            )
        if status == 413:
            return TooLarge(text, "413", alive=True)
        if status == 0:  # the client's own word for a TLS failure
            return ServerError(f"{url} cannot be trusted: {words or error.reason}", "TLS")
        return ServerError(text, str(status), alive=status in (404, 429), wait_s=wait_s)


def _shown(server: str, token: str) -> str:
    """RFC 6750, 2.1 and RFC 7617, 2; "Token" is the 2.x line's own word."""
    if server == "influxdb-1":
        return "Basic " + base64.b64encode(token.encode()).decode("ascii")
    return f"{'Bearer' if server == 'victoria-metrics' else 'Token'} {token}"


def _words(error: Any) -> str:
    """What the server says about it, without the wrapping that it comes in."""
    text = str(error.body or "").strip()
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        told = None
    if isinstance(told, dict):
        text = str(told.get("error") or told.get("message") or text)
    return " ".join(text.split())[:WORDS_KEPT]


def _retry_after(headers: Any, now: int) -> float:
    """RFC 9110, 10.2.3: seconds, or the date after which to come again. 0 if it says nothing that we can read."""
    text = str((headers or {}).get("Retry-After", "")).strip()
    if text.isdecimal() and text.isascii():
        return min(float(text), LONGEST_RETRY_AFTER_S)
    try:
        at = parsedate_to_datetime(text).timestamp()
    except (ValueError, OverflowError, TypeError):
        return 0.0
    return min(max(at - now / 1000, 0.0), LONGEST_RETRY_AFTER_S)
