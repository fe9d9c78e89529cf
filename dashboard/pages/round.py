"""The Morning round: every panel as one strip, what to do first on top."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from dashboard.desk import Desk
from dashboard.display import View
from dashboard.pages.ages import ages
from dashboard.round_sheet import sheet_of
from dashboard.words import LABELS


def router(desk: Desk) -> APIRouter:
    """GET / and /round/sheet, each of all zones or of one."""
    routes = APIRouter()

    @routes.get("/")
    def morning_round(request: Request, zone: str | None = None) -> Response:
        view = desk.view()
        found = desk.round(view, zone)
        return desk.page(
            request,
            "round.html",
            view,
            tab="round",
            round=found,
            zone=zone,
            title=name(view),
            ages=ages(view, found.readings_to, found.worked_out),
        )

    @routes.get("/round/sheet")
    def sheet(request: Request, zone: str | None = None) -> Response:
        view = desk.view()
        made = sheet_of(desk.panels(), desk.latest(), view, zone)
        return desk.paper(request, "round_sheet.html", view, sheet=made)

    return routes


def name(view: View) -> str:
    """Morning round, or Evening round after noon."""
    return LABELS["morning" if view.hour < 12 else "evening"]
