"""Labels as JSON: six letters and the address of each panel."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from dashboard.desk import Desk
from dashboard.pages.labels import labels_of, wrong
from dashboard.pages.panels import find


def router(desk: Desk) -> APIRouter:
    """GET /api/labels."""
    routes = APIRouter(prefix="/api")

    @routes.get("/labels")
    def labels(request: Request, panel: Annotated[list[str] | None, Query()] = None) -> Response:
        """Of the panels named, or of all that are open. `link` is null, and `wrong` says why, if none leads here."""
        opened = [item for item in desk.panels().values() if not item.closed]
        chosen = [find(desk, name) for name in panel] if panel else opened
        found = [
            {"panel": item.panel, "name": item.name, "zone": item.zone, "code": item.code, "link": item.link}
            for item in labels_of(desk, chosen)
        ]
        return desk.json(request, {"labels": found, "wrong": wrong(desk.shop.public_url)}, desk.view())

    return routes
