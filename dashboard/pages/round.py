"""The Morning round: every panel as one strip, what to do first on top."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fastapi import APIRouter, Request, Response

from dashboard import leaving
from dashboard.assessment import Assessment
from dashboard.desk import Desk
from dashboard.display import View
from dashboard.leaving import Leaving, leaving_of
from dashboard.pages.ages import ages
from dashboard.panel import Panel
from dashboard.round_sheet import sheet_of
from dashboard.strips import folded, is_long, round_of
from dashboard.words import LABELS

FIND_BEYOND = 12
"""With more panels than this, one is found by its name."""


def router(desk: Desk) -> APIRouter:
    """GET / and /round/sheet, each of all zones or of one."""
    routes = APIRouter()

    @routes.get("/")
    def morning_round(request: Request, zone: str | None = None) -> Response:
        view, panels, latest = desk.view(), desk.panels(), desk.latest()
        found = folded(round_of(panels, latest, view, zone))
        return desk.page(
            request,
            "round.html",
            view,
            tab="round",
            round=found,
            drawn=desk.drawn,
            drawn_leaving=desk.drawn_leaving,
            many=is_long(sum(not panel.closed for panel in panels.values())),
            findable=len(found.strips) > FIND_BEYOND,
            zone=zone,
            title=name(view),
            ages=ages(view, found.readings_to if panels else heard_to(desk), found.worked_out),
            leaving=before_leaving(desk, panels, latest, view, zone),
        )

    @routes.get("/round/sheet")
    def sheet(request: Request, zone: str | None = None) -> Response:
        view = desk.view()
        made = sheet_of(desk.panels(), desk.latest(), view, zone)
        return desk.paper(request, "round_sheet.html", view, sheet=made)

    return routes


def heard_to(desk: Desk) -> int | None:
    """When a probe was last heard, UTC ms: a shop without a panel has no older answer to tell of; None: never."""
    heard = desk.heard()
    return max((reading.at for reading in heard.newest), default=None) if heard else None


def before_leaving(
    desk: Desk,
    panels: Mapping[str, Panel],
    latest: Iterable[Assessment] | None,
    view: View,
    zone: str | None = None,
) -> list[Leaving] | None:
    """What is to be done at each panel for the night; None: it is not the hour to ask."""
    if not leaving.is_evening(view, desk.shop.leave_minute):
        return None
    by_panel = {item.panel: item for item in latest or ()}
    shown = [panel for panel in panels.values() if zone in (None, panel.zone)]
    found = [leaving_of(panel, desk.tasks.of(panel, by_panel.get(panel.id), view), view) for panel in shown]
    return [one for one in found if one.tasks]


def name(view: View) -> str:
    """Morning round, or Evening round after noon."""
    return LABELS["morning" if view.hour < 12 else "evening"]
