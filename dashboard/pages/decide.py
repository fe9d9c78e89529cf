"""Demoulding and signing off, each on a page of its own: what is asked for, what is there, and one button."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from dashboard.desk import Desk
from dashboard.display import View
from dashboard.evidence import DEMOULD, SIGN_OFF, Item, evidence, in_words
from dashboard.pages.panels import find
from dashboard.panel import Panel
from dashboard.words import LABELS


@dataclass(frozen=True)
class Line:
    """One thing that is asked for, as text."""

    have: bool
    text: str


def router(desk: Desk) -> APIRouter:
    """GET /panels/{id}/demould and /panels/{id}/sign-off."""
    routes = APIRouter()

    @routes.get("/panels/{panel_id}/demould")
    def demould(request: Request, panel_id: str) -> Response:
        return _page(desk, request, panel_id, DEMOULD)

    @routes.get("/panels/{panel_id}/sign-off")
    def sign_off(request: Request, panel_id: str) -> Response:
        return _page(desk, request, panel_id, SIGN_OFF)

    return routes


def asked(desk: Desk, panel: Panel, act: str, view: View) -> tuple[Item, ...]:
    """What DEMOULD or SIGN_OFF asks for, and what of it is there now."""
    cards = {coat.card: card for coat in panel.coats if (card := desk.shop.card(coat.card)) is not None}
    answer, _ = desk.assessment(panel.id)
    return evidence(act, panel, cards, answer, view.now)


def _page(desk: Desk, request: Request, panel_id: str, act: str) -> Response:
    panel, view = find(desk, panel_id), desk.view()
    items = asked(desk, panel, act, view)
    name = act.replace(" ", "")
    granted = ""
    if act == DEMOULD and panel.granted is not None:
        who = panel.granted.who or LABELS["nobody"]
        granted = LABELS["granted_since"].format(at=view.clock(panel.granted.at), who=who)
    return desk.page(
        request,
        "decide.html",
        view,
        tab="round",
        panel=panel,
        act=act,
        title=LABELS[name],
        check=LABELS[f"{name}_check"],
        # What is missing first: it says what to do.
        lines=[Line(item.have, in_words(item, view)) for item in sorted(items, key=lambda item: item.have)],
        complete=all(item.have for item in items),
        grant=LABELS[f"grant_{name}"],
        granted=granted,
    )
