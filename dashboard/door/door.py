"""The door put together: what it knows, and who somebody is by what a request brings."""

from __future__ import annotations

import hmac
import os
import threading
import time
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from urllib.parse import urlsplit

from starlette.datastructures import Headers

from collector.clock import Clock
from dashboard.door import secret
from dashboard.door.accounts import Accounts
from dashboard.door.delays import Delays, Pace, Seldom
from dashboard.door.sessions import PERSON_MS, PHONE_MS, Sessions
from dashboard.door.store import DoorFile
from dashboard.door.tokens import Tokens
from dashboard.door.trail import Trail
from dashboard.door.visitor import OPEN_HOUSE, STRANGER, Means, Role, Visitor
from dashboard.one_time_code import OneTimeCode

COOKIE = "coldshed"
KEY_FILE = "house.key"
SIGNED_S = 120.0
"""A PIN that was given is good for one signature, so long."""
MOST_WAITING = 4
"""So many may wait for their password to be looked at: each holds a worker that pages need, too."""
TAKEN_OUT_S = 600.0
"""What one visitor takes out again and again is a line of the trail so often: lines are never removed."""
PASSED_ON = frozenset(
    {"forwarded", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-real-ip", "via"}
)
"""What proxies add. Who comes by one does not sit at this computer, whatever name the proxy calls it by."""
PER_S, BURST = 50.0, 500.0
"""Requests of one client: a phone that opens a page makes a dozen."""


class Door:
    """Owns accounts.db. `lan`: it can be reached from elsewhere, so there is no open house.

    public_url   what a phone calls this computer by; where that is https, the cookie is for TLS only
    """

    def __init__(
        self,
        folder: Path,
        clock: Clock,
        lan: bool = False,
        public_url: str | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.file = DoorFile(folder / "accounts.db", clock)
        self.trail = Trail(self.file)
        self.accounts = Accounts(self.file, self.trail)
        self.sessions = Sessions(self.file, self.trail)
        self.tokens = Tokens(self.file, self.trail)
        self.delays = Delays(monotonic)
        self.pace = Pace(PER_S, BURST, monotonic)
        self.taken_out = Seldom(TAKEN_OUT_S, monotonic)
        self.code: OneTimeCode | None = None
        """What the console shows for the first account; None: it is made by a command."""
        self.lan = lan
        self._url = urlsplit(public_url) if public_url else None
        self._key_path = folder / KEY_FILE
        self._key = secret.new_secret()
        self._monotonic = monotonic
        self._signed: dict[str, tuple[str, float]] = {}
        self.hashing = threading.BoundedSemaphore(MOST_WAITING)

    def open(self) -> Door:
        """Opens the file, and leaves the key for the commands beside it. Raises Locked, StoreError, OSError."""
        self.file.open()
        self._key_path.unlink(missing_ok=True)
        with os.fdopen(os.open(self._key_path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(self._key)
        return self

    def close(self) -> None:
        self.file.close()
        self._key_path.unlink(missing_ok=True)

    def is_open_house(self) -> bool:
        """Nobody has an account, and only this computer can ask."""
        return not self.lan and not self.accounts.any()

    def visitor(self, headers: Headers) -> Visitor:
        """Who asks. A token or key in the header counts alone; else the cookie, else whether the house is open."""
        told = headers.get("authorization")
        if told is not None:
            kind, _, text = told.partition(" ")
            text = text.strip()
            if kind.lower() != "bearer" or not text:
                return STRANGER
            if hmac.compare_digest(secret.digest(text), secret.digest(self._key)):
                return Visitor(Means.KEY, Role.MANAGE)
            return self.tokens.visitor(text)
        if self.is_open_house():
            return STRANGER if PASSED_ON & set(headers.keys()) else OPEN_HOUSE
        return self.session_of(headers)

    def is_in(self, visitor: Visitor) -> bool:
        """Whether who was let in would still be: an answer that goes on for an hour asks again and again."""
        match visitor.means:
            case Means.PERSON | Means.PHONE:
                return self.sessions.is_on(visitor.session)
            case Means.TOKEN:
                return self.tokens.counts(visitor.session)
            case Means.OPEN_HOUSE:
                return self.is_open_house()
        return visitor.means is Means.KEY

    def version(self) -> object:
        """Another one with every line of the trail: nobody is sent away without one."""
        return self.file.rows("SELECT max(seq) FROM trail")[0]

    def session_of(self, headers: Headers) -> Visitor:
        """Who the cookie alone says it is."""
        cookie = self._cookie(headers)
        return self.sessions.visitor(cookie) if cookie else STRANGER

    def is_secure(self, headers: Headers) -> bool:
        """The browser came by TLS: what it called us by is our https address."""
        url = self._url
        return (
            url is not None
            and url.scheme == "https"
            and headers.get("host", "").lower() == url.netloc.lower()
        )

    def cookie(self, headers: Headers, value: str, phone: bool = False) -> str:
        """The Set-Cookie line; "" takes it away. Lax: a notice's link opens signed in, and no GET changes anything."""
        secure = self.is_secure(headers)
        age = (PHONE_MS if phone else PERSON_MS)[1] // 1000 if value else 0
        parts = [f"{self._name(headers)}={value}", "Path=/", "HttpOnly", "SameSite=Lax", f"Max-Age={age}"]
        return "; ".join([*parts, "Secure"] if secure else parts)

    def address(self, peer: str, headers: Headers) -> str:
        """Whose request it is: the peer's, or what a proxy on this computer says at the end of X-Forwarded-For."""
        if self._url is None or peer not in ("127.0.0.1", "::1"):
            return peer
        # Some proxies end the line that came with the request, others add one of their own below it.
        told = ",".join(headers.getlist("x-forwarded-for")).rpartition(",")[2].strip()
        return told[:64] or peer

    def sign(self, session: str, name: str) -> None:
        """Whoever has this session has just given the PIN of `name`."""
        self._signed[session] = (name, self._monotonic() + SIGNED_S)

    def signature(self, session: str) -> str:
        """Who has signed there; taken, it is gone. "" if nobody has."""
        name, until = self._signed.pop(session, ("", 0.0))
        return name if self._monotonic() < until else ""

    def _name(self, headers: Headers) -> str:
        return f"__Host-{COOKIE}" if self.is_secure(headers) else COOKIE

    def _cookie(self, headers: Headers) -> str:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self._name(headers))
        except CookieError:
            return ""
        return found.value if found is not None else ""


def read_key(folder: Path) -> str | None:
    """The key that serve left for the commands of the same user; None if it does not run or is another user's."""
    try:
        return (folder / KEY_FILE).read_text(encoding="utf-8").strip() or None
    except OSError:
        return None
