"""Tonight: of the whole shop, and of one panel with its chart, its steppers and what they would change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from collector.store.schema import NotYet
from dashboard import night_chart, tonight
from dashboard.asked import WHATS, NotAsked, Question, night_end, question, step, time_text
from dashboard.assessment import Assessment
from dashboard.desk import Desk
from dashboard.display import View
from dashboard.night_strip import ORDER, Answer, is_fresh, night_strip, said
from dashboard.pages.ages import ages
from dashboard.pages.panels import find
from dashboard.panel import Panel
from dashboard.strips import counted
from dashboard.suppose import CannotSuppose
from dashboard.supposing import Busy
from dashboard.words import LABELS
from model.resin_card import Milestone
from model.what_if import RAMP_K_H


def router(desk: Desk) -> APIRouter:
    """GET /tonight, /tonight/{panel}."""
    routes = APIRouter()

    @routes.get("/tonight")
    def of_the_shop(request: Request, zone: str | None = None) -> Response:
        view, latest = desk.view(), desk.latest()
        by_panel = {item.panel: item for item in latest or ()}
        open_panels = [panel for panel in desk.panels().values() if not panel.closed]
        found = [(panel, by_panel.get(panel.id)) for panel in open_panels if zone in (None, panel.zone)]
        nights = sorted(
            (night_strip(panel, item, view, latest is not None) for panel, item in found),
            key=lambda one: (ORDER.index(one.mark), counted(one.name)),
        )
        fresh = [(panel.zone, item) for panel, item in found if item and is_fresh(panel, item, view)]
        known = [one for one in nights if one.known]
        return desk.page(
            request,
            "tonight.html",
            view,
            tab="tonight",
            nights=nights,
            zone=zone,
            shop_zones=sorted({panel.zone for panel in open_panels}),
            zones=[view.sentence(say) for say in tonight.zone_lines(fresh, view)],
            good_until=min((one.good_until for one in known if one.good_until), default=None),
            ages=ages(
                view,
                min((one.readings_to for one in known if one.readings_to is not None), default=None),
                min((one.worked_out for one in known if one.worked_out is not None), default=None),
            ),
        )

    @routes.get("/tonight/{panel_id}")
    def of_a_panel(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        item, started = desk.assessment(panel_id)
        night = night_strip(panel, item, view, started)
        asked = {key: value for key, value in request.query_params.items() if value}
        form, answer = supposed(desk, panel, item if night.may_suppose else None, view, asked)
        shown = item if item is not None and night.known else None
        drawn = answer.reply.if_so if answer.reply is not None else None
        return desk.page(
            request,
            "tonight_panel.html",
            view,
            tab="tonight",
            panel=panel,
            night=night,
            ages=ages(view, night.readings_to, night.worked_out),
            chart=night_chart.chart(shown, view, drawn) if shown else None,
            size=(night_chart.WIDTH, night_chart.HEIGHT),
            plot=(night_chart.LEFT, night_chart.RIGHT, night_chart.TOP, night_chart.BOTTOM),
            rows=night_chart.table(shown, view, drawn) if shown else [],
            form=form,
            answer=answer,
            cards=sorted(desk.shop.cards()),
            whats=[(what.value, LABELS[f"what_{what.value}"]) for what in WHATS],
        )

    return routes


@dataclass(frozen=True)
class Form:
    """The fields as they stand, as text; what and by: of the button that asks for the least heat."""

    hold: str
    begin: str
    end: str
    rise: str
    start: str
    card: str
    until: str
    by: str
    least: str


def supposed(
    desk: Desk, panel: Panel, item: Assessment | None, view: View, asked: Mapping[str, str]
) -> tuple[Form, Answer]:
    """The form with what was asked in it, and the answer; item None: nothing is known to suppose on."""
    leave, gel = desk.shop.leave_minute, tonight.gels_at(item)
    try:
        fields = step(asked, view, leave, gel)
        read = question(asked, view, leave, gel, desk.shop.cards())
        form = _form(fields, read, view)
        if item is None or read.is_bare:
            return form, Answer()
        answer = _answer(desk, panel, item, view, read)
        return (_form(fields | {"hold": answer.hold}, read, view) if answer.hold else form), answer
    except NotAsked as error:
        usual = question({}, view, leave, gel, ())
        return _form(dict(asked), usual, view), Answer(problem=str(error))


def _answer(desk: Desk, panel: Panel, item: Assessment, view: View, read: Question) -> Answer:
    try:
        reply = desk.supposing.ask(panel, item, read)
    except Busy:
        return Answer(problem=LABELS["busy"])
    except CannotSuppose as error:
        return Answer(problem=LABELS[str(error)])
    except NotYet:
        return Answer(problem=LABELS["if_not_known"])
    return said(reply, read, view, desk.shop.leave_minute)


def _form(fields: Mapping[str, str], read: Question, view: View) -> Form:
    begin, end = (time_text(at, view) for at in (read.plan.from_ms, read.plan.to_ms))
    what = fields.get("until", Milestone.SAND.value)
    by = fields.get("by", time_text(night_end(view), view))
    label = LABELS.get(f"what_{what}", LABELS["what_sand"])
    rise = RAMP_K_H * (1.8 if view.unit == "degF" else 1.0)
    return Form(
        hold=fields.get("hold", ""),
        begin=fields.get("from", begin),
        end=fields.get("to", end),
        rise=fields.get("rise", f"{rise:g}"),
        start=fields.get("start", ""),
        card=fields.get("card", ""),
        until=what,
        by=by,
        least=LABELS["least_heat"].format(what=label, at=by),
    )
