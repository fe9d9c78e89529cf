"""Asks the application, in this process, all that its description allows and much that it does not, as one caller.

schemathesis makes the requests: every operation at the edges of what it takes and beyond (its phase "coverage"), at
random (fuzzing), and one after another with what was answered before (stateful); all of its checks look at the answers.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import schemathesis
from hypothesis import strategies as st
from schemathesis import engine
from schemathesis.config import SchemathesisConfig
from starlette.datastructures import Headers
from starlette.types import Message, Receive, Scope, Send

from dashboard.described import BEYOND_ITS_FORM
from dashboard.door.least import Least, least_of
from dashboard.door.tokens import SCOPES
from dashboard.door.visitor import Means, Role, Visitor
from dashboard.picture import BEGINS
from tests.browser.fake_shop import CARDS, too_cold
from tests.door.house import BOSS, NOW, ORIGIN, PEOPLE, PIN, House, kept, open_house
from tests.door.house import PASSWORD as RIGHT

ENDLESS = "/api/changes"
"""Answers until the caller goes: asked by tests of its own."""
PANELS = ["skiff-deck-2", "lid-4", "rib-1", "box-a", "plug-7"]
THERE = {
    "panel_id": PANELS,
    "panel": PANELS,
    "probe_id": ["S1", "A1"],
    "probe": ["S1"],
    "surface_probe": ["S1"],
    "air_probe": ["A1"],
    "zone": ["shed"],
    "alarm": [too_cold().id],
    "person": ["Kim"],
    "card": [CARDS[0]],
    "name": [*PEOPLE, "round"],
    "password": [RIGHT],
    "old": [RIGHT],
    "secret": [PIN, RIGHT],
    "new": ["gravel lamp otter six"],
    "pin": ["593817"],
}
"""By the name of a field, what stands there in this shop."""
WITH_A_COAT = [
    "GET /api/panels/{panel_id}/chart",
    "GET /api/panels/{panel_id}/pot",
    "GET /panels/{panel_id}/pot",
]
"""A panel that was just registered has none yet."""
LIVE = "live"
"""What a caller sends in place of a session or a token: a request may have ended the last one."""
TAKEN = ["2xx", "3xx", "401", "403", "404", "409", "429", "5xx"]
"""How a request of the right form may be answered: of a 5xx there is a check of its own."""

for kind, ((_, sign), *more) in BEGINS.items():
    rest = b"size" + more[0][1] if more else b""
    schemathesis.openapi.media_type(kind, st.binary(max_size=40).map((sign + rest).__add__))


def may(visitor: Visitor, least: Least) -> bool:
    """As the table has it, in other words than the door's own."""
    if visitor.means is Means.TOKEN:
        return least.role is Role.ANYONE or least.scope in visitor.scopes
    return visitor.role >= least.role


@dataclass
class Front:
    """Stands before the application: gives a caller what it has to show, and takes down how it was answered.

    who   a person of the house, a scope of a token, or "" for a stranger
    """

    house: House
    who: str
    answers: Counter[tuple[str, int]] = field(default_factory=Counter)
    unauthorised: list[str] = field(default_factory=list)
    _shown: str = ""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.house.shop.app(scope, receive, send)
            return
        self.house.hand.at += 60.0  # nobody is too fast
        raw = [(name, value.replace(LIVE.encode(), self._show())) for name, value in scope["headers"]
               if name in (b"cookie", b"authorization")]  # fmt: skip
        raw += [pair for pair in scope["headers"] if pair[0] not in (b"cookie", b"authorization")]
        visitor = self.house.door.visitor(Headers(raw=raw))
        found = least_of(scope["method"], scope["path"])

        async def taken_down(message: Message) -> None:
            if message["type"] == "http.response.start":
                status = message["status"]
                self.answers[f"{scope['method']} {found[0] if found else scope['path']}", status] += 1
                if found and status < 400 and not may(visitor, found[1]):
                    self.unauthorised.append(f"{visitor} got {status} for {scope['method']} {scope['path']}")
            await send(message)

        await self.house.shop.app({**scope, "headers": raw}, receive, taken_down)

    def _show(self) -> bytes:
        """A session or a token that counts now, of an account as it was at first."""
        if self.who in SCOPES:
            self._shown = self._shown or self.house.door.tokens.make(self.who, (self.who,), BOSS, "")
        elif self.who:
            account = self._account()
            if not self.house.door.sessions.visitor(self._shown).known:
                self._shown = self.house.door.sessions.begin(account, "")
        return self._shown.encode()

    def _account(self) -> int:
        found = next((one for one in self.house.door.accounts.all() if one.name == self.who), None)
        role = PEOPLE[self.who]
        if found is not None and found.role is role:
            return found.id
        with self.house.door.file.writing() as connection:
            connection.execute("DELETE FROM account WHERE name = ?", (self.who,))
            connection.execute(
                "INSERT INTO account(name, key, role, password, pin, made) VALUES (?, ?, ?, ?, ?, ?)",
                (self.who, self.who.casefold(), role.word, kept(RIGHT), kept(PIN), NOW),
            )
        return self._account()


