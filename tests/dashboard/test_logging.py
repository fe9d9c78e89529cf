"""What a tap does: one entry, absorbed when it comes twice, taken back without being lost."""

from __future__ import annotations

from typing import Any

import apsw
import pytest

from dashboard import words
from dashboard.logbook import Logbook
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, open_shop
from tests.dashboard.client import Client, new_id


def coat(**more: object) -> dict[str, object]:
    return {
        "id": new_id(),
        "who": "Kim",
        "kind": "coat mixed",
        "panel": "lid-4",
        "body": {"card": "invented-25min"},
        **more,
    }


def test_a_double_tap_is_one_entry(shop: FakeShop, client: Client) -> None:
    tap = coat()
    first, second = client.post("/api/events", tap), client.post("/api/events", tap)
    assert first.json() == {
        "event": tap["id"], "new": True, "recorded": NOW, "gone": False, "said": "Coat 3 started 06:10",
    }  # fmt: skip
    assert second.json()["new"] is False
    assert len(shop.logbook.panels()["lid-4"].coats) == 3


@pytest.mark.parametrize(
    ("path", "other"),
    [
        ("/api/events", {"kind": "washed", "panel": "lid-4"}),
        ("/api/events", {"kind": "coat mixed", "panel": "rib-1", "body": {"card": "invented-25min"}}),
        ("/api/events", {"kind": "preference", "key": "unit", "value": "degF"}),
        ("/api/panels", {"name": "Hatch", "zone": "shed", "substrate": "wood", "surface_probe": "S1"}),
    ],
)
def test_another_entry_with_the_id_of_one_is_refused_and_not_taken_for_it(
    shop: FakeShop, client: Client, path: str, other: dict[str, object]
) -> None:
    """It would be answered as if it had been logged, and be lost."""
    tap = coat()
    client.post("/api/events", tap)
    before = shop.logbook.events()
    answer = client.post(path, {"id": tap["id"], **other})
    assert answer.status_code == 409
    assert "id of its own" in answer.json()["error"]["what"]
    assert shop.logbook.events() == before


def test_what_comes_twice_is_answered_by_what_was_logged_first(shop: FakeShop, client: Client) -> None:
    tap = coat()
    first = client.post("/api/events", tap).json()
    again = client.post("/api/events", tap | {"at": 253_000_000_000_000}).json()
    assert again["said"] == first["said"]


@pytest.mark.parametrize(
    "told",
    [
        {"at": 253_370_764_800_000},
        {"at": str(NOW)},
        {"at": True},
        {"body": {"card": "invented-25min", "peel_ply": 1}},
        {"body": {"card": "invented-25min", "pot": {"resin_g": "200"}}},
    ],
)
def test_a_time_beyond_the_calendar_and_a_text_for_a_number_are_refused(
    shop: FakeShop, client: Client, told: dict[str, object]
) -> None:
    before = shop.logbook.events()
    assert client.post("/api/events", coat(**told)).status_code == 422
    assert shop.logbook.events() == before


def test_a_coat_may_have_been_mixed_earlier_but_not_later_than_now(shop: FakeShop, client: Client) -> None:
    assert client.post("/api/events", coat(at=NOW - 20 * MINUTE)).status_code == 200
    assert shop.logbook.panels()["lid-4"].coats[-1].mixed_at == NOW - 20 * MINUTE
    answer = client.post("/api/events", coat(at=NOW + 10 * MINUTE))
    assert answer.status_code == 409
    assert "still to come" in answer.json()["error"]["what"]


def test_a_card_that_is_not_there_is_refused_and_the_others_are_named(client: Client) -> None:
    answer = client.post("/api/events", coat(body={"card": "invented-none"}))
    assert answer.status_code == 409
    assert "invented-25min" in answer.json()["error"]["what"]


def test_taken_back_means_struck_through_with_who_and_when(shop: FakeShop, client: Client) -> None:
    tap = coat()
    client.post("/api/events", tap)
    back = {"id": new_id(), "who": "Ola", "kind": "withdrawn", "panel": "lid-4", "event": tap["id"]}
    assert client.post("/api/events", back).json()["new"] is True
    assert len(shop.logbook.panels()["lid-4"].coats) == 2
    page = client.get("/panels/lid-4").text
    assert "<s>Coat 3 started 06:10</s> taken back 06:10 by Ola" in page


