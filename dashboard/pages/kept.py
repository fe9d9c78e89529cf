"""What a device needs to keep pages: its worker, and the page that stands for one that was not kept."""

from __future__ import annotations

import json

from fastapi import APIRouter, Request, Response

from dashboard import help_pages
from dashboard.desk import Desk
from dashboard.static_files import KINDS, StaticFiles

WORKER = "worker.js"


def router(desk: Desk, files: StaticFiles) -> APIRouter:
    """GET /worker.js, of another content with each version, and /not-kept."""
    routes = APIRouter()
    worker = (
        files.text(WORKER)
        .replace("@VERSION@", f"{files.version}-{help_pages.digest()[:8]}")
        .replace("@NEEDED@", json.dumps(_needed(files)))
        .replace("@HELP@", json.dumps(help_pages.addresses()))
    )

    @routes.get(f"/{WORKER}")
    def worker_of_this_version() -> Response:
        return Response(worker, media_type=KINDS[".js"])

    @routes.get("/not-kept")
    def not_kept(request: Request) -> Response:
        return desk.page(request, "not_kept.html", desk.view(), tab="")

    return routes


def _needed(files: StaticFiles) -> list[str]:
    """Addresses of what any page may link to, but for pictures, and Plotly: no chart is kept to be drawn."""
    names = [name for name in files.names if name.endswith((".css", ".js", ".svg")) and name != WORKER]
    return [f"/static/{files.version}/{name}" for name in names]
