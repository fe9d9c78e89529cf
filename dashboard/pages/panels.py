"""One panel: its answer, its night, its log; and the two sheets, register a panel and start a coat."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter, HTTPException, Request, Response

from collector.reading import ProbeFacts
from dashboard import strips, trace
from dashboard.assessment import Assessment
from dashboard.desk import Desk
from dashboard.display import UNITS, View
from dashboard.entries import entries
from dashboard.figures import LEGEND
from dashboard.mix_hour import COATS
from dashboard.pages.ages import ages
from dashboard.panel import CoatKind, Panel
from dashboard.step_check import COAT_KINDS, SUBSTRATES, VESSELS
from dashboard.strips import Button, Strip
from dashboard.why import bare, why
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
            surface=placed(probes, "surface"),
            air=placed(probes, "air"),
            substrates=SUBSTRATES,
        )

    @routes.get("/panels/{panel_id}")
    def one_panel(request: Request, panel_id: str) -> Response:
        return _panel_page(desk, request, panel_id)

    @routes.get("/panels/{panel_id}/coat")
    def start_coat(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        cards = sorted(desk.shop.cards())
        planned = panel.next_planned
        used = (planned and planned.card) or (panel.newest.card if panel.newest else "")
        kind = planned.kind if planned else panel.newest.kind if panel.newest else CoatKind.LAMINATE.value
        item, started = desk.assessment(panel_id)
        now_C = item.panel_C if item is not None and _fresh(item, view) else None
        facts = desk.shop.card_facts()
        fits = [fit(card, *facts[card], now_C, view) for card in cards if card in facts]
        return desk.page(
            request, "coat.html", view, tab="round", panel=panel, cards=cards, used=used, fits=fits, kind=kind,
            number=len(panel.coats) + 1, kinds=COAT_KINDS, vessels=VESSELS, unit=UNITS[view.unit],
            lots=last_lots(desk.panels().values(), used),
            film=_no_coat_now(panel, item, strips.strip(panel, item, view, started)),
        )  # fmt: skip

    return routes


def _panel_page(desk: Desk, request: Request, panel_id: str) -> Response:
    """What to do with one panel, why, its chart, its coats and its log."""
    panel, view = find(desk, panel_id), desk.view()
    item, started = desk.assessment(panel_id)
    data = desk.chart(panel, item, desk.probe_logs())
    strip = strips.strip(panel, item, view, started)
    valid = item if strip.good_until is not None else None  # None: the strip does not rest on it
    return desk.page(
        request,
        "panel.html",
        view,
        tab="round",
        panel=panel,
        strip=strip,
        ages=ages(view, strip.readings_to, strip.worked_out),
        next=_next(valid, view),
        reasons=_reasons(valid, view),
        grounds=_grounds(desk, valid, strip, view),
        has_chart=data is not None,
        legend=LEGEND,
        summary=trace.summary(item, data, view) if item and data else "",
        table=trace.table(item, data, view) if item and data else [],
        buttons=_buttons(panel, valid, strip, view),
        log=entries(desk.shop.logbook.events(panel_id), view),
        held=item.cautions if item else (),
        plan=[
            (n, coat.kind, coat.card) for n, coat in enumerate(panel.plan, start=1) if n > len(panel.coats)
        ],
    )


def _no_coat_now(panel: Panel, item: Assessment | None, strip: Strip) -> Strip | None:
    """What the round says of a film that takes no coat now, or is not known to; None: one may be started."""
    if not (panel.coats or panel.hold):
        return None
    valid = item is not None and strip.good_until is not None
    return None if valid and item is not None and item.verdict.headline.key in COATS else strip


def last_lots(panels: Iterable[Panel], card: str) -> tuple[str, str]:
    """Lots of resin and hardener that were used last with a card, "" where nobody said."""
    coats = [coat for panel in panels for coat in panel.coats if coat.card == card]
    newest = max(coats, key=lambda coat: coat.mixed_at, default=None)
    return (newest.resin_lot or "", newest.hardener_lot or "") if newest else ("", "")


def find(desk: Desk, panel_id: str) -> Panel:
    """The panel. Raises HTTPException 404 if there is none of that id."""
    panel = desk.panels().get(panel_id)
    if panel is None:
        raise HTTPException(404, LABELS["no_panel"])
    return panel


def placed(probes: list[ProbeFacts], place: str) -> list[ProbeFacts]:
    """Probes of that place first, all others after them: people hang an air probe on a panel too."""
    return sorted(probes, key=lambda probe: (probe.place != place, probe.zone, probe.id))


def _fresh(item: Assessment | None, view: View) -> bool:
    return item is not None and not item.is_old(view.now)


def _next(item: Assessment | None, view: View) -> str:
    if item is None or not _fresh(item, view) or item.verdict.next is None:
        return ""
    return view.sentence(item.verdict.next)


def _reasons(item: Assessment | None, view: View) -> list[str]:
    """All why-sentences; none for an answer that is too old."""
    if item is None or not _fresh(item, view):
        return []
    return [view.sentence(say) for say in item.verdict.why]


def _grounds(desk: Desk, item: Assessment | None, strip: Strip, view: View) -> list[tuple[str, list[str]]]:
    """What Why says below the reasons: headings, each with its sentences."""
    good = item is not None and _fresh(item, view) and item.verdict.headline.key == strip.key
    parts = why(item, desk.shop.card(item.card), view) if item is not None and good else bare(strip.key)
    return [(part.title, [view.sentence(say) for say in part.says]) for part in parts]


@dataclass(frozen=True)
class Fit:
    """How a panel's temperature fits a card: the numbers, and what is wrong with them, "" if nothing is."""

    card: str
    text: str
    wrong: str


