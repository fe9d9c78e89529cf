"""Photos of a panel: the bytes are the request, kept with the entry that names them."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Query, Request, Response

from dashboard.api.entry_models import Id, Who
from dashboard.desk import Desk
from dashboard.entries import said
from dashboard.entry import step_event
from dashboard.pages.panels import find
from dashboard.picture import Picture, PictureError
from dashboard.words import LABELS

ASK_FIRST = "private, no-cache"
"""A browser keeps it and asks before it shows it: after signing out it shows none (ASVS 5.0.0, 14.3.1)."""
Digest = Annotated[str, Path(pattern=r"^[0-9a-f]{64}$")]


def router(desk: Desk) -> APIRouter:
    """POST /api/panels/{id}/photos/{entry}, GET /panels/{id}/photos/{digest}."""
    routes = APIRouter()

    @routes.post("/api/panels/{panel_id}/photos/{entry}")
    async def add(
        request: Request, panel_id: str, entry: Annotated[Id, Path()], who: Annotated[Who, Query()] = ""
    ) -> dict[str, Any]:
        panel = find(desk, panel_id)
        try:
            picture = Picture.of(await request.body())
        except PictureError as error:
            raise HTTPException(415, str(error)) from error
        now = desk.shop.clock.now()
        body = {"digest": picture.digest, "type": picture.type, "bytes": len(picture.content)}
        event = step_event(entry, now, now, who, panel.id, "photo", body)
        new = desk.shop.logbook.append(event, picture)
        return {"event": entry, "new": new, "recorded": now, "gone": False, "said": said(event, desk.view())}

    @routes.get("/panels/{panel_id}/photos/{digest}")
    def show(request: Request, panel_id: str, digest: Digest) -> Response:
        named = {
            event.body["digest"] for event in desk.shop.logbook.events(panel_id) if event.kind == "photo"
        }
        headers = {"Cache-Control": ASK_FIRST, "ETag": f'"{digest}"'}
        if digest in named and request.headers.get("if-none-match") == headers["ETag"]:
            return Response(status_code=304, headers=headers)
        picture = desk.shop.logbook.picture(digest) if digest in named else None
        if picture is None:
            raise HTTPException(404, LABELS["no_photo"])
        return Response(picture.content, media_type=picture.type, headers=headers)

    return routes
