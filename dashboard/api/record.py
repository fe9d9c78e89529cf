"""A panel's record for programs: one JSON document that can be worked out again, and its readings as CSV."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Response
from starlette.responses import StreamingResponse

from dashboard.desk import Desk
from dashboard.pages.record import used_of
from dashboard.record.document import document, to_text
from dashboard.record.table import csv_text


def router(desk: Desk) -> APIRouter:
    """GET /api/panels/{id}/record and record.csv."""
    routes = APIRouter(prefix="/api")

    @routes.get("/panels/{panel_id}/record")
    def record(panel_id: str) -> Response:
        text = to_text(document(used_of(desk, panel_id)))
        return Response(text, media_type="application/json", headers=_as(panel_id, "json"))

    @routes.get("/panels/{panel_id}/record.csv")
    def readings(panel_id: str) -> Response:
        lines = csv_text(used_of(desk, panel_id))
        return StreamingResponse(lines, media_type="text/csv; charset=utf-8", headers=_as(panel_id, "csv"))

    return routes


def _as(panel_id: str, ending: str) -> dict[str, str]:
    name = f'inline; filename="record-{quote(panel_id)}.{ending}"'
    return {"Content-Disposition": name, "Cache-Control": "no-store"}
