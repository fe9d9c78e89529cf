"""A panel's record as a page that prints, with what stands on the edge of its sheets."""

from __future__ import annotations

import re
from urllib.parse import quote

from fastapi import APIRouter, HTTPException, Request, Response

from dashboard.desk import Desk
from dashboard.pages.panels import find
from dashboard.record.document import document
from dashboard.record.render import html, margins
from dashboard.record.used import Used
from dashboard.record.work_out import work_out
from dashboard.words import LABELS, RECORD


def router(desk: Desk) -> APIRouter:
    """GET /panels/{id}/record and /panels/{id}/record.css."""
    routes = APIRouter()

    @routes.get("/panels/{panel_id}/record")
    def record(request: Request, panel_id: str) -> Response:
        used, view = used_of(desk, panel_id), desk.view()
        results = work_out(used)
        sha256 = document(used, results)["sha256"]
        sheets = {"v": desk.version, "margins": f"/panels/{quote(panel_id)}/record.css?sha256={sha256}"}
        text = html(used, results, sha256, view, invented=desk.shop.invented, sheets=sheets)
        return desk.html(request, text, view)

    @routes.get("/panels/{panel_id}/record.css")
    def edges(panel_id: str, sha256: str = "") -> Response:
        if not re.fullmatch(r"[0-9a-f]{64}", sha256):
            raise HTTPException(404, LABELS["not_found"])
        title = RECORD["record_title"].format(name=find(desk, panel_id).name)
        return Response(margins(title, sha256), media_type="text/css")

    return routes


def used_of(desk: Desk, panel_id: str) -> Used:
    """What the panel's record rests on now. Raises HTTPException 404 without the panel, or without readings."""
    find(desk, panel_id)
    archive = desk.shop.archive
    if archive is None:
        raise HTTPException(404, RECORD["no_record"])
    return archive.used(panel_id, desk.shop.clock.now())
