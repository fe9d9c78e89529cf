"""The one way to log: a POST with an id made where the button was tapped, absorbed if it comes twice."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from dashboard.desk import Desk
from dashboard.entries import said
from dashboard.entry import register_event
from dashboard.entry_check import LogbookError
from dashboard.panel import Event
from dashboard.words import LABELS
from model.observation import Word

Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{8,64}$")]
Short = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[^\x00-\x1f\x7f]+$")]
Who = Annotated[str, Field(max_length=64, pattern=r"^[^\x00-\x1f\x7f]*$")]


class Body(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Registration(Body):
    """A new panel; its id is made from its name."""

    id: Id
    who: Who = ""
    name: Short
    zone: Short
    surface_probe: Short | None = None
    air_probe: Short | None = None
    substrate: Short


class Coat(Body):
    """A coat mixed with a card; times UTC ms."""

    card: Short
    applied_at: int | None = None
    kind: Literal["laminate"] = "laminate"


class _Act(Body):
    """What happened to a panel. at: UTC ms when it happened; None: now."""

    id: Id
    who: Who = ""
    at: int | None = Field(default=None, ge=0, lt=2**53)
    panel: Annotated[str, Field(min_length=1, max_length=64)]


class Tap(_Act):
    """Something done to a panel."""

    kind: Literal["pot mixed", "coat applied", "washed", "sanded", "demoulded", "closed"]


class Mixed(_Act):
    """A coat was mixed."""

    kind: Literal["coat mixed"]
    body: Coat


class Felt(Body):
    """What was found on a film. tile_C: degC, if a tile that cured beside the panel was felt in its place."""

    words: Annotated[list[Word], Field(min_length=1, max_length=3)]
    tile_C: float | None = None


class Thumb(_Act):
    """A thumb test."""

    kind: Literal["thumb test"]
    body: Felt


class Seen(Body):
    """Somebody has seen an alarm."""

    id: Id
    who: Who = ""
    kind: Literal["alarm seen"]
    alarm: Annotated[str, Field(min_length=1, max_length=200)]


class Withdrawn(Body):
    """An entry is taken back; it stays readable."""

    id: Id
    who: Who = ""
    kind: Literal["withdrawn"]
    panel: Annotated[str, Field(min_length=1, max_length=64)] | None = None
    event: Id


class SeenTo(Body):
    """Somebody saw to a probe that was suspected: mended it, or found it right as it was."""

    id: Id
    who: Who = ""
    kind: Literal["probe put right"]
    probe: Short
    fixed: bool


class Unit(Body):
    """The shop's unit."""

    id: Id
    who: Who = ""
    kind: Literal["preference"]
    key: Literal["unit"]
    value: Literal["degC", "degF"]


Entry = Annotated[Tap | Mixed | Thumb | Seen | SeenTo | Withdrawn | Unit, Field(discriminator="kind")]


def router(desk: Desk) -> APIRouter:
    """POST /api/events and /api/panels."""
    routes = APIRouter(prefix="/api")

    @routes.post("/events")
    def log(entry: Entry) -> dict[str, Any]:
        now = desk.shop.clock.now()
        event = Event(
            id=entry.id,
            at=getattr(entry, "at", None) or now,
            recorded=now,
            who=entry.who,
            kind=entry.kind,
            panel=getattr(entry, "panel", None),
            body=_body(entry),
        )
        if isinstance(entry, Withdrawn):
            _check_withdrawal(desk, entry)
        new = desk.shop.logbook.append(event)
        panels = desk.panels()
        number = None
        if isinstance(entry, Mixed):
            number = next((coat.number for coat in panels[entry.panel].coats if coat.event == entry.id), None)
        return {
            "event": event.id,
            "new": new,
            "recorded": now,
            "gone": event.panel is not None and (event.panel not in panels or event.kind == "closed"),
            "said": said(event, desk.view(), number),
        }

    @routes.post("/panels")
    def register(entry: Registration) -> dict[str, Any]:
        earlier = next((event for event in desk.shop.logbook.events() if event.id == entry.id), None)
        if earlier is not None:
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
        )
        return {"event": entry.id, "new": desk.shop.logbook.append(event), "panel": event.panel}

    return routes


def _check_withdrawal(desk: Desk, entry: Withdrawn) -> None:
    """Raises LogbookError for a registration that has coats: they would go with it unseen."""
    panel = desk.panels().get(entry.panel or "")
    if panel is None or not panel.coats:
        return
    registered = {
        event.id for event in desk.shop.logbook.events(panel.id) if event.kind == "panel registered"
    }
    if entry.event in registered:
        raise LogbookError(LABELS["has_coats"])


def _body(entry: Entry) -> dict[str, Any]:
    match entry:
        case Mixed() | Thumb():
            return entry.body.model_dump()
        case Seen():
            return {"alarm": entry.alarm}
        case SeenTo():
            return {"probe": entry.probe, "serial": "", "fixed": entry.fixed}
        case Withdrawn():
            return {"event": entry.event}
        case Unit():
            return {"key": entry.key, "value": entry.value}
        case Tap():
            return {}
