"""Whatever is asked, the application answers as it says it does, and to nobody who may not ask: FAULTS A, row 16."""

from __future__ import annotations

from pathlib import Path

from dashboard.api.answers import ANSWERS
from dashboard.api.parameters import BY_HAND
from dashboard.described import BEYOND_ITS_FORM, BODIES, OWN_KIND
from tests.door.house import open_house
from tests.fuzz.asking import ask_as_everybody

EXAMPLES = 3
"""tests/long asks many times as many."""


def test_five_thousand_requests_are_answered_as_described_and_nobody_does_what_they_may_not(
    tmp_path: Path,
) -> None:
    asked = ask_as_everybody(tmp_path, EXAMPLES)
    assert asked.wrong == {}
    assert asked.unauthorised == []
    assert asked.failed == 0
    assert asked.cases >= 5000
    assert len(asked.done) > 60


def test_every_answer_in_json_has_its_type_and_every_type_is_some_answers(tmp_path: Path) -> None:
    house = open_house(tmp_path)
    made = house.shop.app.openapi()
    house.close()
    in_json = {
        f"{method.upper()} {path}"
        for path, methods in made["paths"].items()
        for method, operation in methods.items()
        if "application/json" in operation["responses"]["200"]["content"]
    }
    assert in_json == set(ANSWERS), "give each its type in dashboard/api/answers.py"
    there = {f"{method.upper()} {path}" for path, methods in made["paths"].items() for method in methods}
    assert {*BEYOND_ITS_FORM, *BODIES, *BY_HAND} <= there
    assert set(OWN_KIND) <= set(made["paths"])


def test_what_is_described_stays_the_same_however_often_it_is_asked_for(tmp_path: Path) -> None:
    house = open_house(tmp_path)
    first = house.shop.app.openapi()
    assert house.shop.app.openapi() == first
    house.close()
