"""The thumb test: what was found on a panel's film, in one tap."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, HTTPException, Request, Response
from starlette.background import BackgroundTask

from dashboard.desk import Desk
from dashboard.display import UNITS
from dashboard.pages.felt import look_ahead
from dashboard.pages.panels import find
from dashboard.step_check import SCALES
from dashboard.words import LABELS
from model.observation import FILM_WORDS, Word

WET = (Word.WET, Word.STRINGY, Word.SOFT_TACK)
"""Nobody should feel a wet film twice to tell these apart."""


@dataclass(frozen=True)
class Found:
    """One button: its label, and the words it stands for."""

    label: str
    means: tuple[Word, ...]


@dataclass(frozen=True)
class Group:
    """Buttons under one heading."""

    title: str
    words: tuple[Found, ...]


def _found(*means: Word) -> Found:
    label = means[0].value
    return Found(label[0].upper() + label[1:], means)


def groups() -> list[Group]:
    """In the order of cure; then what lies on the film."""
    cure = [word for word in Word if word not in FILM_WORDS and word not in WET]
    return [
        Group(LABELS["thumb_feels"], (_found(*WET), *(_found(word) for word in cure))),
        Group(LABELS["on_the_film"], tuple(_found(word) for word in Word if word in FILM_WORDS)),
    ]


def router(desk: Desk) -> APIRouter:
    """GET /panels/{id}/thumb."""
    routes = APIRouter()

    @routes.get("/panels/{panel_id}/thumb")
    def thumb(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        if panel.newest is None or panel.closed:
            raise HTTPException(404, LABELS["nothing_to_feel"])
        scales = sorted(SCALES, key=lambda scale: scale != "Shore D")  # the one for laminates first
        page = desk.page(request, "thumb.html", view, tab="round", panel=panel, groups=groups(),
                         unit=UNITS[view.unit], scales=scales)  # fmt: skip
        page.background = BackgroundTask(look_ahead, desk, panel)
        return page

    return routes
