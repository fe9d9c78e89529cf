"""One probe: what it reads and what that is, its corrections, its checks step by step, another device."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response

from collector.reading import ProbeFacts, Quantity
from dashboard import field_check, probe_view
from dashboard.desk import Desk
from dashboard.display import LAST_MS, View
from dashboard.field_check import AGAINST, Progress, Proposal
from dashboard.pages.more import probe_lines
from dashboard.words import LABELS

Since = Annotated[int | None, Query(ge=0, lt=LAST_MS)]
Stage = Literal["as found", "as left"]


def router(desk: Desk) -> APIRouter:
    """GET /more/probes/{id} and its sheets: check, correct, device."""
    routes = APIRouter(prefix="/more/probes/{probe_id}")

    @routes.get("")
    def one_probe(request: Request, probe_id: str) -> Response:
        return _probe(desk, request, probe_id)

    @routes.get("/check")
    def check(
        request: Request, probe_id: str, against: str, since: Since = None, stage: Stage = "as found"
    ) -> Response:
        facts, view = known(desk, probe_id), desk.view()
        if against not in AGAINST:
            raise HTTPException(404, LABELS["not_found"])
        quantity = field_check.quantity_of(against)
        here = None if since is None else progress_of(desk, facts, against, since, view.now)
        return desk.page(
            request, "probe_check.html", view, tab="more", probe=facts, against=against, stage=stage, since=since,
            steps=_steps(against, view), headline=probe_view.headline(here, since or 0, view) if here else "",
            lines=probe_view.progress_lines(quantity, here, view) if here else [], here=here,
            due=view.day_field(view.now + field_check.DUE_MS[quantity]),
        )  # fmt: skip

    @routes.get("/correct")
    def correct(
        request: Request,
        probe_id: str,
        quantity: Literal["temperature", "relative_humidity"] = "temperature",
        proposed: bool = False,
    ) -> Response:
        facts, log, view = known(desk, probe_id), desk.probe_logs()[probe_id], desk.view()
        what = Quantity(quantity)
        checks = log.checks.get(log.device(view.now).owner, ())
        found = field_check.proposal(checks, what) if proposed else None
        return desk.page(
            request, "probe_correct.html", view, tab="more", probe=facts, quantity=quantity,
            device=probe_view.device(log, view), **_filled_in(what, found, view),
        )  # fmt: skip

    @routes.get("/device")
    def device(request: Request, probe_id: str) -> Response:
        return desk.page(request, "probe_device.html", desk.view(), tab="more", probe=known(desk, probe_id))

    return routes


def _probe(desk: Desk, request: Request, probe_id: str) -> Response:
    facts, log, view = known(desk, probe_id), desk.probe_logs()[probe_id], desk.view()
    heard = desk.heard()
    measured = probe_view.quantities(heard.of(probe_id) if heard else ())
    return desk.page(
        request,
        "probe.html",
        view,
        tab="more",
        probe=facts,
        line=next((line for line in probe_lines(heard, {probe_id: log}, view) if line.id == probe_id), None)
        if heard
        else None,
        device=probe_view.device(log, view),
        stands_for=probe_view.stands_for(probe_id, desk.panels()),
        parts=[
            probe_view.quantity_view(probe_id, facts.accuracy_K, log, quantity, view) for quantity in measured
        ],
        ways=probe_view.ways(probe_id, measured),
        history=probe_view.history(probe_id, log, desk.shop.logbook.events(), view),
    )


def known(desk: Desk, probe_id: str) -> ProbeFacts:
    """The probe. Raises HTTPException 404 if the settings have none of that id."""
    found = next((probe for probe in desk.probes() if probe.id == probe_id), None)
    if found is None:
        raise HTTPException(404, LABELS["no_probe_page"])
    return found


def progress_of(desk: Desk, facts: ProbeFacts, against: str, since: int, at: int) -> Progress:
    """Where a check of a probe that has been in since `since` stands at `at` (UTC ms). Raises NotYet."""
    log = desk.probe_logs()[facts.id]
    return field_check.look(desk.shop.series, facts.id, facts.interval_s, log, against, since, at)


def _steps(against: str, view: View) -> list[str]:
    wait = view.span(field_check.wait_ms(against, 20.0), up=True)
    return [LABELS[step].format(wait=wait) for step in field_check.steps(against)]


def _filled_in(quantity: Quantity, found: Proposal | None, view: View) -> dict[str, Any]:
    """The sheet's fields on the viewer's scale: what a proposal says, else empty."""
    humid = quantity is Quantity.RELATIVE_HUMIDITY
    degree = 1.8 if view.unit == "degF" and not humid else 1.0

    def shown(value: float) -> str:
        return f"{value if humid else view.scale(value):.2f}"

    return {
        "unit": "%" if humid else view.unit,
        "points": [(shown(reads), shown(true)) for reads, true in found.points] if found else [],
        "width": f"{math.ceil(100 * found.half_width * degree) / 100:.2f}" if found else "",
        "margin": f"{(found.margin if found else field_check.MARGIN[quantity]) * degree:g}",
        "reference": found.reference if found else "",
        "since": view.time_field(found.since if found else view.now),
        "due": view.day_field(found.due_at if found else view.now + field_check.DUE_MS[quantity]),
    }
