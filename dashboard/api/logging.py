"""The one way to log: a POST with an id made where the button was tapped, absorbed if it comes twice."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request

from dashboard.api.entry_models import Entry, Registration, Thumb, ThumbSure, body_of
from dashboard.api.signing import is_signed, signing
from dashboard.desk import Desk
from dashboard.entries import said
from dashboard.entry import register_event
from dashboard.pages.felt import felt
from dashboard.panel import Event
from dashboard.step_check import LogbookError
from dashboard.words import LABELS


def router(desk: Desk) -> APIRouter:
    """POST /api/events and /api/panels."""
    routes = APIRouter(prefix="/api")

    @routes.post("/events")
    def log(request: Request, entry: Entry) -> dict[str, Any]:
        now = desk.shop.clock.now()
        event = _event(entry, now)
        told = felt(desk, event) if isinstance(entry, Thumb | ThumbSure) else None
        event = told.event if told else event
        if is_signed(event, desk.shop.logbook):
            with signing(request) as name:
                event = replace(event, who=name or event.who)
                new = desk.shop.logbook.append(event)
        else:
            new = desk.shop.logbook.append(event)
        if not new:
            event = next(item for item in desk.shop.logbook.events() if item.id == entry.id)
        return _answer(desk, event, new, now) | (told.answer() if told else {})

    @routes.post("/panels")
    def register(entry: Registration) -> dict[str, Any]:
        earlier = next((event for event in desk.shop.logbook.events() if event.id == entry.id), None)
        if earlier is not None and earlier.kind == "panel registered":
            return {"event": entry.id, "new": False, "panel": earlier.panel}
        if not (entry.surface_probe or entry.air_probe):
            raise LogbookError(LABELS["needs_probe"])
        now = desk.shop.clock.now()
        event = register_event(
            entry.id,
            now,
            entry.who,
            entry.name,
            entry.zone,
            entry.surface_probe,
            entry.air_probe,
            entry.substrate,
            desk.panels(),
            entry.vertical,
            [coat.model_dump(mode="json", exclude_none=True) for coat in entry.plan],
        )
        return {"event": entry.id, "new": desk.shop.logbook.append(event), "panel": event.panel}

    return routes


def _event(entry: Entry, now: int) -> Event:
    """As it is taken down; `now` UTC ms."""
    return Event(
        id=entry.id,
        at=getattr(entry, "at", None) or now,
        recorded=now,
        who=entry.who,
        kind=entry.kind,
        panel=getattr(entry, "panel", None),
        body=body_of(entry),
    )


def _answer(desk: Desk, event: Event, new: bool, now: int) -> dict[str, Any]:
    panels = desk.panels()
    panel = panels.get(event.panel or "")
    coats = panel.coats if panel else ()
    number = next((coat.number for coat in coats if coat.event == event.id), None)
    gone = event.panel is not None and (panel is None or event.kind in ("closed", "scrapped"))
    return {
        "event": event.id,
        "new": new,
        "recorded": now,
        "gone": gone,
        "said": said(event, desk.view(), number),
    }
