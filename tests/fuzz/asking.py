"""Asks the application what its description allows and what it does not, as everybody who may come to the door."""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import anyio.from_thread
import httpx
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    positive_data_acceptance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from dashboard.door.least import least_of
from dashboard.door.visitor import Role
from tests.door.house import BOSS, ORIGIN, House, open_house

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
ENDLESS = "/api/changes"
"""Answers until the caller goes: asked by tests of its own."""
MORE_THAN_ITS_FORM = {
    "GET /api/panels/{panel_id}/tonight/if": "its times must lie in a row",
    "GET /api/probes/{probe_id}/check": "its times must be of a check that was begun",
    "POST /api/panels/{panel_id}/photos/{entry}": "its body is a picture, told by its first bytes",
    "POST /door/out": "it has no body, and asks all the same to be marked as JSON",
}
"""Operations that refuse what their description allows, as it cannot say why."""
CALLERS = ("", "Sam", "Robin", "Kim", "read", "taps")
ROLE = {"": Role.ANYONE, "Sam": Role.LOOK, "Robin": Role.WORK, "Kim": Role.MANAGE}
THERE = {"panel_id": ["skiff-deck-2", "lid-4", "plug-7"], "probe_id": ["S1", "A1"], "name": ["round"]}
"""What may stand in a path and is there; an id drawn at random never is."""


@dataclass
class Asked:
    """How many cases there were, and how they were answered."""

    request: Callable[..., httpx.Response]
    house: House
    tokens: dict[str, str]
    answers: Counter[tuple[str, str, int]] = field(default_factory=Counter)

    _begun: dict[str, dict[str, str]] = field(default_factory=dict)

    @property
    def cases(self) -> int:
        return sum(self.answers.values())

    def headers(self, who: str, path: str) -> dict[str, str]:
        """With a session that was just begun if what was asked at the door may have ended the last one."""
        if path.startswith("/door/"):
            self._begun.clear()
        if who not in self._begun:
            self._begun[who] = self._begin(who)
        return self._begun[who]

    def _begin(self, who: str) -> dict[str, str]:
        if who in self.tokens:
            return {"authorization": f"Bearer {self.tokens[who]}"}
        account = next((one.id for one in self.house.door.accounts.all() if one.name == who), None)
        cookie = {"cookie": f"coldshed={self.house.door.sessions.begin(account, '')}"} if account else {}
        return {"origin": ORIGIN, "sec-fetch-site": "same-origin", **cookie}

    def ask(self, operation: Any, case: Any, who: str, mode: GenerationMode) -> None:
        self.house.hand.at += 60.0  # nobody is too fast
        sent = case.as_transport_kwargs(base_url=ORIGIN)
        sent.pop("cookies", None)
        sent["headers"] = {**dict(sent.get("headers") or {}), **self.headers(who, operation.path)}
        if isinstance(sent.get("data"), bytes | str):
            sent["content"] = sent.pop("data")
        answer = self.request(**sent)
        self.answers[operation.label, who, answer.status_code] += 1
        more = [negative_data_rejection] if mode.is_negative else [positive_data_acceptance]
        # Whether good data are taken and bad ones refused is known only of who is let in.
        known = who == "Kim" and not (mode.is_positive and operation.label in MORE_THAN_ITS_FORM)
        case.validate_response(answer, checks=CHECKS + (more if known else []))
        least = least_of(operation.method.upper(), operation.path)
        assert least is not None
        allowed = least[1].scope == who if who in self.tokens else least[1].role <= ROLE[who]
        if not allowed and least[1].role is not Role.ANYONE:
            assert answer.status_code >= 400, f"{who or 'a stranger'} did {operation.label}"


@contextmanager
def asking(folder: Path) -> Iterator[tuple[Asked, list[Any]]]:
    """A shop behind its door, and every operation that it describes."""
    house = open_house(folder)
    schema = schemathesis.openapi.from_dict(house.shop.app.openapi())
    tokens = {scope: house.door.tokens.make(scope, (scope,), BOSS, "") for scope in ("read", "taps")}
    operations = [found.ok() for found in schema.get_all_operations()]
    client = httpx.AsyncClient(transport=httpx.ASGITransport(house.shop.app, raise_app_exceptions=False))
    with anyio.from_thread.start_blocking_portal() as portal:

        def request(**sent: Any) -> httpx.Response:
            client.cookies.clear()
            return portal.call(functools.partial(client.request, **sent))

        yield (
            Asked(request, house, tokens),
            [operation for operation in operations if operation.path != ENDLESS],
        )
        portal.call(client.aclose)
    house.close()


def ask_all(asked: Asked, operations: list[Any], examples: int) -> None:
    """Each operation so many times with what it allows and with what it does not."""
    for operation in operations:
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
            if _varies(operation, mode):
                _ask(asked, operation, mode, examples)
            elif mode.is_positive:
                _ask(asked, operation, mode, 1)


def _varies(operation: Any, mode: GenerationMode) -> bool:
    """Any text may stand in a path: no path is against the description."""
    free = list(operation.query) + list(operation.body)
    return bool(free) or (mode.is_positive and bool(list(operation.path_parameters)))


def _ask(asked: Asked, operation: Any, mode: GenerationMode, examples: int) -> None:
    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],
    )
    @given(operation.as_strategy(mode), st.sampled_from(CALLERS), st.data())
    def one(case: Any, who: str, data: st.DataObject) -> None:
        for name in case.path_parameters or {}:
            if name in THERE and data.draw(st.integers(0, 3)):
                case.path_parameters[name] = data.draw(st.sampled_from(THERE[name]))
        asked.ask(operation, case, who, mode)

    one()
