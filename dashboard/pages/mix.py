"""Before you mix, and the mix itself: made from an address, so that both can be kept as a bookmark."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response

from dashboard import mix_form, mix_view
from dashboard.desk import Desk
from dashboard.display import UNITS, View
from dashboard.measures import FIELDS
from dashboard.mix_asked import AskError, Given, MixAsked, mix_of
from dashboard.mix_desk import MixDesk, Question, link
from dashboard.mix_hour import MixHour
from dashboard.mix_pots_view import work_view
from dashboard.mix_work import mix_work
from dashboard.pages.ages import ages
from dashboard.probe_view import notices, quantities
from dashboard.strips import counted, title
from dashboard.words import LABELS

PATH = "/mix"


def router(desk: Desk) -> APIRouter:
    """GET /mix and /mix/pots."""
    routes = APIRouter()
    mixing = MixDesk(desk)

    @routes.get(PATH)
    def before_you_mix(request: Request) -> Response:
        view = desk.view()
        question = asked(mixing, request)
        if question is None:
            return desk.page(request, "mix_nowhere.html", view, tab="mix")
        hour = mixing.hour(question, view)
        return desk.page(
            request,
            "mix.html",
            view,
            tab="mix",
            question=question,
            hour=mix_view.hour_view(hour, view),
            good_until=hour.good_until,
            worked_out=hour.at,
            ages=ages(view, hour.readings_to, hour.at),
            name=f"{_name(question)} · {question.card.id}",
            probes=_probe_lines(desk, question, hour, view),
            others=_others(mixing, question, view),
            pots=link(f"{PATH}/pots", question.address(view)),
            bottles=bottles_field(question, view),
            **choices(mixing, question),
        )

    @routes.get(f"{PATH}/pots")
    def the_mix(request: Request) -> Response:
        view = desk.view()
        question = asked(mixing, request)
        if question is None:
            return desk.page(request, "mix_nowhere.html", view, tab="mix")
        hour = mixing.hour(question, view, ahead_h=0)
        job, wrong = _job(request, question)
        told = question.asked
        work = mix_work(question.card, job, told.onto, told.bottles_C, hour.room_C)
        return desk.page(
            request,
            "mix_pots.html",
            view,
            tab="mix",
            question=question,
            hour=mix_view.hour_view(hour, view),
            good_until=hour.good_until,
            worked_out=hour.at,
            name=f"{_name(question)} · {question.card.id}",
            work=work_view(work, view) if work is not None else None,
            wrong=wrong,
            job=job,
            form=mix_form.form_of(job, view),
            logs=mix_form.logs_of(question, work, work_view(work, view) if work is not None else None),
            back=link(PATH, question.address(view)),
            bottles=bottles_field(question, view),
            **choices(mixing, question),
        )

    return routes


def _job(request: Request, question: Question) -> tuple[MixAsked, str]:
    """The mix that is asked for, and what cannot be understood, or ""."""
    try:
        return mix_of(Given(request.query_params.multi_items())), question.wrong
    except AskError as error:
        return MixAsked(), str(error)


def asked(mixing: MixDesk, request: Request) -> Question | None:
    """What the address asks. Raises HTTPException 404 for a spot or a card that is not there."""
    try:
        return mixing.question(Given(request.query_params.multi_items()))
    except AskError as error:
        raise HTTPException(404, str(error)) from error


def choices(mixing: MixDesk, question: Question) -> dict[str, object]:
    """What the selects of both pages offer."""
    names = mixing.desk.shop.cards()
    return {
        "spots": sorted(
            mixing.spots(), key=lambda spot: (not spot.is_panel, counted(spot.name) if spot.is_panel else [])
        ),
        "cards": names,
    }


def bottles_field(question: Question, view: View) -> dict[str, str]:
    """The field of the bottles' temperature: name, unit and value."""
    field = FIELDS["bottles"][view.unit]
    name = f"bottles_{field.end}"
    return {"name": name, "unit": UNITS[view.unit], "value": question.address(view).get(name, "")}


def _name(question: Question) -> str:
    return title(question.spot.panel) if question.spot.is_panel else question.spot.name


def _probe_lines(desk: Desk, question: Question, hour: MixHour, view: View) -> list[tuple[str, str]]:
    """Each probe of the spot with how old its reading is, and checks of it that are past due: text and link."""
    heard, logs, lines = desk.heard(), desk.probe_logs(), []
    panel = question.spot.panel
    for probe in dict.fromkeys((panel.surface_probe, panel.air_probe)):
        if probe is None:
            continue
        newest = heard.of(probe) if heard is not None else []
        last = max((reading.at for reading in newest), default=None)
        age = LABELS["never"] if last is None else view.age(last)
        late = notices(logs[probe], quantities(newest), view) if probe in logs else []
        lines.append((" ".join((f"{probe}: {age}.", *late)), f"/more/probes/{probe}"))
    return lines


def _others(mixing: MixDesk, question: Question, view: View) -> list[tuple[str, str, str]]:
    """Every other card: its id, its answer in short, and the page for it."""
    told = question.address(view)
    return [
        (hour.card.id, mix_view.card_row(hour, view), link(PATH, told | {"card": hour.card.id}))
        for hour in mixing.others(question, view)
    ]
