"""A shop behind its door, with one account of each role, and visitors who come with a cookie or a token."""

from __future__ import annotations

import functools
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from collector.clock import SteppedClock
from dashboard.door import secret
from dashboard.door.door import Door
from dashboard.door.visitor import Means, Role, Visitor
from tests.browser.fake_shop import NOW, FakeShop, open_shop
from tests.dashboard.client import HOST, ORIGIN, Client

PASSWORD = "otter lamp gravel nine"
PIN = "408162"
BOSS = Visitor(Means.KEY, Role.MANAGE)
PEOPLE = {"Kim": Role.MANAGE, "Robin": Role.WORK, "Sam": Role.LOOK}


@functools.cache
def kept(text: str) -> str:
    """Its hash, made once: each takes as long as a guesser is to be slowed down."""
    return secret.hashed(text)


@dataclass
class Hand:
    """Seconds that only a test moves."""

    at: float = 1000.0

    def __call__(self) -> float:
        return self.at


@dataclass
class Caller:
    """One browser or program at the shop's door; keeps its cookie."""

    client: Client
    headers: dict[str, str] = field(default_factory=dict)
    cookie: str = ""

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self._sent("GET", path, headers)

    def post(self, path: str, body: Any = None, **headers: str) -> httpx.Response:
        own = {"origin": ORIGIN, "sec-fetch-site": "same-origin", "content-type": "application/json"}
        return self._sent("POST", path, own | headers, content=json.dumps(body if body is not None else {}))

    def _sent(self, method: str, path: str, headers: dict[str, str], **more: Any) -> httpx.Response:
        sent = {**self.headers, **headers, **({"cookie": self.cookie} if self.cookie else {})}
        answer = self.client.send(method, path, sent, **more)
        told = answer.headers.get("set-cookie")
        if told is not None:
            self.cookie = told.split(";")[0]
        return answer

    def sign_in(self, name: str, password: str = PASSWORD) -> Caller:
        answer = self.post("/door/in", {"name": name, "password": password})
        assert answer.status_code == 200, answer.text
        return self


@dataclass
class House:
    """The shop, its door, and the two clocks."""

    shop: FakeShop
    door: Door
    clock: SteppedClock
    hand: Hand

    def caller(self, **headers: str) -> Caller:
        return Caller(Client(self.shop.app), headers)

    def signed_in(self, name: str) -> Caller:
        return self.caller().sign_in(name)

    def token(self, *scopes: str, name: str = "lamp") -> Caller:
        made = self.door.tokens.make(name, scopes, BOSS, "")
        return self.caller(authorization=f"Bearer {made}")

    def trail(self) -> list[tuple[str, str, str]]:
        return [(line.who, line.what, line.about) for line in self.door.trail.lines()]

    def close(self) -> None:
        self.shop.close()
        self.door.close()


def open_house(
    folder: Path,
    people: dict[str, Role] | None = None,
    lan: bool = True,
    public_url: str | None = None,
    port: int = 8137,
    **more: Any,
) -> House:
    """`people`: who has an account, by default one of each role; all with PASSWORD and PIN."""
    clock, hand = SteppedClock(NOW), Hand()
    door = Door(folder, clock, lan=lan, public_url=public_url, monotonic=hand).open()
    with door.file.writing() as connection:
        for name, role in (PEOPLE if people is None else people).items():
            connection.execute(
                "INSERT INTO account(name, key, role, password, pin, made) VALUES (?, ?, ?, ?, ?, ?)",
                (name, name.casefold(), role.word, kept(PASSWORD), kept(PIN), NOW),
            )
    shop = open_shop(folder, clock, port=port, public_url=public_url, door=door, **more)
    return House(shop, door, clock, hand)


__all__ = ["BOSS", "HOST", "ORIGIN", "PASSWORD", "PIN", "Caller", "House", "open_house"]
Opened = Callable[..., House]
