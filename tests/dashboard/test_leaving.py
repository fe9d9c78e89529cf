"""Before you leave: what applies to each panel for the night, and why; nothing that does not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dashboard import leaving
from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.panel import Coat, Event, Panel, PlannedCoat
from dashboard.words import LABELS
from model.verdict import State
from tests.browser.fake_shop import utc
from tests.dashboard.client import Client
from tests.dashboard.night_shop import HOUR, NOW, NightShop, open_night
from tests.dashboard.test_asked import LEAVE, view


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NightShop]:
    """20:07 on a winter evening; nobody changes it."""
    shop = open_night(tmp_path_factory.mktemp("evening"))
    yield shop
    shop.close()


def test_the_evening_round_asks_what_applies_and_why(evening: NightShop) -> None:
    """20:07, people leave at 22:00."""
    client = Client(evening.app)
    told = {one["name"]: one["tasks"] for one in client.get("/api/tonight").json()["leaving"]}
    kinds = {name: [task["kind"] for task in tasks] for name, tasks in told.items()}
    assert kinds["Plug 7"] == ["cover", "heat"]
    assert kinds["Rib 1"] == ["probe"]
    assert "Box A" not in kinds
    page = client.get("/").text
    assert LABELS["before_leave"] in page
    for tasks in told.values():
        for task in tasks:
            assert task["do"] in page


@pytest.mark.parametrize(
    ("clock", "asks"),
    [("16:59", False), ("17:00", True), ("20:59", True), ("22:59", True), ("23:01", False), ("05:00", False)],
)
def test_before_you_leave_stands_from_six_to_midnight_when_people_leave_at_ten(
    clock: str, asks: bool
) -> None:
    """UTC; the shop's clock is an hour ahead."""
    assert leaving.is_evening(view(utc(f"2026-11-25 {clock}")), LEAVE) is asks


def stale(item: Assessment) -> Assessment:
    return replace(item, entries="", coats=1, coat=1)


def wet_coat(evening: NightShop, **more: Any) -> tuple[Panel, Assessment]:
    """Plug 7 as if it were still wet, its margin closing."""
    item = evening.item("plug-7")
    verdict = replace(item.verdict, state=State.WORKABLE)
    panel = Panel(
        "plug-7", "Plug 7", "shed", "S1", "A1", "wood",
        coats=(Coat(1, "invented-25min", NOW, NOW, "laminate", "e1"),), **more,
    )  # fmt: skip
    return panel, replace(stale(item), verdict=verdict)


def kinds(panel: Panel, item: Assessment | None) -> list[str]:
    return [task.kind for task in leaving.tasks(panel, item, view())]


def test_peel_ply_is_asked_for_on_the_last_coat_while_it_is_wet_and_will_be_exposed(
    evening: NightShop,
) -> None:
    panel, item = wet_coat(evening)
    assert "peel" in kinds(panel, item)
    coat = panel.coats[0]
    assert "peel" not in kinds(replace(panel, coats=(replace(coat, peel_ply=True),)), item)
    assert "peel" not in kinds(replace(panel, plan=(PlannedCoat("laminate"), PlannedCoat("fill"))), item)
    assert "peel" not in kinds(panel, replace(item, verdict=evening.item("plug-7").verdict))
    assert item.night is not None
    dry = replace(item, night=replace(item.night, closes_by=None, closes_at=None))
    assert "peel" not in kinds(panel, dry)
    blind = replace(item, night=replace(item.night, closes_by=None, closes_at=None, dew_point_C=()))
    assert "peel" in kinds(panel, blind)


def test_only_a_panel_much_colder_than_the_air_is_lifted_off_the_floor(evening: NightShop) -> None:
    panel, item = wet_coat(evening)
    assert item.panel_C is not None
    assert "floor" not in kinds(panel, item)
    colder = replace(item, air_C=item.panel_C + 2.0)
    assert "floor" in kinds(panel, colder)
    assert "floor" not in kinds(replace(panel, substrate="floor"), colder)
    assert "floor" not in kinds(replace(panel, surface_probe=None), colder)


def test_a_heater_that_is_on_is_asked_for_and_a_closed_panel_for_nothing(evening: NightShop) -> None:
    panel, item = wet_coat(evening)
    assert "heater" in kinds(replace(panel, heated_since=NOW - HOUR), item)
    assert kinds(replace(panel, closed=True), item) == []
    assert kinds(panel, None) == ["probe"]
    assert kinds(replace(panel, coats=()), None) == []


def test_an_evening_round_asked_again_goes_through_no_panel_whose_answer_is_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = open_night(tmp_path)
    client = Client(shop.app)
    gone_through: list[str] = []

    def counted(panel: Panel, item: Assessment | None, look: View) -> list[leaving.Task]:
        gone_through.append(panel.name)
        return tasks(panel, item, look)

    tasks = leaving.tasks
    monkeypatch.setattr(leaving, "tasks", counted)
    try:
        first = client.get("/").text
        answered = {"Lid 4", "Plug 7", "Deck 2"}
        assert answered < set(gone_through)
        gone_through.clear()
        shop.clock.at += 1000
        assert LABELS["before_leave"] in client.get("/").text
        assert not answered & set(gone_through)
        shop.later(0.1)
        client.get("/")
        assert answered < set(gone_through), "a new answer is looked at"
        gone_through.clear()
        shop.logbook.append(
            Event("hold", shop.clock.at, shop.clock.at, "Kim", "held", "plug-7", {"reason": "x"})
        )
        assert 'data-of="plug-7"' in first
        assert 'data-of="plug-7"' not in client.get("/").text
        shop.clock.at += 2 * HOUR
        assert 'data-of="lid-4"' not in client.get("/").text, "an answer that is too old says nothing"
    finally:
        shop.close()


def test_an_answer_that_still_holds_is_gone_through_again_for_another_night(evening: NightShop) -> None:
    """Its margin closes an hour after the first night has ended."""
    panel, item = wet_coat(evening)
    assert item.night is not None
    night = replace(item.night, closes_by=utc("2026-11-26 08:00"), closes_at=utc("2026-11-26 09:00"))
    young = tuple(replace(one, late=None, passed=0.0) for one in item.milestones)
    item = replace(item, night=night, milestones=young, good_until=NOW + 24 * HOUR)
    known = leaving.Tasks()
    looks = [view(at) for at in (NOW, utc("2026-11-26 04:59"), utc("2026-11-26 05:01"))]
    found = [known.of(panel, item, look) for look in looks]
    assert found == [leaving.tasks(panel, item, look) for look in looks]
    assert ["cover" in [task.kind for task in tasks] for tasks in found] == [False, False, True]
    assert known.of(panel, item, view(NOW + 25 * HOUR)) == leaving.tasks(panel, None, view())