@dataclass
class Asked:
    """How many requests there were, how they were answered, and what was wrong with that, each told once."""

    answers: Counter[tuple[str, int]] = field(default_factory=Counter)
    unauthorised: list[str] = field(default_factory=list)
    wrong: dict[str, str] = field(default_factory=dict)

    def __add__(self, other: Asked) -> Asked:
        return Asked(
            self.answers + other.answers, self.unauthorised + other.unauthorised, self.wrong | other.wrong
        )

    @property
    def cases(self) -> int:
        return sum(self.answers.values())

    @property
    def failed(self) -> int:
        return sum(n for (_, status), n in self.answers.items() if status >= 500)

    @property
    def done(self) -> set[str]:
        """Operations that did what was asked at least once."""
        return {operation for operation, status in self.answers if status == 200}


def ask_as_everybody(folder: Path, examples: int) -> Asked:
    """Who may do all is asked most: what others may not is refused before anything is looked at."""
    found = Asked()
    for who, times, coverage in (
        ("Kim", examples, True),
        ("Robin", 1 + examples // 10, False),
        ("Sam", 1 + examples // 10, False),
        ("", 1 + examples // 10, True),
        *((scope, 1, False) for scope in SCOPES),
    ):
        place = folder / (who or "stranger")
        place.mkdir()
        found += ask(place, who, times, coverage=coverage)
    return found


def ask(folder: Path, who: str, examples: int, seed: int = 1, coverage: bool = True) -> Asked:
    """A new shop behind its door, asked as one caller. coverage: at the edges of what is taken, too."""
    house = open_house(folder, heard=True, told=("Kim",))
    try:
        front = Front(house, who)
        schema = schemathesis.openapi.from_dict(_described(house), config=_config(examples, seed, coverage))
        schema.app = front
        if who:
            schema.auth(refresh_interval=None)(_shows("authorization" if who in SCOPES else "cookie"))
        wrong: dict[str, str] = {}
        for event in engine.from_schema(schema).execute():
            wrong |= _wrong(event)
        return Asked(front.answers, front.unauthorised, wrong)
    finally:
        house.close()


def _described(house: House) -> dict[str, Any]:
    made: dict[str, Any] = house.shop.app.openapi()
    del made["paths"][ENDLESS]
    for methods in made["paths"].values():
        for operation in methods.values():
            for parameter in operation.get("parameters", ()):
                parameter["schema"] = _hinted(parameter["name"], parameter["schema"])
    for name, schema in made["components"]["schemas"].items():
        if not name.startswith("answer."):
            for key, value in schema.get("properties", {}).items():
                schema["properties"][key] = _hinted(key, value)
    return made


def _hinted(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """The same, said so that what is there is asked for as well: no text drawn at random ever is."""
    if name not in THERE or not (schema.get("type") == "string" or "anyOf" in schema):
        return schema
    return {"anyOf": [{"enum": THERE[name]}, schema]}


def _shows(where: str) -> type:
    class Shows:
        """Who asks shows it with each request that is not to go without."""

        def get(self, case: Any, context: Any) -> str:
            return LIVE

        def set(self, case: Any, data: str, context: Any) -> None:
            if where == "cookie":
                case.cookies = {**dict(case.cookies or {}), "coldshed": data}
            else:
                case.headers = {**dict(case.headers or {}), "Authorization": f"Bearer {data}"}

    return Shows


def _config(examples: int, seed: int, coverage: bool) -> SchemathesisConfig:
    later = [
        {"include-name": name, "checks": {"ensure_resource_availability": {"enabled": False}}}
        for name in WITH_A_COAT
    ]
    beyond = [
        {"include-name": name, "checks": {"positive_data_acceptance": {"expected-statuses": [*TAKEN, "422"]}}}
        for name in BEYOND_ITS_FORM
        if "photos" not in name
    ]
    return SchemathesisConfig.from_dict(
        {
            "seed": seed,
            "base-url": ORIGIN,
            "headers": {"origin": ORIGIN, "sec-fetch-site": "same-origin"},
            "generation": {
                "max-examples": examples,
                "deterministic": True,
                "no-shrink": True,
                "database": "none",
                "with-security-parameters": False,
            },
            "operations": beyond + later,
            "phases": {"examples": {"enabled": False}, "coverage": {"enabled": coverage}},
        }
    )


def _wrong(event: Any) -> dict[str, str]:
    """What one event of the engine tells of, by check and operation."""
    name = type(event).__name__
    if name == "FatalError":
        raise event.exception
    if name == "NonFatalError":
        return {f"error: {event.label}": str(event.value)}
    if name != "ScenarioFinished":
        return {}
    found = {}
    for checks in event.recorder.checks.values():
        for check in checks:
            if (info := check.failure_info) is not None:
                told = f"{info.failure.title}: {info.failure.message}\n{info.code_sample}"
                found[f"{check.name}: {info.failure.operation}"] = told
    return found