def test_a_panel_gets_its_id_from_its_name_and_a_second_tap_the_same_one(client: Client) -> None:
    body = {
        "id": new_id(),
        "name": "Ski Böx 9",
        "zone": "shed",
        "surface_probe": "S1",
        "air_probe": None,
        "substrate": "foam",
    }
    assert client.post("/api/panels", body).json() == {"event": body["id"], "new": True, "panel": "ski-box-9"}
    assert client.post("/api/panels", body).json() == {
        "event": body["id"],
        "new": False,
        "panel": "ski-box-9",
    }
    assert client.get("/panels/ski-box-9").status_code == 200


def test_a_panel_of_the_same_name_is_refused(client: Client) -> None:
    body = {"id": new_id(), "name": "Lid 4", "zone": "shed", "air_probe": "A1", "substrate": "wood"}
    answer = client.post("/api/panels", body)
    assert answer.status_code == 409
    assert "Lid 4" in answer.json()["error"]["what"]


def test_the_shops_unit_turns_every_page(client: Client) -> None:
    entry = {"id": new_id(), "kind": "preference", "key": "unit", "value": "degF"}
    assert client.post("/api/events", entry).status_code == 200
    page = client.get("/").text
    assert "Warm it above 54\u00a0°F" in page
    assert "Panel 1.4\u00a0°F under dew point" in page
    assert "°C" not in page


def test_a_unit_that_nobody_knows_is_refused(client: Client) -> None:
    answer = client.post("/api/events", {"id": new_id(), "kind": "preference", "key": "unit", "value": "K"})
    assert answer.status_code == 422


def test_a_seen_alarm_gives_the_title_back(client: Client) -> None:
    assert "Warm Plug 7" in client.get("/").text
    client.post(
        "/api/events", {"id": new_id(), "who": "Kim", "kind": "alarm seen", "alarm": "too cold:plug-7:1"}
    )
    page = client.get("/").text
    assert "Warm Plug 7: 5" not in page
    assert "<h1>Morning round</h1>" in page
    assert "seen 06:10 by Kim" in client.get("/more/alarms").text


