"""The countdown of a panel's pot, and the weights that were really poured."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response

from dashboard.desk import Desk
from dashboard.display import View
from dashboard.measures import FIELDS
from dashboard.mix_desk import MixDesk, link
from dashboard.pages.panels import find
from dashboard.pot_view import Running, pot_view, running
from dashboard.words import LABELS
from model.resin_card import ResinCard


def router(desk: Desk) -> APIRouter:
    """GET /panels/{id}/pot, and the same under /api."""
    routes = APIRouter()
    mixing = MixDesk(desk)

    @routes.get("/panels/{panel_id}/pot")
    def countdown(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        pot, card = _pot(mixing, panel_id, view)
        amount = FIELDS["amount"][view.measures]
        again = {"spot": f"panel:{panel_id}", "card": card.id}
        if pot.pot.standing_g is not None:
            again[f"amount_{amount.end}"] = f"{amount.of_si(pot.pot.standing_g):.1f}"
        return desk.page(
            request,
            "pot.html",
            view,
            tab="mix",
            panel=panel,
            coat=pot.coat,
            pot=pot_view(pot, card, view),
            of=pot.pot.event,
            amount=amount,
            again=link("/mix/pots", again),
        )

    @routes.get("/api/panels/{panel_id}/pot")
    def as_json(request: Request, panel_id: str) -> Response:
        """Times UTC ms, masses g; smokes_at null: it does not run hot, as worked out."""
        view = desk.view()
        pot, card = _pot(mixing, panel_id, view)
        seen = pot_view(pot, card, view)
        body = {
            "panel": panel_id, "coat": pot.coat.number, "card": card.id, "pot": pot.pot.event,
            "mixed_at": pot.pot.mixed_at, "pour_by": pot.pour_by, "usable_at": pot.usable_at,
            "smokes_at": pot.smokes_at, "mass_g": pot.pot.mass_g, "asked_g": pot.pot.asked_g, "vessel": pot.pot.vessel,
            "bottles_C": pot.pot.bottles_C, "applied_at": pot.coat.applied_at, "headline": seen.headline,
            "fault": list(seen.fault),
        }  # fmt: skip
        return desk.json(request, body, view)

    return routes


def _pot(mixing: MixDesk, panel_id: str, view: View) -> tuple[Running, ResinCard]:
    """Raises HTTPException 404 where no coat was mixed, or its card is gone."""
    desk = mixing.desk
    panel = find(desk, panel_id)
    card = desk.shop.card(panel.newest.card) if panel.newest is not None else None
    item, _ = desk.assessment(panel_id)
    facts = mixing.facts(panel, view.now)
    pot = running(panel, card, facts, item, view.now) if card is not None else None
    if pot is None or card is None:
        raise HTTPException(404, LABELS["no_pot"])
    return pot, card
