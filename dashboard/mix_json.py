"""Before you mix as the API and the command give it: numbers in SI and UTC ms, sentences beside them."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from dashboard import mix_words
from dashboard.display import View
from dashboard.mix_desk import Question
from dashboard.mix_hour import Choice, MixHour
from dashboard.mix_work import MixWork, Poured


def hour_json(question: Question, hour: MixHour, view: View) -> dict[str, Any]:
    """The answer and everything it rests on; answer None: not known."""
    found = hour.latest
    return {
        "spot": question.spot.id,
        "card": hour.card.id,
        "at": hour.at,
        "readings_to": hour.readings_to,
        "good_until": hour.good_until,
        "answer": hour.answer.value if hour.answer is not None else None,
        "headline": view.sentence(mix_words.headline(hour)),
        "asked": dataclasses.asdict(hour.asked),
        "now": dataclasses.asdict(hour.now) if hour.now is not None else None,
        "latest": None
        if found is None
        else dataclasses.asdict(found)
        | {"by_cold": hour.by_cold, "say": view.sentence(mix_words.latest(hour))},
        "best": None
        if hour.best is None
        else {"from_ms": hour.best[0].start.at_ms, "to_ms": hour.best[1].start.at_ms},
        "cold": dataclasses.asdict(hour.cold) if hour.cold is not None else None,
        "checks": [
            {"say": view.sentence(check.say), "stands": check.stands} for check in mix_words.checks(hour)
        ],
        "hours": [_choice(choice) for choice in hour.choices],
    }


def work_json(work: MixWork) -> dict[str, Any]:
    """The mix in SI: g, ml, h, mm, degC. None for an hour: never."""
    return {
        "card": work.card.id,
        "bottles_C": work.bottles_C,
        "bottles_assumed": work.assumed,
        "air_C": work.air_C,
        "vessel": "tray" if work.asked.tray else "cup",
        "now": _poured(work.now),
        "fill_coat": _poured(work.fill) if work.fill is not None else None,
        "wetting": [{"cloth_gm2": cloth.weight_gm2, "how": how.value} for cloth, how in work.wetting],
        "thickness_mm": work.thickness_mm,
        "stages": work.stages,
        "stage_mm": work.stage_mm,
    }


def _poured(of: Poured) -> dict[str, Any]:
    pots = of.pots
    return {
        "mixed_g": [of.mixed_g.low, of.mixed_g.high],
        "resin_g": of.taken.resin_g,
        "hardener_g": of.taken.hardener_g,
        "pots": pots.count if pots is not None else None,
        "each": dataclasses.asdict(pots.each) if pots is not None else None,
        "needed_h": pots.needed_h if pots is not None else None,
        "whole_h": of.whole_h,
    } | {name: _hours(value) for name, value in (vars(of.times).items() if of.times is not None else ())}


def _hours(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _choice(choice: Choice) -> dict[str, Any]:
    reasons = [
        {"topic": reason.topic.value, "value": reason.value, "limit": reason.limit, "stops": reason.stops}
        for reason in choice.reasons
    ]
    return dataclasses.asdict(choice.start) | {"answer": choice.answer.value, "reasons": reasons}
