"""The Morning round: every panel as one strip, what to do first on top."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from dashboard.desk import Desk
from dashboard.display import View
from dashboard.pages.ages import ages
from dashboard.words import LABELS


def router(desk: Desk) -> APIRouter:
    """GET /."""
    routes = APIRouter()

    @routes.get("/")
    def morning_round(request: Request) -> Response:
        view = desk.view()
        found = desk.round(view)
        return desk.page(
            request,
            "round.html",
            view,
            tab="round",
            round=found,
            title=name(view),
            ages=ages(view, found.readings_to, found.worked_out),
        )

    return routes


def name(view: View) -> str:
    """Morning round, or Evening round after noon."""
    return LABELS["morning" if view.hour < 12 else "evening"]
