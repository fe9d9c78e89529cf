"""What outsiders can name, where it leaves the house: tables for spreadsheets, and what the broker is told."""

from __future__ import annotations

import csv
import json

import pytest

from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.announce import verdict_payload, verdict_topic
from dashboard.entry import coat_event, register_event
from tests.browser.fake_shop import MINUTE, NOW, PROBES, answer, waiting
from tests.browser.hostile import HOSTILE, SHORT
from tests.door.house import House, Opened

FORMULAS = ["=1+1", "+1", "-1+1", "@SUM(A1)", '=cmd|"c calc"!A1']


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def cells_that_count(text: str) -> list[str]:
    """Cells of a table that a spreadsheet takes for a formula (OWASP, CSV Injection)."""
    cells = [cell for row in csv.reader(text.splitlines()) for cell in row]
    assert len(cells) > 20
    return [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t", "\r") and not is_number(cell)]


@pytest.mark.parametrize("name", FORMULAS)
def test_a_probe_called_like_a_formula_is_disarmed_in_a_records_table(opened: Opened, name: str) -> None:
    house = opened(heard=True, more_probes=(ProbeFacts(name, "shed", "surface", 30.0, 0.8),))
    _read(house, name)
    log = house.shop.logbook
    event = register_event("formula-0001", NOW - 60 * MINUTE, name, name, name, name, None, "wood", {})
    log.append(event)
    assert event.panel is not None
    log.append(coat_event("formula-0002", NOW - 20 * MINUTE, NOW, name, event.panel, "invented-25min"))
    caller = house.signed_in("Kim")
    told = caller.get(f"/api/panels/{event.panel}/record.csv")
    assert told.status_code == 200
    assert f"'{name}" in [cell for row in csv.reader(told.text.splitlines()) for cell in row]
    assert cells_that_count(told.text) == []


def _read(house: House, name: str) -> None:
    writer = Writer.open(house.shop.folder / "readings.db", house.clock)
    writer.describe([*PROBES, ProbeFacts(name, "shed", "surface", 30.0, 0.8)])
    times = [NOW - minute * MINUTE for minute in range(30)]
    writer.commit([Reading(name, Quantity.TEMPERATURE, -3.5, at, at) for at in times])
    writer.close()


@pytest.mark.parametrize("name", FORMULAS)
def test_a_person_called_like_a_formula_is_disarmed_in_the_trail(opened: Opened, name: str) -> None:
    house = opened()
    kim = house.signed_in("Kim")
    made = {"name": name, "role": "work", "password": "seven planks under rain"}
    assert kim.post("/door/accounts", made).status_code == 200
    assert house.caller().post("/door/in", {"name": name, "password": made["password"]}).status_code == 200
    told = kim.get("/door/trail.csv").text
    assert f"'{name}" in [cell for row in csv.reader(told.splitlines()) for cell in row]
    assert cells_that_count(told) == []


@pytest.mark.parametrize("name", [HOSTILE, SHORT, "#", "+/+", "a/../../x"])
def test_a_panels_name_makes_no_topic_of_its_own_and_stays_text_in_the_payload(name: str) -> None:
    event = register_event("topic-00001", NOW, "Kim", name, "shed", "S1", None, "wood", {})
    topic = verdict_topic("shed", str(event.panel))
    assert topic.split("/")[:3] == ["coldshed", "shed", "panel"]
    assert topic.count("/") == 4
    assert not set("+#\x00") & set(topic)
    payload = verdict_payload(answer(str(event.panel), name, waiting(NOW)), "Wait", [name])
    told = json.loads(payload)
    assert (told["name"], told["why"]) == (name, [name])
