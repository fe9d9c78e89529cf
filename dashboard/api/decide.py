"""Decisions that rest on evidence: what is asked for, and granting it or saying that it was not."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter, Request, Response

from dashboard.api.entry_models import Body, Id, Who
from dashboard.desk import Desk
from dashboard.door.visitor import asking
from dashboard.entries import refused, said
from dashboard.evidence import DEMOULD, SIGN_OFF, in_words
from dashboard.pages.decide import asked
from dashboard.pages.panels import find
from dashboard.panel import Event
from dashboard.step_check import LogbookError
from dashboard.words import LABELS


class Decision(Body):
    """Somebody asks for it to be granted; without all its evidence it is logged as not granted."""

    id: Id
    who: Who = ""
    act: Literal["demould", "sign off"]


def router(desk: Desk) -> APIRouter:
    """GET /api/panels/{id}/evidence, POST /api/panels/{id}/decisions."""
    routes = APIRouter(prefix="/api")

    @routes.get("/panels/{panel_id}/evidence")
    def evidence(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        found = {
            act: [
                {"name": item.name, "have": item.have, "text": in_words(item, view)}
                for item in asked(desk, panel, act, view)
            ]
            for act in (DEMOULD, SIGN_OFF)
        }
        return desk.json(request, {"panel": panel.id, "evidence": found}, view)

    @routes.post("/panels/{panel_id}/decisions")
    def decide(panel_id: str, entry: Decision) -> dict[str, Any]:
        panel, view = find(desk, panel_id), desk.view()
        if desk.shop.decisions is None:
            raise LogbookError(LABELS["no_decisions"])
        missing = [in_words(item, view) for item in asked(desk, panel, entry.act, view) if not item.have]
        if not entry.who.strip():
            missing.append(LABELS["need_name"])
        now = desk.shop.clock.now()
        about = Event(entry.id, now, now, entry.who.strip(), "decided", panel.id, {})
        event = desk.shop.decisions.decided(
            entry.id, about, panel, entry.act, granted=not missing, missing=tuple(missing),
            signed=bool(asking().signed),
        )  # fmt: skip
        new = desk.shop.logbook.append(event)
        return {
            "event": event.id, "new": new, "recorded": now, "granted": not missing, "missing": missing, "gone": False,
            "said": said(event, view) if not missing else refused(event, view),
        }  # fmt: skip

    return routes
