"""The thumb log over the API: the answer at once, "Sure?", and what the log then shows."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.pages import felt as felt_page
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, open_shop, register, warm_night
from tests.dashboard.client import Client, new_id


@pytest.fixture
def warm(tmp_path: Path) -> Iterator[FakeShop]:
    """Three panels in a warm room, their only coats mixed 13 h, 10 h and 3 h ago."""
    shop = open_shop(tmp_path, filled=False, heard=True, sent=warm_night)
    for name, hours in (("Lid 4", 13), ("Rib 1", 10), ("Box A", 3)):
        panel = register(shop, name, 0)
        at = NOW - hours * HOUR
        tap = {
            "id": new_id(),
            "kind": "coat mixed",
            "panel": panel,
            "at": at,
            "body": {"card": "invented-25min"},
        }
        assert Client(shop.app).post("/api/events", tap).status_code == 200
        on = {"id": new_id(), "kind": "coat applied", "panel": panel, "at": at + 10 * MINUTE}
        assert Client(shop.app).post("/api/events", on).status_code == 200
    yield shop
    shop.close()


def felt(panel: str, *words: str, **more: object) -> dict[str, object]:
    body = {"words": list(words)} | {name: more.pop(name) for name in ("patchy", "tile_C") if name in more}
    return {"id": new_id(), "who": "Kim", "kind": "thumb test", "panel": panel, "body": body, **more}


def test_the_estimate_answers_at_once_and_says_how_it_moved(warm: FakeShop) -> None:
    answer = Client(warm.app).post("/api/events", felt("rib-1", "soft rubber")).json()
    moved = answer["moved"]
    assert moved["milestone"] == "sand"
    assert moved["shift_ms"] > 0
    assert 0 < moved["range_ms"] != moved["was_ms"]
    assert moved["said"].startswith("Sand ")
    assert " later; range now " in moved["said"]
    assert answer["sure"] is True


def test_a_double_tap_is_weighed_once(warm: FakeShop) -> None:
    tap = felt("rib-1", "soft rubber")
    client = Client(warm.app)
    first, second = client.post("/api/events", tap).json(), client.post("/api/events", tap).json()
    assert (first["new"], second["new"]) == (True, False)
    assert second["moved"]["said"] == ""
    assert len(warm.logbook.panels()["rib-1"].coats[-1].thumb_tests) == 1


def test_an_unlikely_answer_waits_in_the_log_until_it_is_confirmed(warm: FakeShop) -> None:
    client = Client(warm.app)
    tap = felt("box-a", "sands to dust")
    answer = client.post("/api/events", tap).json()
    assert answer["sure"] is False
    assert answer["moved"]["said"].endswith("Sure?")
    assert "not confirmed, does not count" in client.get("/panels/box-a").text
    again = client.post("/api/events", tap).json()
    assert (again["new"], again["sure"]) == (False, False), "asked again if its first answer was lost"
    sure = {"id": new_id(), "kind": "thumb sure", "panel": "box-a", "body": {"of": tap["id"]}}
    assert client.post("/api/events", sure).json()["said"] == "Thumb test confirmed 06:10"
    page = client.get("/panels/box-a").text
    assert "not confirmed" not in page
    assert warm.logbook.panels()["box-a"].coats[-1].thumb_tests[0].sure
    twice = client.post("/api/events", sure | {"id": new_id()})
    assert twice.status_code == 409
    assert "waits to be confirmed" in twice.json()["error"]["what"]


def test_taking_the_confirmation_back_asks_again(warm: FakeShop) -> None:
    client = Client(warm.app)
    tap, sure = felt("box-a", "sands to dust"), new_id()
    client.post("/api/events", tap)
    client.post(
        "/api/events", {"id": sure, "kind": "thumb sure", "panel": "box-a", "body": {"of": tap["id"]}}
    )
    back = {"id": new_id(), "kind": "withdrawn", "panel": "box-a", "event": sure}
    assert client.post("/api/events", back).status_code == 200
    assert not warm.logbook.panels()["box-a"].coats[-1].thumb_tests[0].sure
    assert "not confirmed, does not count" in client.get("/panels/box-a").text


def test_patchy_suspects_the_mix_and_stands_in_the_log(warm: FakeShop) -> None:
    client = Client(warm.app)
    answer = client.post("/api/events", felt("rib-1", "soft rubber", patchy=True)).json()
    assert answer["moved"]["said"] == "Now: Not known: coat 1 is hard here, soft there."
    assert "soft rubber, hard here and soft there" in client.get("/panels/rib-1").text


def test_an_earlier_test_is_weighed_at_its_own_time(warm: FakeShop) -> None:
    """Tape six hours ago is late news of a slow film, tape nine hours ago is what everybody expects."""
    client = Client(warm.app)
    late = client.post("/api/events", felt("rib-1", "tacky like tape", at=NOW - 5 * HOUR)).json()
    soon = client.post("/api/events", felt("lid-4", "tacky like tape", at=NOW - 10 * HOUR)).json()
    assert late["sure"] is False or late["moved"]["shift_ms"] > 0
    assert soon["sure"] is True


def test_hardness_is_logged_with_how_warm_it_was(warm: FakeShop) -> None:
    client = Client(warm.app)
    body = {"scale": "Shore D", "value": 71, "on": "tile", "at_C": 20.5}
    tap = {"id": new_id(), "kind": "hardness", "panel": "lid-4", "body": body}
    assert (
        client.post("/api/events", tap).json()["said"] == "Hardness 06:10: 71.0 Shore D, tile at 20.5\u00a0°C"
    )
    (tested,) = warm.logbook.panels()["lid-4"].coats[-1].hardness
    assert (tested.scale, tested.value, tested.on, tested.at_C) == ("Shore D", 71, "tile", 20.5)


def test_before_collect_ever_ran_a_test_is_kept_and_nothing_is_claimed(tmp_path: Path) -> None:
    shop = open_shop(tmp_path)
    answer = Client(shop.app).post("/api/events", felt("lid-4", "tack-free")).json()
    assert answer["new"] is True
    assert "cannot be worked out now" in answer["moved"]["said"]
    shop.close()


def test_opening_the_page_brings_the_readings_into_memory_so_that_the_tap_is_answered_at_once(
    warm: FakeShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    worked_out = []
    monkeypatch.setattr(felt_page, "assess", lambda facts, at: worked_out.append(facts))
    assert Client(warm.app).get("/panels/rib-1/thumb").status_code == 200
    (facts,) = worked_out
    assert facts.panel.id == "rib-1"
    assert len(facts.surface.samples.t) == 14 * 60


def test_before_collect_ever_ran_the_page_opens_all_the_same(tmp_path: Path) -> None:
    shop = open_shop(tmp_path)
    assert Client(shop.app).get("/panels/lid-4/thumb").status_code == 200
    shop.close()