def fit(card: str, minimum_C: float, maximum_C: float, panel_C: float | None, view: View) -> Fit:
    """ "Panel 3.6 °C; this card's minimum is 10 °C." and what that means; panel_C None: not known."""
    minimum = view.temperature(minimum_C, "minimum_C", whole=True)
    if panel_C is None:
        return Fit(card, "", LABELS["card_unmeasured"].format(minimum=minimum))
    text = LABELS["card_fits"].format(panel=view.temperature(panel_C), minimum=minimum)
    if panel_C < minimum_C:
        return Fit(card, text, LABELS["card_cold"])
    if panel_C > maximum_C:
        maximum = view.temperature(maximum_C, "maximum_C", whole=True)
        return Fit(card, text, LABELS["card_hot"].format(maximum=maximum))
    return Fit(card, text, "")


def _buttons(panel: Panel, item: Assessment | None, strip: strips.Strip, view: View) -> list[Button]:
    """The strip's own first, then what else may have been done by now, and last the next coat.

    A coat that is still liquid or soft is neither washed nor sanded, nor is the next begun while one is in the pot;
    demoulding only where it may be. A panel on hold is released before anything else.
    """
    if panel.closed:
        return []
    if strip.held:
        return [strip.button]
    here = f"/panels/{panel.id}"
    first = [] if strip.button.href == here else [strip.button]
    state = item.verdict.state if item is not None and _fresh(item, view) else None
    rest = []
    if panel.coats and state not in (State.IN_THE_POT, State.WORKABLE, State.SETTING):
        rest += [Button(LABELS["log_wash"], kind="washed"), Button(LABELS["log_sand"], kind="sanded")]
        rest.append(Button(LABELS["thumb_test"], href=f"{here}/thumb"))
    if state in (State.DEMOULDABLE, State.FULLY_CURED):
        rest.append(Button(LABELS["demould"], href=f"{here}/demould"))
    if state is State.IN_THE_POT:
        rest.append(Button(LABELS["the_pot"], href=f"{here}/pot"))
    if not panel.coats:
        rest.append(strips.check_hour(panel))
    if state is not State.IN_THE_POT:
        rest.append(Button(LABELS["start_coat"].format(n=len(panel.coats) + 1), href=f"{here}/coat"))
    return first + [button for button in rest if button not in first]
