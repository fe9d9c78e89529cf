"""GET /api/changes: an open page listens here while it is seen."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.responses import StreamingResponse

from dashboard.changes import Changes
from dashboard.security import problem

HEADERS = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
"""A stream is for one page and at once; the second is asked of proxies that collect answers before passing them on."""


def router(changes: Changes) -> APIRouter:
    """Server-sent events "changed" and "beat", each with the shop's `now` (UTC ms) and `rate`; 503 if it is full."""
    routes = APIRouter(prefix="/api")

    @routes.get("/changes")
    async def listen(request: Request) -> Response:
        if changes.full:
            return problem(
                503,
                "as many pages listen already as may",
                "ask again every few seconds: pages do it by themselves",
            )
        is_in = getattr(request.state, "is_in", lambda: True)
        return StreamingResponse(changes.events(is_in), media_type="text/event-stream", headers=HEADERS)

    return routes
