"""Pages at the door: sign in, one's own account, who may come in, and the trail."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from dashboard.desk import Desk
from dashboard.display import View
from dashboard.door.door import Door
from dashboard.door.tokens import SCOPES
from dashboard.door.trail import Line
from dashboard.door.visitor import Means, Visitor
from dashboard.record.table import safe
from dashboard.words.door import DOOR_SAID

LINES = 100


@dataclass(frozen=True)
class Row:
    """One line of the trail as it is shown."""

    seq: int
    at: str
    who: str
    what: str
    about: str


def router(desk: Desk, door: Door) -> APIRouter:
    """GET /door, /door/me, /door/keys, /door/trail, /door/trail.csv."""
    routes = APIRouter(prefix="/door")

    @routes.get("")
    def sign_in(request: Request) -> Response:
        """401 where it stands in the place of a page that somebody has to sign in for."""
        came_for = getattr(request.state, "came_for", None)
        first = not door.accounts.any()
        page = desk.bare(request, "door.html", desk.view(), first=first, came_for=came_for or "/")
        if came_for is not None:
            page.status_code = 401
            page.headers["WWW-Authenticate"] = "Bearer"
            if "etag" in page.headers:
                del page.headers["etag"]
        return page

    @routes.get("/me")
    def me(request: Request) -> Response:
        visitor: Visitor = request.state.visitor
        mine = next((one for one in door.accounts.all() if one.id == visitor.account), None)
        return desk.page(request, "door_me.html", desk.view(), tab="more", mine=mine)

    @routes.get("/keys")
    def keys(request: Request) -> Response:
        view = desk.view()
        return desk.page(
            request, "door_keys.html", view, tab="more",
            accounts=door.accounts.all(), first=not door.accounts.any(),
            sessions=[(one, view.clock(one.used)) for one in door.sessions.all()],
            tokens=[(one, _token(one.used, view)) for one in door.tokens.all() if one.revoked is None],
            scopes=SCOPES,
        )  # fmt: skip

    @routes.get("/trail")
    def trail(request: Request, before: Annotated[int | None, Query(ge=0, lt=2**53)] = None) -> Response:
        view = desk.view()
        lines = door.trail.lines(LINES + 1, before)
        more = lines[LINES - 1].seq if len(lines) > LINES else None
        rows = [_row(line, view) for line in lines[:LINES]]
        return desk.page(request, "door_trail.html", view, tab="more", rows=rows, more=more)

    @routes.get("/trail.csv")
    def as_csv() -> Response:
        """All of it, oldest first; times UTC ms."""
        return Response(
            csv_of(door.trail.lines()[::-1]),
            media_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="trail.csv"', "Cache-Control": "no-store"},
        )

    return routes


def csv_of(lines: list[Line]) -> str:
    """With a head row. No cell begins as a formula does."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(["number", "at", "who", "means", "address", "what", "about"])
    for line in lines:
        cells = (line.who, line.means, line.address, line.what, line.about)
        table.writerow([line.seq, line.at, *(safe(cell) for cell in cells)])
    return out.getvalue()


def _row(line: Line, view: View) -> Row:
    who = line.who or {
        Means.KEY: DOOR_SAID["by_command"], Means.OPEN_HOUSE: DOOR_SAID["by_here"],
    }.get(Means(line.means), DOOR_SAID["by_nobody"])  # fmt: skip
    place = f"{who}, {line.address}" if line.address else who
    return Row(line.seq, view.clock(line.at), place, line.what, line.about)


def _token(used: int | None, view: View) -> str:
    return view.clock(used) if used is not None else DOOR_SAID["token_never"]
