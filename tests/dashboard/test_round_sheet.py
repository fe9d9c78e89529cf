"""The round on paper and by zone: the same answers, with a time until which they may be gone by."""

from __future__ import annotations

import re

from dashboard.panel import Event
from dashboard.round_sheet import sheet_of
from tests.browser.fake_shop import (
    HOUR,
    MINUTE,
    NOW,
    FakeShop,
    answer,
    many,
    morning,
    recoat,
    register,
    stopped,
)
from tests.dashboard.client import Client
from tests.dashboard.test_strips import FIVE, panels, view


def test_a_line_is_good_for_half_an_hour_or_until_its_own_end() -> None:
    items = [
        answer("a", "A", recoat(NOW + 12 * MINUTE, NOW + 40 * MINUTE)),
        answer("b", "B", recoat(NOW + 3 * HOUR, NOW + 4 * HOUR)),
        answer("c", "C", stopped(NOW)),
    ]
    lines = {line.strip.panel: line for line in sheet_of(panels("a", "b", "c"), items, view()).lines}
    assert lines["a"].until == NOW + 12 * MINUTE
    assert lines["b"].until == lines["c"].until == NOW + 30 * MINUTE
    assert lines["b"].until_text == "06:40"


def test_what_is_not_known_is_good_for_no_time_and_brings_no_caution() -> None:
    old = answer("a", "A", recoat(NOW + 12 * MINUTE, NOW + 40 * MINUTE), NOW - HOUR, cautions=("gloves",))
    sheet = sheet_of(panels("a", "b"), [old], view())
    assert [line.until for line in sheet.lines] == [None, None]
    assert {line.until_text for line in sheet.lines} == {"not known"}
    assert sheet.cautions == ()


def test_cautions_of_all_acts_stand_once_each() -> None:
    items = [
        answer("a", "A", stopped(NOW), cautions=("heater", "burner", "estimate")),
        answer("b", "B", stopped(NOW), cautions=("burner", "dust", "estimate")),
    ]
    assert sheet_of(panels("a", "b"), items, view()).cautions == ("dust", "burner", "heater", "estimate")


def test_names_that_count_stand_in_the_order_of_their_numbers() -> None:
    names = ("hull-10", "hull-9", "hull-2")
    items = [answer(name, name, stopped(NOW)) for name in names]
    assert [line.strip.panel for line in sheet_of(panels(*names), items, view()).lines] == list(names[::-1])


def test_the_sheet_says_what_the_round_says_in_its_order_and_has_no_script(client: Client) -> None:
    page = client.get("/round/sheet").text
    assert "<script" not in page
    heads = re.findall(r"<span><b>([^<]+)</b>", page)
    told = client.get("/api/round").json()
    assert heads == [strip["headline"] for strip in told["strips"]]
    assert len(heads) == len(FIVE)
    assert told["strips"][0]["paper_until"] == NOW + 30 * MINUTE
    assert page.count('class="box"') == len(FIVE)


def test_a_zone_keeps_to_itself_on_page_sheet_and_api(shop: FakeShop, client: Client) -> None:
    many(shop, 6)
    told = client.get("/api/round?zone=hall").json()
    assert told["zones"] == ["hall", "shed"]
    names = [strip["panel"] for strip in told["strips"]]
    assert sorted(names) == ["hull-1", "hull-2", "hull-4", "hull-5"]
    for path in ("/?zone=hall", "/round/sheet?zone=hall"):
        page = client.get(path).text
        assert "Hull 1" in page
        assert "Lid 4" not in page
    assert 'href="/round/sheet?zone=hall"' in client.get("/?zone=hall").text


def test_a_zone_without_an_open_panel_says_so_and_leads_back_to_all(client: Client) -> None:
    for path in ("/?zone=attic", "/round/sheet?zone=attic"):
        assert "No open panel in zone attic" in client.get(path).text
    assert '<a href="/">All</a>' in client.get("/?zone=attic").text


def test_one_zone_alone_needs_no_row_of_zones(client: Client) -> None:
    assert 'class="zones"' not in client.get("/").text


def test_the_row_of_zones_stands_above_the_strips_only_where_they_outgrow_a_screen(
    shop: FakeShop, client: Client
) -> None:
    register(shop, "Keel 1", 1, "hall")
    shop.logbook.append(Event("box-a-closed", NOW, NOW, "Kim", "closed", "box-a", {}))
    page = client.get("/").text
    assert page.index('class="strips') < page.index('class="zones"')
    many(shop, 6)
    for path in ("/", "/?zone=hall"):
        page = client.get(path).text
        assert page.index('class="zones"') < page.index('class="strips')


def test_a_zone_is_asked_for_by_its_whole_name(shop: FakeShop, client: Client) -> None:
    register(shop, "Keel 1", 1, "hall & loft")
    assert 'href="/?zone=hall%20%26%20loft"' in client.get("/").text
    assert [s["title"] for s in client.get("/api/round?zone=hall%20%26%20loft").json()["strips"]] == [
        "Keel 1 · 1 coat"
    ]


def test_five_answers_of_a_morning_are_all_on_the_sheet() -> None:
    sheet = sheet_of(panels(*FIVE), morning(NOW), view())
    assert sheet.made == "Made 06:10. Readings to 06:09. 4 of 5 known."
