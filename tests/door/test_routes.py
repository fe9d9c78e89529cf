"""Every route says what it asks for at least, and is held to it: OWASP ASVS 5.0.0, 8.2.1, 8.3.1."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.door.least import NOWHERE, TABLE, least_of
from dashboard.door.visitor import Role
from tests.door.house import House


def routes(of: Any, prefix: str = "") -> Iterator[tuple[str, str]]:
    """Method and path of every route of an application, those of its routers too."""
    for route in of.routes:
        if hasattr(route, "original_router"):
            yield from routes(route.original_router, prefix)
        else:
            for method in route.methods or ():
                yield method, prefix + route.path


def filled(path: str) -> str:
    """A path of that form."""
    return path.replace("{name:path}", "x.css").replace("{ident}", "x").replace("{", "").replace("}", "")


def test_every_route_stands_in_the_table(house: House) -> None:
    found = {f"{method} {path}" for method, path in routes(house.shop.app) if method != "HEAD"}
    assert len(found) > 60
    assert not found - set(TABLE), "give each a line in dashboard/door/least.py: who may do it at least"


def test_a_path_is_told_by_its_own_line(house: House) -> None:
    for method, path in routes(house.shop.app):
        told = least_of(method, filled(path))
        assert told is not None
        assert told[0] == path


def test_no_route_lies_nowhere(house: House) -> None:
    assert NOWHERE not in {path for _, path in routes(house.shop.app)}
    assert house.signed_in("Kim").get(NOWHERE).status_code == 404


@pytest.mark.parametrize("who", ["", "Sam", "Robin"])
def test_nobody_gets_through_a_route_that_asks_for_more(house: House, who: str) -> None:
    caller = house.signed_in(who) if who else house.caller()
    role = {"": Role.ANYONE, "Sam": Role.LOOK, "Robin": Role.WORK}[who]
    before = house.shop.logbook.events(), house.door.accounts.all()
    tried = 0
    for method, path in routes(house.shop.app):
        least = least_of(method, filled(path))
        if least is None or least[1].role <= role:
            continue
        kind = "image/png" if "photos" in path else "application/json"
        send = {"content-type": kind}
        answer = (
            caller.get(filled(path)) if method == "GET" else caller.post(filled(path), {"any": 1}, **send)
        )
        assert answer.status_code == (403 if who else 401), (method, path)
        tried += 1
    assert tried > {"": 50, "Sam": 20, "Robin": 10}[who]
    assert (house.shop.logbook.events(), house.door.accounts.all()) == before


def test_a_route_in_no_line_is_refused(house: House) -> None:
    @house.shop.app.get("/forgotten")
    def forgotten() -> dict[str, bool]:
        return {"let_through": True}

    for caller, status in ((house.caller(), 401), (house.signed_in("Kim"), 404)):
        answer = caller.get("/forgotten")
        assert answer.status_code == status
        assert "let_through" not in answer.text


def test_a_stranger_gets_no_word_of_the_shop(house: House) -> None:
    for path in ("/", "/panels/lid-4", "/nowhere", "/more/alarms", "/labels", "/api/round", "/api/nowhere"):
        answer = house.caller().get(path)
        assert answer.status_code == 401
        for told in ("Lid 4", "Plug 7", "alarm", "Kim"):
            assert told not in answer.text
    assert house.caller().get("/api/health").json() == {"serve": "running"}


@pytest.mark.parametrize(
    ("scopes", "path", "body", "status"),
    [
        (["read"], "/api/round", None, 200),
        (["taps"], "/api/round", None, 403),
        (["read"], "/", None, 403),
        (["read"], "/door/keys", None, 403),
        (["read"], "/api/events", {"id": "tap-token-01", "kind": "washed", "panel": "lid-4"}, 403),
        (["taps"], "/api/events", {"id": "tap-token-01", "kind": "washed", "panel": "lid-4"}, 200),
        (["taps"], "/api/panels/lid-4/decisions", {"id": "tap-token-01", "act": "demould"}, 403),
        (
            ["read", "taps"],
            "/door/accounts",
            {"name": "x", "role": "manage", "password": "y"},
            403,
        ),
    ],
)
def test_a_token_does_what_its_scopes_say(
    house: House, scopes: list[str], path: str, body: dict[str, str] | None, status: int
) -> None:
    caller = house.token(*scopes)
    answer = caller.get(path) if body is None else caller.post(path, body)
    assert answer.status_code == status


def test_a_place_in_the_trail_that_no_store_can_count_is_refused(house: House) -> None:
    assert house.signed_in("Kim").get(f"/door/trail?before={10**30}").status_code == 422