@pytest.mark.parametrize("path", ["/", "/panels/plug-7", "/api/panels/plug-7/chart", "/api/round"])
def test_an_unchanged_page_is_not_sent_again_but_its_time_is(client: Client, path: str) -> None:
    first = client.get(path)
    again = client.get(path, **{"if-none-match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""
    assert again.headers["coldshed-now"] == str(NOW)


def test_after_noon_it_is_the_evening_round(shop: FakeShop, client: Client) -> None:
    shop.clock.at = NOW + 8 * HOUR  # type: ignore[attr-defined]
    assert "Evening round" in client.get("/").text


def test_watch_that_never_ran_is_told_in_words(tmp_path, client: Client) -> None:
    empty = open_shop(tmp_path / "new", filled=False)
    empty.store.close()
    (empty.folder / "watch.db").unlink()
    fresh = Client(empty.app)
    assert "No panel yet" in fresh.get("/").text
    fresh.post(
        "/api/panels",
        {"id": new_id(), "name": "First", "zone": "shed", "air_probe": "A1", "substrate": "wood"},
    )
    assert "Not known: watch has not started" in fresh.get("/").text
    assert fresh.get("/panels/first").status_code == 200
    assert fresh.get("/api/health").json()["watch"].startswith("watch.db is not there yet")
    empty.logbook.close()


def test_a_late_page_turns_to_not_known_on_the_server_too(shop: FakeShop, client: Client) -> None:
    shop.clock.at = NOW + 10 * MINUTE  # type: ignore[attr-defined]
    page = client.get("/").text
    assert page.count("Not known: this answer is too old") >= 5
    assert "Last said 06:10: Recoat before 06:50." in page


def register(client: Client, **more: object) -> Any:
    body = {"id": new_id(), "name": "Hatch 2", "zone": "shed", "substrate": "wood", **more}
    return client.post("/api/panels", body), body["id"]


def test_a_panel_without_any_probe_is_refused_in_a_whole_sentence(shop: FakeShop, client: Client) -> None:
    answer, _ = register(client)
    assert answer.status_code == 409
    assert answer.json()["error"]["what"] == words.LABELS["needs_probe"] + "."
    assert "hatch-2" not in shop.logbook.panels()


def test_every_refusal_is_sentences_with_a_capital_and_a_full_stop(client: Client) -> None:
    for body in (coat(at=NOW + HOUR), coat(panel="none"), coat(body={"card": "none"}), {"kind": "none"}):
        error = client.post("/api/events", body).json()["error"]
        for text in error.values():
            assert text[0] == text[0].upper(), text
            assert text.endswith("."), text


def test_a_registration_is_taken_back_while_the_panel_has_no_coat(shop: FakeShop, client: Client) -> None:
    _, made = register(client, air_probe="A1")
    back = {"id": new_id(), "kind": "withdrawn", "panel": "hatch-2", "event": made}
    answer = client.post("/api/events", back).json()
    assert (answer["new"], answer["gone"]) == (True, True)
    assert "hatch-2" not in shop.logbook.panels()
    assert client.get("/panels/hatch-2").status_code == 404
    again, _ = register(client, air_probe="A1")
    assert again.json()["panel"] == "hatch-2", "its name is free again"


def test_a_registration_with_a_coat_is_kept(shop: FakeShop, client: Client) -> None:
    page = client.get("/panels/lid-4").text
    assert "/panels/lid-4/log/lid-4-00000001" in page
    assert "/panels/lid-4/log/lid-4-00000000" not in page
    assert client.get("/panels/lid-4/log/lid-4-00000000").status_code == 404
    back = {"id": new_id(), "kind": "withdrawn", "panel": "lid-4", "event": "lid-4-00000000"}
    answer = client.post("/api/events", back)
    assert answer.status_code == 409
    assert "coat" in answer.json()["error"]["what"]
    assert "lid-4" in shop.logbook.panels()


def test_a_coat_is_logged_as_applied_and_that_is_taken_back(shop: FakeShop, client: Client) -> None:
    coat = shop.logbook.panels()["lid-4"].newest
    assert coat is not None
    on = coat.mixed_at + 10 * MINUTE
    tap = {"id": new_id(), "kind": "coat applied", "panel": "lid-4", "at": on}
    said = client.post("/api/events", tap).json()["said"]
    assert said.startswith("Coat on ")
    assert shop.logbook.panels()["lid-4"].newest.applied_at == on
    client.post("/api/events", {"id": new_id(), "kind": "withdrawn", "panel": "lid-4", "event": tap["id"]})
    assert shop.logbook.panels()["lid-4"].newest.applied_at is None
    assert f"<s>{said}</s> taken back 06:10 by somebody" in client.get("/panels/lid-4").text


def test_a_closed_panel_leaves_the_round_stays_readable_and_can_be_opened_again(client: Client) -> None:
    """Nothing watches it, nothing is logged on it; taking the closing back brings it back."""
    closed = client.post("/api/events", {"id": "close-0001", "kind": "closed", "panel": "box-a"})
    assert closed.status_code == 200
    assert closed.json()["gone"] is True
    assert "box-a" not in [strip["panel"] for strip in client.get("/api/round").json()["strips"]]
    page = client.get("/panels/box-a").text
    assert "this panel is closed" in page
    assert "Log sand" not in page
    assert "Box A" in client.get("/more").text
    refused = client.post("/api/events", {"id": "wash-00001", "kind": "washed", "panel": "box-a"})
    assert refused.status_code == 409
    back = client.post(
        "/api/events", {"id": "open-00001", "kind": "withdrawn", "panel": "box-a", "event": "close-0001"}
    )
    assert back.status_code == 200
    assert "box-a" in [strip["panel"] for strip in client.get("/api/round").json()["strips"]]


def test_health_tells_a_watch_that_has_died_from_one_that_works(shop: FakeShop, client: Client) -> None:
    """Old answers are no sign of life."""
    assert client.get("/api/health").json()["watch"] == "running"
    shop.clock.at += 3 * MINUTE + 1
    assert client.get("/api/health").json()["watch"] == "silent"


def test_a_tap_on_a_full_disk_is_refused_with_what_to_do(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> bool:
        raise apsw.FullError("database or disk is full")

    monkeypatch.setattr(Logbook, "append", full)
    body = {"id": new_id(), "name": "Lid 9", "zone": "shed", "air_probe": "A1", "substrate": "wood"}
    answer = client.post("/api/panels", body)
    assert answer.status_code == 503
    assert answer.json()["error"]["what"] == "Nothing was logged: disk full."
