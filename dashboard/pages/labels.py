"""Labels: one panel's, a sheet of several, and the way from a label's letters to its panel."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response
from starlette.responses import RedirectResponse

from dashboard.desk import Desk
from dashboard.label import Label, codes, labels, leads_nowhere
from dashboard.pages.panels import find
from dashboard.panel import Panel
from dashboard.words import LABELS


def router(desk: Desk) -> APIRouter:
    """GET /panels/{id}/label, /labels, /p and /p/{code}."""
    routes = APIRouter()

    @routes.get("/panels/{panel_id}/label")
    def one(request: Request, panel_id: str) -> Response:
        return _page(desk, request, [find(desk, panel_id)], one=True)

    @routes.get("/labels")
    def several(request: Request, zone: str | None = None) -> Response:
        opened = [panel for panel in desk.panels().values() if not panel.closed]
        zones = sorted({panel.zone for panel in opened})
        shown = [panel for panel in opened if zone in (None, panel.zone)]
        return _page(desk, request, shown, zone=zone, zones=zones)

    @routes.get("/p")
    def typed(code: str = "") -> Response:
        return _to_panel(desk, code)

    @routes.get("/p/{code}")
    def scanned(code: str) -> Response:
        return _to_panel(desk, code)

    return routes


def labels_of(desk: Desk, panels: list[Panel]) -> list[Label]:
    """The labels of `panels`, in their order."""
    return labels(panels, codes(desk.shop.logbook.events()), desk.shop.public_url)


def wrong(public_url: str | None) -> str:
    """Why no label leads anywhere, in words; "" if labels do."""
    if public_url is None:
        return LABELS["label_none"]
    return LABELS["label_loopback"].format(url=public_url) if leads_nowhere(public_url) else ""


def _page(
    desk: Desk, request: Request, panels: list[Panel], one: bool = False, zone: str | None = None,
    zones: list[str] | None = None,
) -> Response:  # fmt: skip
    found = labels_of(desk, panels)
    return desk.paper(
        request, "labels.html", desk.view(), labels=found, one=one,
        zone=zone, zones=zones or [], wrong=wrong(desk.shop.public_url), port=request.url.port or 8137,
    )  # fmt: skip


def _to_panel(desk: Desk, code: str) -> Response:
    """The panel of a label, by its letters in either case, with spaces or without."""
    asked = "".join(code.split()).upper()
    found = next((panel for panel, of in codes(desk.shop.logbook.events()).items() if of == asked), None)
    if found is None:
        raise HTTPException(404, LABELS["label_unknown"].format(code=asked[:12]))
    return RedirectResponse(f"/panels/{found}", status_code=302)
