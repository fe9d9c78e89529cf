"""The form of the mix: its fields as they were filled in, in the viewer's units, and what its buttons log."""

from __future__ import annotations

import json
from dataclasses import dataclass

from dashboard.display import View
from dashboard.measures import FIELDS, typed
from dashboard.mix_asked import ClothAsked, MixAsked
from dashboard.mix_desk import Question
from dashboard.mix_pots_view import WorkView
from dashboard.mix_work import MixWork
from dashboard.words import LABELS
from model.layup import Cloth

LEAST_ROWS = 3


@dataclass(frozen=True)
class Number:
    """One number field: the name in the address, its unit, what stands in it, its step."""

    name: str
    unit: str
    value: str
    step: float


@dataclass(frozen=True)
class ClothRow:
    """One line of cloth."""

    weight: str
    plies: str
    kind: str


@dataclass(frozen=True)
class Form:
    area: Number
    amount: Number
    cloth: Number
    rows: tuple[ClothRow, ...]


@dataclass(frozen=True)
class Log:
    """A button that logs that it was mixed: its label and the entry's body as JSON."""

    label: str
    kind: str
    body: str


def form_of(job: MixAsked, view: View) -> Form:
    """What was asked, in this viewer's units, with empty lines for more cloth."""
    rows = [_row(cloth, view) for cloth in job.cloths]
    rows += [ClothRow("", "", Cloth.WOVEN.value)] * max(LEAST_ROWS - len(rows), 1)
    return Form(
        _number("area", job.area_m2, view),
        _number("amount", job.amount_g, view),
        _number("cloth", None, view),
        tuple(rows),
    )


def logs_of(question: Question, work: MixWork | None, seen: WorkView | None) -> list[Log]:
    """What may be logged of this mix: the next coat of the panel, and another pot for the coat that is being mixed."""
    panel = question.spot.panel
    if (
        not question.spot.is_panel
        or work is None
        or seen is None
        or seen.resin_g is None
        or seen.hardener_g is None
    ):
        return []
    pot = {
        "asked_g": round(seen.resin_g + seen.hardener_g, 1),
        "vessel": "tray" if work.asked.tray else "cup",
    } | ({} if work.assumed else {"bottles_C": round(work.bottles_C, 2)})
    kind = _kind(question, work)
    coat = {"card": question.card.id, "kind": kind, "peel_ply": work.asked.peel, "pot": pot}
    found = [
        Log(LABELS["mixed_coat"].format(n=len(panel.coats) + 1), "coat mixed", json.dumps(coat)),
    ]
    newest = panel.newest
    if newest is not None and newest.applied_at is None and newest.card == question.card.id:
        label = LABELS["mixed_pot"].format(n=newest.number)
        found.insert(0, Log(label, "pot mixed", json.dumps({"pot": pot})))
    return found


def _kind(question: Question, work: MixWork) -> str:
    """As planned; else what was worked out tells: cloth is a laminate, none on something bare a seal, none a fill."""
    panel = question.spot.panel
    if panel.next_planned is not None:
        return panel.next_planned.kind
    if work.asked.cloths or work.asked.area_m2 is None:
        return "laminate"
    return "seal" if question.asked.onto != "other" else "fill" if work.asked.fills else "laminate"


def _number(name: str, value: float | None, view: View) -> Number:
    field = FIELDS[name][view.measures]
    return Number(f"{name}_{field.end}", field.unit, "" if value is None else typed(value, field), field.step)


def _row(cloth: ClothAsked, view: View) -> ClothRow:
    return ClothRow(
        typed(cloth.weight_gm2, FIELDS["cloth"][view.measures]), str(cloth.plies), cloth.kind.value
    )
