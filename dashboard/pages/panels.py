"""One panel: its answer, its night, its log; and the two sheets, register a panel and start a coat."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response

from collector.reading import ProbeFacts
from dashboard import strips, trace
from dashboard.assessment import Assessment
from dashboard.desk import Desk
from dashboard.display import View
from dashboard.entries import entries
from dashboard.logbook import SUBSTRATES, Panel
from dashboard.pages.ages import ages
from dashboard.strips import Button
from dashboard.words import LABELS
from model.verdict import State


def router(desk: Desk) -> APIRouter:
    """GET /panels/new, /panels/{id}, /panels/{id}/coat."""
    routes = APIRouter()

    @routes.get("/panels/new")
    def register(request: Request) -> Response:
        probes = desk.probes()
        return desk.page(
            request,
            "register.html",
            desk.view(),
            tab="round",
            zones=sorted({probe.zone for probe in probes}),
            surface=_placed(probes, "surface"),
            air=_placed(probes, "air"),
            substrates=SUBSTRATES,
        )

    @routes.get("/panels/{panel_id}")
    def one_panel(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        item, started = desk.assessment(panel_id)
        every = trace.rows(item, view) if item else []
        strip = strips.strip(panel, item, view, started)
        return desk.page(
            request,
            "panel.html",
            view,
            tab="round",
            panel=panel,
            strip=strip,
            ages=ages(view, strip.readings_to, strip.worked_out),
            next=_next(item, view),
            reasons=_reasons(item, view),
            has_chart=bool(every),
            summary=trace.summary(item, view) if item else "",
            table=trace.table(every),
            buttons=_buttons(panel, item, strip),
            log=entries(desk.shop.logbook.events(panel_id), view),
            held=item.cautions if item else (),
        )

    @routes.get("/panels/{panel_id}/coat")
    def start_coat(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        cards = sorted(desk.shop.cards())
        used = panel.newest.card if panel.newest else ""
        return desk.page(request, "coat.html", view, tab="round", panel=panel, cards=cards, used=used,
                         number=len(panel.coats) + 1)  # fmt: skip

    return routes


def find(desk: Desk, panel_id: str) -> Panel:
    """The panel. Raises HTTPException 404 if there is none of that id."""
    panel = desk.panels().get(panel_id)
    if panel is None:
        raise HTTPException(404, LABELS["no_panel"])
    return panel


def _placed(probes: list[ProbeFacts], place: str) -> list[ProbeFacts]:
    """Probes of that place first, all others after them: people hang an air probe on a panel too."""
    return sorted(probes, key=lambda probe: (probe.place != place, probe.zone, probe.id))


def _fresh(item: Assessment | None, view: View) -> bool:
    return item is not None and view.now < item.good_until


def _next(item: Assessment | None, view: View) -> str:
    if item is None or not _fresh(item, view) or item.verdict.next is None:
        return ""
    return view.sentence(item.verdict.next)


def _reasons(item: Assessment | None, view: View) -> list[str]:
    """All why-sentences; none for an answer that is too old."""
    if item is None or not _fresh(item, view):
        return []
    return [view.sentence(say) for say in item.verdict.why]


def _buttons(panel: Panel, item: Assessment | None, strip: strips.Strip) -> list[Button]:
    """The strip's button first, then what else may have been done; demoulding only where it may be."""
    here = f"/panels/{panel.id}"
    first = [strip.button] if strip.button.href not in (here, f"{here}#why") else []
    rest = [Button(LABELS["start_coat"].format(n=len(panel.coats) + 1), href=f"/panels/{panel.id}/coat")]
    if panel.coats:
        rest += [Button(LABELS["log_wash"], kind="washed"), Button(LABELS["log_sand"], kind="sanded")]
    if item is not None and item.verdict.state in (State.DEMOULDABLE, State.FULLY_CURED):
        rest.append(Button(LABELS["log_demould"], kind="demoulded"))
    return first + [button for button in rest if button not in first]
