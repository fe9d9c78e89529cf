"""Tonight as JSON: sentences for people, numbers in SI and UTC ms beside them; what-ifs as their own address."""

from __future__ import annotations

import dataclasses
from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response

from collector.store.schema import NotYet
from dashboard import tonight
from dashboard.asked import WARMEST_C, Question, unattended
from dashboard.assessment import Assessment
from dashboard.desk import Desk
from dashboard.display import HOUR, LAST_MS, View
from dashboard.night_strip import is_fresh, night_strip, said
from dashboard.pages.panels import find
from dashboard.pages.round import before_leaving
from dashboard.panel import Panel
from dashboard.suppose import LEAST_HOLD_C, RISES_K_H, CannotSuppose, Goal, Plan, first_minute_ahead
from dashboard.supposing import Busy, Reply
from dashboard.words import LABELS
from model.resin_card import Milestone
from model.what_if import RAMP_K_H

Time = Annotated[int, Query(ge=0, lt=LAST_MS)]
FURTHEST_MS = 72 * HOUR


def router(desk: Desk) -> APIRouter:
    """GET /api/tonight, panels/{id}/tonight, panels/{id}/tonight/if."""
    routes = APIRouter(prefix="/api")

    @routes.get("/tonight")
    def of_the_shop(request: Request) -> Response:
        """`leaving`: what to do before leaving, null outside its hours."""
        view, panels, latest = desk.view(), desk.panels(), desk.latest()
        by_panel = {item.panel: item for item in latest or ()}
        found = [(panel, by_panel.get(panel.id)) for panel in panels.values() if not panel.closed]
        fresh = [(panel.zone, item) for panel, item in found if item and is_fresh(panel, item, view)]
        leaving = before_leaving(desk, panels, latest, view)
        body = {
            "zones": [view.sentence(say) for say in tonight.zone_lines(fresh, view)],
            "panels": [_night(panel, item, view, latest is not None) for panel, item in found],
            "leaving": None if leaving is None else [dataclasses.asdict(one) for one in leaving],
        }
        return desk.json(request, body, view)

    @routes.get("/panels/{panel_id}/tonight")
    def of_a_panel(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        item, started = desk.assessment(panel_id)
        return desk.json(request, _night(panel, item, view, started), view)

    @routes.get("/panels/{panel_id}/tonight/if")
    def what_if(
        request: Request,
        panel_id: str,
        hold_C: Annotated[float, Query(ge=LEAST_HOLD_C, le=WARMEST_C)] | None = None,
        from_ms: Time | None = None,
        to_ms: Time | None = None,
        rise_K_h: Annotated[float, Query(ge=RISES_K_H[0], le=RISES_K_H[1])] = RAMP_K_H,
        start_ms: Time | None = None,
        card: Annotated[str, Query(max_length=64)] | None = None,
        until: Literal["sand", "recoat_from", "tack_free"] = "sand",
        by_ms: Time | None = None,
        least: bool = False,
    ) -> Response:
        """Nothing is stored and no answer changes. Heat from_ms (default: now) to to_ms; `least`: by by_ms, what heat
        is enough; hold_C is then not looked at.
        """
        panel, view = find(desk, panel_id), desk.view()
        earliest = first_minute_ahead(view.now)
        begin, end = max(from_ms or earliest, earliest), to_ms if to_ms is not None else by_ms
        _check(view, begin, end, hold_C is not None or least, by_ms if least else None, start_ms)
        if card is not None and card not in desk.shop.cards():
            raise HTTPException(422, LABELS["if_bad_card"])
        start = start_ms if start_ms is not None else (earliest if card is not None else None)
        plan = Plan(
            hold_C, begin, end or begin, rise_K_h, None if start is None else max(start, earliest), card
        )
        asked = Question(plan, Goal(Milestone(until), by_ms or view.now), least)
        return desk.json(request, _answer(desk, panel, view, asked), view)

    return routes


def _check(
    view: View, begin: int, end: int | None, heated: bool, by_ms: int | None, start_ms: int | None
) -> None:
    """Raises HTTPException 422 saying what is allowed."""
    if heated and (end is None or end <= begin):
        raise HTTPException(422, LABELS["if_short"])
    for name, at in (("to_ms", end), ("by_ms", by_ms), ("start_ms", start_ms), ("from_ms", begin)):
        if at is not None and not view.now - 6 * HOUR <= at <= view.now + FURTHEST_MS:
            raise HTTPException(422, f"{name}: UTC ms, from now to {FURTHEST_MS // HOUR} h ahead")


def _night(panel: Panel, item: Assessment | None, view: View, started: bool = True) -> dict[str, Any]:
    """`night` is null wherever the page says "not known"."""
    strip = night_strip(panel, item, view, started)
    shown = item if strip.known and item is not None else None
    return dataclasses.asdict(strip) | {
        "night": dataclasses.asdict(shown.night) if shown and shown.night else None,
        "milestones": [dataclasses.asdict(one) for one in shown.milestones] if shown else [],
    }


def _answer(desk: Desk, panel: Panel, view: View, asked: Question) -> dict[str, Any]:
    item, started = desk.assessment(panel.id)
    if item is None or not night_strip(panel, item, view, started).may_suppose:
        raise HTTPException(409, LABELS["if_not_known"])
    try:
        reply = desk.supposing.ask(panel, item, asked)
    except Busy as error:
        raise HTTPException(503, LABELS["busy"]) from error
    except CannotSuppose as error:
        raise HTTPException(409, LABELS[str(error)]) from error
    except NotYet as error:
        raise HTTPException(409, LABELS["if_not_known"]) from error
    told = said(reply, asked, view, desk.shop.leave_minute)
    return {
        "said": [text for text in (told.head, *told.lines, *told.heed) if text],
        "cautions": list(told.cautions),
        "supposed": True,
        **numbers(reply),
        "unattended": reply.question.plan.hold_C is not None
        and unattended(reply.question.plan, view, desk.shop.leave_minute),
    }


def numbers(reply: Reply) -> dict[str, Any]:
    """A reply's numbers: times UTC ms, temperatures degC."""
    found, least = reply.if_so, reply.least
    return {
        "plan": dataclasses.asdict(reply.question.plan),
        "least": None if least is None else dataclasses.asdict(least),
        "cap": None if found is None else dataclasses.asdict(found.cap),
        "as_it_is": {} if found is None else {m.value: one.safe for m, one in found.now.items()},
        "if_so": {} if found is None else {m.value: one.safe for m, one in found.then.items()},
    }
