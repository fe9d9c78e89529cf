"""Sheets of a panel beside its coats: what else was done to it or is said of it, and an entry to correct."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response

from dashboard.desk import Desk
from dashboard.display import UNITS
from dashboard.entries import entries
from dashboard.pages.panels import find, placed
from dashboard.panel import Panel, PlannedCoat
from dashboard.step_check import COAT_KINDS, SUBSTRATES
from dashboard.strips import Button
from dashboard.words import LABELS

MORE_ROWS = 3
"""Empty lines under a plan."""


def router(desk: Desk) -> APIRouter:
    """GET /panels/{id}/more, /panels/{id}/log/{entry}."""
    routes = APIRouter()

    @routes.get("/panels/{panel_id}/more")
    def more(request: Request, panel_id: str) -> Response:
        panel, view, probes = find(desk, panel_id), desk.view(), desk.probes()
        if panel.closed:
            raise HTTPException(404, LABELS["nothing_more"])
        return desk.page(
            request,
            "acts.html",
            view,
            tab="round",
            panel=panel,
            acts=acts(panel),
            unit=UNITS[view.unit],
            zones=sorted({probe.zone for probe in probes} | {panel.zone}),
            surface=placed(probes, "surface"),
            air=placed(probes, "air"),
            substrates=SUBSTRATES,
            kinds=COAT_KINDS,
            cards=sorted(desk.shop.cards()),
            rows=plan_rows(panel),
        )

    @routes.get("/panels/{panel_id}/log/{entry_id}")
    def correct(request: Request, panel_id: str, entry_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        listed = entries(desk.shop.logbook.events(panel_id), view)
        entry = next((item for item in listed if item.id == entry_id), None)
        if entry is None or not (entry.can_take_back or entry.can_change_time):
            raise HTTPException(404, LABELS["no_entry"])
        return desk.page(request, "entry.html", view, tab="round", panel=panel, entry=entry)

    return routes


def acts(panel: Panel) -> list[Button]:
    """What may have been done to its newest coat beside washing and sanding; logged at once."""
    newest = panel.newest
    if newest is None:
        return []
    kinds = ["wiped", "trimmed", "clamps off", "tape pulled"]
    if newest.peel_ply and newest.peel_ply_off_at is None:
        kinds.insert(0, "peel ply off")
    return [Button(LABELS[f"log_{kind.replace(' ', '_')}"], kind=kind) for kind in kinds]


def plan_rows(panel: Panel) -> list[PlannedCoat | None]:
    """The plan, coats that are laid first, and empty lines to go on with."""
    laid = [PlannedCoat(coat.kind, coat.card) for coat in panel.coats]
    rows: list[PlannedCoat | None] = [*laid, *panel.plan[len(laid) :]]
    return rows + [None] * MORE_ROWS
