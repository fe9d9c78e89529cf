"""Asks a time-series server over HTTP: with its token, a time limit, and no hammering of one that is away."""

from __future__ import annotations

import base64
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Literal

from collector.store.schema import NotYet, StoreError
from collector.web_address import in_words, way_to, without_login

CONNECT_S = 2.0
READ_S = 5.0
AGAIN_S = 2.0
LONGEST_REST_S = 10.0
"""A server that did not answer is left alone for so long: whoever asks meanwhile is told at once. One that hangs, for
twice as long as it has kept us waiting, else nearly every page would wait for it.
"""
MOST_WORDS = 300

Scheme = Literal["Token", "Basic", "Bearer"]
"""How the token is shown: "Basic" is a user's name and password with a colon between them."""


class Unanswered(NotYet):
    """The server does not answer, or not as it should: wait and ask again. The text says why."""


class NoSense(Unanswered):
    """It answers, but what stands there is not what a site of this version sends."""


class Asking:
    """One server. For any thread. `token_file` is read before each question: it may be changed while we run.

    ca_file   PEM of an authority of the house's own; None: those that the system trusts
    """

    def __init__(
        self,
        url: str,
        scheme: Scheme = "Token",
        token_file: Path | None = None,
        ca_file: Path | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        try:
            import urllib3
        except ImportError as error:
            raise StoreError("the library that asks servers is missing: install coldshed[server]") from error
        self.url = without_login(url).rstrip("/")
        self._scheme = scheme
        self._token_file = token_file
        self._monotonic = monotonic
        self._away: tuple[float, str] | None = None
        self._errors = urllib3.exceptions.HTTPError
        timeout = urllib3.Timeout(connect=CONNECT_S, read=READ_S)
        certs = None if ca_file is None else str(ca_file)
        self._pool = urllib3.PoolManager(maxsize=8, retries=False, timeout=timeout, ca_certs=certs)

    def get(self, path: str, asked: Mapping[str, str]) -> bytes:
        """The answer's body. Raises Unanswered, with the server's own words if it refuses."""
        began = self._monotonic()
        if self._away is not None and began < self._away[0]:
            raise Unanswered(self._away[1])
        try:
            url, headers = self.url + path, self._headers()
            answer = self._pool.request("GET", url, fields=dict(asked), headers=headers, redirect=False)
        except self._errors as error:
            raise self._is_away(f"{self.url} does not answer: {in_words(error)}", began) from error
        except (OSError, UnicodeDecodeError) as error:
            raise self._is_away(f"the token for {self.url} cannot be read: {error}", began) from error
        if answer.status != 200:
            words = answer.data.decode("utf-8", "replace").strip()[:MOST_WORDS]
            if 300 <= answer.status < 400:
                where = way_to(answer.headers.get("Location"))
                words = f"it points to {where}, and nothing is asked there unless url in [read_from] says so"
            raise self._is_away(f"{self.url} answers {answer.status} {answer.reason}: {words}", began)
        self._away = None
        return bytes(answer.data)

    def _is_away(self, why: str, began: float) -> Unanswered:
        now = self._monotonic()
        self._away = (now + min(max(AGAIN_S, 2 * (now - began)), LONGEST_REST_S), why)
        return Unanswered(why)

    def _headers(self) -> dict[str, str]:
        if self._token_file is None:
            return {}
        token = self._token_file.read_text(encoding="utf-8").strip()
        if self._scheme == "Basic":
            token = base64.b64encode(token.encode()).decode("ascii")
        return {"Authorization": f"{self._scheme} {token}"}
