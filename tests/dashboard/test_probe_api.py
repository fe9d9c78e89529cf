"""What is logged of a probe over the API: in SI whatever was typed, once, by this shop's own pages, or refused."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from collector.reading import Quantity
from dashboard.cli.log_entry import _request
from dashboard.correction import Correction
from dashboard.entry import check_event, correction_event, device_event
from dashboard.field_check import ICE, Comparison
from dashboard.panel import Event
from tests.browser.fake_shop import MINUTE, NOW, FakeShop, open_shop
from tests.dashboard.client import Client, new_id

DAY = 24 * 60 * MINUTE


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FakeShop]:
    opened = open_shop(tmp_path, heard=True)
    yield opened
    opened.close()


@pytest.fixture
def client(shop: FakeShop) -> Client:
    return Client(shop.app)


def body(**more: Any) -> dict[str, Any]:
    return {
        "id": new_id(), "quantity": "temperature", "unit": "degC", "points": [[0.4, 0.0]], "half_width": 0.1,
        "margin": 15.0, "reference": "ice water", "since": NOW - DAY,
    } | more  # fmt: skip


def test_a_correction_typed_in_fahrenheit_is_stored_and_applied_in_celsius(client: Client) -> None:
    """32.9 °F where 32 °F is true: 0.5 K too high; widths convert without offset (5/9)."""
    answer = client.post(
        "/api/probes/S1/correction", body(unit="degF", points=[[32.9, 32]], half_width=0.36, margin=27)
    )
    assert answer.status_code == 200, answer.text
    told = client.get("/api/probes/S1").json()
    made = told["corrections"][0]["correction"]
    assert made["points"] == [[pytest.approx(0.5), 0.0]]
    assert (made["half_width"], made["margin"]) == (pytest.approx(0.2), pytest.approx(15.0))
    value = told["values"][0]
    assert (value["raw"], value["corrected"]) == (0.4, pytest.approx(-0.1))
    assert value["correction"] == made["version"]


def test_a_double_tap_is_one_entry_and_taking_back_needs_no_panel(client: Client, shop: FakeShop) -> None:
    entry = body()
    assert [client.post("/api/probes/S1/correction", entry).json()["new"] for _ in range(2)] == [True, False]
    back = client.post("/api/events", {"id": new_id(), "kind": "withdrawn", "event": entry["id"]})
    assert back.status_code == 200, back.text
    assert client.get("/api/probes/S1").json()["corrections"] == []
    assert [event.kind for event in shop.logbook.events()][-2:] == ["correction entered", "withdrawn"]


def test_a_check_is_worked_out_from_the_readings_not_from_what_the_page_says(
    client: Client, shop: FakeShop
) -> None:
    entry = {"id": new_id(), "against": "ice water", "since": NOW - 8 * MINUTE, "due_at": NOW + 365 * DAY}
    assert (
        client.get(f"/api/probes/S1/check?against=ice%20water&since={entry['since']}").json()["state"]
        == "steady"
    )
    assert client.post("/api/probes/S1/check", entry).json()["new"]
    assert not client.post("/api/probes/S1/check", entry).json()["new"]
    found = client.get("/api/probes/S1").json()["checks"][0]
    assert (found["stage"], found["true"], found["error"]) == ("as found", 0.0, pytest.approx(0.4))
    assert client.get("/api/probes/S1").json()["due"] == {"temperature": NOW + 365 * DAY}
    assert set(shop.logbook.events()[-1].body["readings"]) == {0.4}


@pytest.mark.parametrize(
    ("path", "entry", "status", "says"),
    [
        ("S9/device", {"serial": "X7"}, 404, "no such probe"),
        ("S1/device", {"serial": ""}, 422, "serial"),
        ("S1/device", {"serial": "X7", "since": NOW + DAY}, 409, "still to come"),
        ("S1/correction", body(points=[[40, 0]]), 409, "broken probe"),
        ("S1/correction", body(unit="%"), 409, "allowed: degC, degF"),
        ("S1/correction", body(half_width="0.1"), 422, "half_width"),
        ("S1/correction", body(points=[]), 422, "points"),
        ("S1/correction", body(due_at=NOW - 2 * DAY), 409, "later day"),
        ("S1/check", {"against": "sugar", "since": 0}, 422, "sodium chloride"),
        ("S1/check", {"against": "ice water", "since": NOW - MINUTE}, 409, "come to rest"),
        ("S1/check", {"against": "sodium chloride", "since": 0}, 409, "come to rest"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_is_written(
    client: Client, shop: FakeShop, path: str, entry: dict[str, Any], status: int, says: str
) -> None:
    before = shop.logbook.version()
    answer = client.post(f"/api/probes/{path}", {"id": new_id()} | entry)
    assert answer.status_code == status, answer.text
    assert says.lower() in answer.json()["error"]["what"].lower()
    assert shop.logbook.version() == before


@pytest.mark.parametrize("path", ["device", "correction", "check"])
def test_only_this_shops_own_pages_log(client: Client, shop: FakeShop, path: str) -> None:
    """OWASP ASVS 5.0.0, 3.5: a cross-site POST is refused before any route sees it."""
    before = shop.logbook.version()
    answer = client.send(
        "POST",
        f"/api/probes/S1/{path}",
        {"origin": "http://evil.example", "sec-fetch-site": "cross-site"},
        json=body(),
    )
    assert answer.status_code == 403
    assert shop.logbook.version() == before


@pytest.mark.parametrize(
    "path", ["S9", "S9/check?against=ice%20water", "S1/check?against=sugar", "S9/correct", "S9/device"]
)
def test_a_page_of_a_probe_or_a_reference_that_nobody_has_is_missing(client: Client, path: str) -> None:
    assert client.get(f"/more/probes/{path}").status_code == 404


def test_a_check_past_due_is_a_notice_and_no_more(client: Client, shop: FakeShop) -> None:
    """The probes page says so; the reading is used all the same."""
    client.post("/api/probes/S1/correction", body(since=NOW - 2 * DAY, due_at=NOW - DAY))
    for path in ("/more/probes", "/more/probes/S1"):
        assert "Its check was due 10 Jan 2026." in client.get(path).text.replace("\u00a0", " ")
    line = next(line for line in client.get("/api/probes").json()["probes"] if line["id"] == "S1")
    assert [text.replace("\u00a0", " ") for text in line["values"]] == ["temperature 0.0 °C (reads 0.4 °C)"]
    client.post("/api/probes/S1/device", {"id": new_id(), "serial": "X7"})
    assert "was due" not in client.get("/more/probes").text


def test_a_value_past_the_margin_says_so(client: Client) -> None:
    client.post("/api/probes/S1/correction", body(points=[[30.0, 29.0]], margin=5.0))
    text = client.get("/more/probes/S1").text.replace("\u00a0", " ")
    assert "temperature −0.6 °C (reads 0.4 °C, beyond its correction)" in text


def test_the_command_asks_serve_for_the_very_same_entry(client: Client, shop: FakeShop) -> None:
    """While serve runs it is the one writer: what arrives in shop.db equals what the command meant."""
    made = Correction("corr-00000001", NOW - DAY, Quantity.TEMPERATURE, ((0.4, 0.0), (20.5, 20.0)), 0.1, 15.0)
    found = Comparison(ICE, Quantity.TEMPERATURE, NOW - 8 * MINUTE, NOW, (0.4,) * 7, 0.4, 0.0, 0.4, 0.1)
    for event in (
        check_event("check-000001", NOW, "Kim", "S1", "", "as found", found, NOW + DAY),
        device_event("device-00001", NOW - 2 * DAY, NOW, "Kim", "S1", "X7"),
        correction_event(NOW, "Kim", "S1", "X7", made, "shop reference 1", NOW + DAY),
        Event("back-0000001", NOW, NOW, "Kim", "withdrawn", None, {"event": "check-000001"}),
    ):
        path, posted = _request(event)
        answer = client.post(path, posted)
        assert answer.status_code == 200, answer.text
        assert shop.logbook.events()[-1] == event


def test_another_device_is_a_mark_on_the_panels_chart(client: Client) -> None:
    client.post("/api/probes/S7/device", {"id": new_id(), "serial": "X7", "since": NOW - 60 * MINUTE})
    notes = client.get("/api/panels/plug-7/chart").json()["layout"]["annotations"]
    assert "probe" in [note["text"] for note in notes]
