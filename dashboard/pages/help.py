"""Help: contents, pages, the glossary, and a search; all without a script."""

from __future__ import annotations

from pathlib import PurePath

from fastapi import APIRouter, HTTPException, Request, Response

from dashboard import help_pages
from dashboard.desk import Desk
from dashboard.glossary import anchor
from dashboard.static_files import KINDS
from dashboard.words import LABELS
from dashboard.words.glossary import GLOSSARY

PICTURE_KINDS = {".png": "image/png", ".svg": KINDS[".svg"]}


def router(desk: Desk) -> APIRouter:
    """GET /help, /help/glossary, /help/pictures/{name}, /help/{name}."""
    routes = APIRouter()

    @routes.get("/help")
    def contents(request: Request, find: str = "") -> Response:
        every = [help_pages.page(name) for name in help_pages.names()]
        return desk.page(
            request, "help.html", desk.view(), tab="more", plain=_plain(request), asked=find.strip()[:80],
            hits=help_pages.find(find[:80]),
            shop=[page for page in every if page.name not in help_pages.FOR_BUILDERS],
            builders=[page for page in every if page.name in help_pages.FOR_BUILDERS],
        )  # fmt: skip

    @routes.get("/help/glossary")
    def glossary(request: Request) -> Response:
        terms = [(anchor(term.name), term) for term in GLOSSARY]
        return desk.page(
            request, "glossary.html", desk.view(), tab="more", plain=_plain(request), terms=terms
        )

    @routes.get("/help/pictures/{name}")
    def picture(name: str) -> Response:
        found = help_pages.picture(name)
        if found is None:
            raise HTTPException(404, LABELS["help_no_picture"])
        kind = PICTURE_KINDS[PurePath(name).suffix]
        return Response(found, media_type=kind, headers={"Cache-Control": "no-cache"})

    @routes.get("/help/{name}")
    def one(request: Request, name: str) -> Response:
        if name not in help_pages.names():
            raise HTTPException(404, LABELS["help_no_page"])
        page = help_pages.page(name)
        return desk.page(request, "help_page.html", desk.view(), tab="more", plain=_plain(request), page=page)

    return routes


def _plain(request: Request) -> bool:
    """Asked for by a device that keeps it: without the alarms of this moment."""
    return "kept" in request.query_params
