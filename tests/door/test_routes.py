"""Every route says what it asks for at least, and is held to it: OWASP ASVS 5.0.0, 8.2.1, 8.3.1."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.door.least import NOWHERE, TABLE, least_of
from dashboard.door.tokens import SCOPES
from dashboard.door.visitor import Role
from tests.door.house import BOSS, Caller, House


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


def asked(caller: Caller, method: str, path: str) -> int:
    """How a request is answered that is right but for who sends it; its body is of no form that is taken."""
    send = {"content-type": "image/png" if "photos" in path else "application/json"}
    if method == "GET":
        return caller.get(filled(path)).status_code
    return caller.post(filled(path), {"any": 1}, **send).status_code


def refused_all(house: House, caller: Caller, status: int, role: Role, scopes: tuple[str, ...] = ()) -> int:
    """Asks for every route that takes more than this; each is refused, and nothing has changed. How many there were."""
    before = house.shop.logbook.events(), house.door.accounts.all()
    tried = 0
    for method, path in routes(house.shop.app):
        found = least_of(method, filled(path))
        if found is None or found[1].role is Role.ANYONE:
            continue
        if found[1].role <= role or found[1].scope in scopes:
            continue
        assert asked(caller, method, path) == status, (method, path)
        tried += 1
    assert (house.shop.logbook.events(), house.door.accounts.all()) == before
    return tried


@pytest.mark.parametrize("who", ["", "Sam", "Robin"])
def test_nobody_gets_through_a_route_that_asks_for_more(house: House, who: str) -> None:
    caller = house.signed_in(who) if who else house.caller()
    role = {"": Role.ANYONE, "Sam": Role.LOOK, "Robin": Role.WORK}[who]
    tried = refused_all(house, caller, 403 if who else 401, role)
    assert tried > {"": 50, "Sam": 20, "Robin": 10}[who]


def test_a_shop_phone_manages_nothing(house: House) -> None:
    caller = house.signed_in("Kim")
    assert caller.post("/door/phone", {"name": "bench"}).status_code == 200
    assert refused_all(house, caller, 403, Role.WORK) > 10


@pytest.mark.parametrize("scopes", [(scope,) for scope in SCOPES] + [SCOPES])
def test_a_token_gets_through_no_route_beyond_its_scopes(house: House, scopes: tuple[str, ...]) -> None:
    caller = house.token(*scopes)
    assert refused_all(house, caller, 403, Role.ANYONE, scopes) > 50
    # and not because it is no good at all
    within = [
        key for key in routes(house.shop.app) if TABLE[" ".join(key)].scope in scopes and key[0] == "GET"
    ]
    ways = within or [("POST", "/api/alarms/unquiet")]
    assert not {asked(caller, *way) for way in ways if way[1] != "/api/changes"} & {401, 403}


@pytest.mark.parametrize("ended", ["signed out", "removed", "of another kind", "revoked", "made up"])
def test_what_counted_once_or_never_is_a_stranger_everywhere(house: House, ended: str) -> None:
    caller = (
        house.signed_in("Kim")
        if ended in ("signed out", "removed", "of another kind")
        else house.token(*SCOPES)
    )
    match ended:
        case "signed out":
            cookie = caller.cookie
            assert caller.post("/door/out").status_code == 200
            caller.cookie = cookie
        case "removed":
            house.door.accounts.add("Lee", Role.MANAGE, "quarry plum lantern", BOSS, "")
            house.door.accounts.remove(house.door.accounts.named("Kim"), BOSS, "")
        case "of another kind":
            caller = house.caller(authorization=f"Bearer {caller.cookie.partition('=')[2]}")
        case "revoked":
            house.door.tokens.revoke(house.door.tokens.all()[0].id, BOSS, "")
        case "made up":
            caller = house.caller(authorization="Bearer " + "A" * 43)
    assert refused_all(house, caller, 401, Role.ANYONE) > 50


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
