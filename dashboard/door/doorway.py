"""Every request comes through here before any route: who asks, may they; and what was done gets into the trail."""

from __future__ import annotations

import logging
import math
from dataclasses import replace
from typing import Any
from urllib.parse import unquote

import anyio
from starlette.datastructures import Headers
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.door.door import Door
from dashboard.door.least import NOWHERE, Least, least_of
from dashboard.door.visitor import Means, Role, Visitor, answering
from dashboard.security import READING, problem
from dashboard.words.door import DOOR_SAID

log = logging.getLogger("coldshed.door")
SIGN_IN, SIGN, NOT_YOURS = "sign in", "sign", "not yours"
"""What stands beside an error as "door": what would open it."""


class Doorway:
    """ASGI middleware, inside the guard of hosts and origins, outside of all that reads a body."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers, door = Headers(scope=scope), self._door
        visitor = await anyio.to_thread.run_sync(door.visitor, headers)
        address = door.address((scope.get("client") or ("",))[0], headers)
        state: dict[str, Any] = scope.setdefault("state", {})
        state |= {
            "visitor": visitor,
            "address": address,
            "signature": lambda: door.signature(visitor.session),
            "is_in": lambda: door.is_in(visitor),
        }
        if visitor.means is Means.OPEN_HOUSE:
            await self._answer(visitor, scope, receive, send)
            return
        found = least_of(scope["method"], scope["path"])
        refusal = (
            self._too_fast(scope, address)
            or _somebody_else(visitor, headers)
            or self._refusal(visitor, found, scope, address)
        )
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        if found is not None and not _let_in(visitor, found[1]):
            state["door_says"] = why_not(visitor, found[1].role)
        if not visitor.known and (found is None or "door_says" in state):
            scope = _elsewhere(scope, "/door")
        elif found is None or "door_says" in state:
            scope = _elsewhere(scope, NOWHERE)
        elif found[1].signed and visitor.signs:
            name = door.signature(visitor.session)
            if not name:
                await refused(403, DOOR_SAID["sign"], DOOR_SAID["sign_do"], SIGN)(scope, receive, send)
                return
            state["visitor"] = replace(visitor, signed=name)
        await self._told(address, found, scope, receive, send)

    def _too_fast(self, scope: Scope, address: str) -> Response | None:
        if scope["path"].startswith("/static/"):
            return None
        wait = self._door.pace.wait_s(address)
        return None if wait == 0 else wait_for(wait, DOOR_SAID["too_fast"])

    def _refusal(
        self, visitor: Visitor, found: tuple[str, Least] | None, scope: Scope, address: str
    ) -> Response | None:
        """For programs and taps, as JSON; None where somebody is let in, or where a page says it."""
        if found is not None and _let_in(visitor, found[1]):
            return None
        if found is not None and visitor.known:
            log.info("%s · %s · may not: %s %s", visitor.name, address, scope["method"], scope["path"])
        if scope["method"] in READING and not scope["path"].startswith("/api/"):
            return None
        if not visitor.known:
            return stranger()
        return not_yours(visitor, found[1]) if found is not None else None

    async def _told(
        self,
        address: str,
        found: tuple[str, Least] | None,
        scope: Scope,
        receive: Receive,
        send: Send,
    ) -> None:
        """Answers. What was logged or taken out is a line of the trail before the answer goes out."""
        method, path, state = scope["method"], scope["path"], scope["state"]
        # What is done at the door itself stands in the trail in words of its own; a HEAD takes nothing out.
        told = found is not None and (
            method != "HEAD" if found[1].told else not (method in READING or path.startswith("/door/"))
        )
        what = DOOR_SAID["taken_out" if method in READING else "logged"]

        def is_told(status: int) -> bool:
            who = state["visitor"]
            if method in READING:
                return status == 200 and self._door.taken_out.is_due(who.means, who.session, who.name, path)
            return status < 400

        async def send_told(message: Message) -> None:
            if told and message["type"] == "http.response.start" and is_told(message["status"]):
                who = state["visitor"]  # by now it says who signed
                await anyio.to_thread.run_sync(self._door.trail.add, who, address, what, f"{method} {path}")
            await send(message)

        await self._answer(state["visitor"], scope, receive, send_told)

    async def _answer(self, visitor: Visitor, scope: Scope, receive: Receive, send: Send) -> None:
        done = answering(visitor)
        try:
            await self._app(scope, receive, send)
        finally:
            done()


def refused(status: int, what: str, do: str, door: str) -> JSONResponse:
    """The one shape of an error, and beside it what would open the door."""
    return problem(status, what, do, beside={"door": door})


def stranger() -> JSONResponse:
    """Nobody is signed in."""
    answer = refused(401, DOOR_SAID["stranger"], DOOR_SAID["stranger_do"], SIGN_IN)
    answer.headers["WWW-Authenticate"] = "Bearer"
    return answer


def _somebody_else(visitor: Visitor, headers: Headers) -> JSONResponse | None:
    """What was tapped on a page that belongs to another than is signed in by now is logged under neither's name."""
    told = headers.get("coldshed-visitor")
    if told is None or not visitor.signs or unquote(told) == visitor.page_of:
        return None
    return refused(401, DOOR_SAID["other"], DOOR_SAID["other_do"], SIGN_IN)


def not_yours(visitor: Visitor, least: Least) -> JSONResponse:
    """Known, but it takes more."""
    return refused(403, why_not(visitor, least.role), DOOR_SAID["not_yours_do"], NOT_YOURS)


def why_not(visitor: Visitor, role: Role) -> str:
    if visitor.means is Means.TOKEN:
        return DOOR_SAID["token_not"]
    return DOOR_SAID["not_yours"].format(have=visitor.role.word, needs=role.word)


def wait_for(seconds: float, what: str) -> JSONResponse:
    """429, with how long."""
    whole = max(1, math.ceil(seconds))
    answer = problem(429, what, DOOR_SAID["wait"].format(n=whole))
    answer.headers["Retry-After"] = str(whole)
    return answer


def _let_in(visitor: Visitor, least: Least) -> bool:
    if least.role is Role.ANYONE:
        return True
    if visitor.means is Means.TOKEN:
        return least.scope is not None and least.scope in visitor.scopes
    return visitor.role >= least.role


def _elsewhere(scope: Scope, path: str) -> Scope:
    """Answered by another page: the one to sign in, or the one that says what is missing or not allowed."""
    return {
        **scope,
        "path": path,
        "raw_path": path.encode(),
        "state": {**scope["state"], "came_for": scope["path"]},
    }
