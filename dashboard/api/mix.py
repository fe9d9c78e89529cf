"""The hour at a spot as JSON, by the same address as the page."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response

from dashboard.desk import Desk
from dashboard.mix_asked import AskError, Given, mix_of
from dashboard.mix_desk import MixDesk, Question
from dashboard.mix_json import hour_json, work_json
from dashboard.mix_work import mix_work
from dashboard.words import LABELS


def router(desk: Desk) -> APIRouter:
    """GET /api/mix and /api/mix/pots."""
    routes = APIRouter(prefix="/api")
    mixing = MixDesk(desk)

    @routes.get("/mix")
    def hour(request: Request) -> Response:
        """spot, card, onto, bottles_C or bottles_F, wood_pc, cloudy, crusted; none of them is needed."""
        view = desk.view()
        question = _question(mixing, request)
        return desk.json(request, hour_json(question, mixing.hour(question, view), view), view)

    @routes.get("/mix/pots")
    def pots(request: Request) -> Response:
        """The same and area_m2 or area_ft2, cloth_gm2 or cloth_ozyd2 with plies and weave, line by line, peel, tools,
        fills, amount_g or amount_oz, vessel, upright.
        """
        view = desk.view()
        question = _question(mixing, request)
        hour = mixing.hour(question, view, ahead_h=0)
        try:
            job = mix_of(Given(request.query_params.multi_items()))
        except AskError as error:
            raise HTTPException(422, str(error)) from error
        told = question.asked
        work = mix_work(question.card, job, told.onto, told.bottles_C, hour.room_C)
        if work is None:
            raise HTTPException(422, LABELS["ask_something"])
        return desk.json(request, work_json(work), view)

    return routes


def _question(mixing: MixDesk, request: Request) -> Question:
    """Raises HTTPException 404 where there is nothing to ask about, 422 for what cannot be understood."""
    try:
        question = mixing.question(Given(request.query_params.multi_items()))
    except AskError as error:
        raise HTTPException(404, str(error)) from error
    if question is None:
        raise HTTPException(404, LABELS["no_spot"])
    if question.wrong:
        raise HTTPException(422, question.wrong)
    return question
