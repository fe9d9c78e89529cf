"""The thumb log under a thumb: two taps, an answer at once, "Sure?" for what is unlikely, and what is rarely needed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from dashboard.entry import coat_event
from dashboard.panel import Event, ThumbTest
from tests.browser.conftest import Visit, counted
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, open_shop, register, warm_night
from tests.browser.serving import free_port, until
from tests.dashboard.client import new_id


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FakeShop]:
    """One panel in a warm room, its coat mixed ten hours ago."""
    opened = open_shop(tmp_path, port=free_port(), filled=False, heard=True, sent=warm_night)
    register(opened, "Rib 1", 0)
    at = NOW - 10 * HOUR
    opened.logbook.append(coat_event(new_id(), at, NOW, "Kim", "rib-1", "invented-25min", at + 10 * MINUTE))
    yield opened
    opened.close()


def touches(shop: FakeShop) -> tuple[ThumbTest, ...]:
    return shop.logbook.panels()["rib-1"].coats[-1].thumb_tests


def test_two_taps_and_the_estimate_says_how_it_moved(visit: Visit, shop: FakeShop) -> None:
    page = visit.context.new_page()
    taps = counted(page)
    page.goto(f"{visit.url}/panels/rib-1")
    page.get_by_role("link", name="Thumb test").click()
    page.get_by_role("button", name="Soft rubber").click()
    page.wait_for_url("**/panels/rib-1")
    said = page.locator("#toast")
    expect(said).to_contain_text("Thumb test 06:10: soft rubber.")
    expect(said).to_contain_text(re.compile(r"Sand \d.* later; range now \d.*, was \d.*\."))
    assert len(touches(shop)) == 1
    until(lambda: taps == ["Thumb test", "Soft rubber"], "two taps were heard, and no more")


def test_an_unlikely_answer_asks_and_one_tap_confirms_it(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/rib-1/thumb")
    page.get_by_role("button", name="Wet", exact=True).click()
    page.wait_for_url("**/panels/rib-1")
    expect(page.locator("#toast")).to_contain_text("it does not count yet. Sure?")
    expect(page.locator(".log")).to_contain_text("not confirmed, does not count")
    page.locator("#toast").get_by_role("button", name="Sure").click()
    expect(page.locator("#toast")).to_contain_text("Thumb test confirmed 06:10")
    expect(page.locator(".log")).not_to_contain_text("not confirmed")
    assert [test.sure for test in touches(shop)] == [True]
    assert visit.complaints == []


def test_it_can_be_confirmed_from_the_log_later(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/rib-1/thumb")
    page.get_by_role("button", name="Wet", exact=True).click()
    page.wait_for_url("**/panels/rib-1")
    page.reload()
    page.locator(".log").get_by_role("button", name="Sure").click()
    expect(page.locator(".log")).not_to_contain_text("not confirmed")
    assert [test.sure for test in touches(shop)] == [True]


def test_an_unlikely_answer_is_undone_with_one_tap(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/rib-1/thumb")
    page.get_by_role("button", name="Wet", exact=True).click()
    page.wait_for_url("**/panels/rib-1")
    page.locator("#toast").get_by_role("button", name="Undo").click()
    expect(page.locator("#toast")).to_contain_text("Taken back 06:10")
    assert touches(shop) == ()


def test_dust_stands_twelve_pixels_from_gum_and_every_word_is_as_large_as_a_glove(visit: Visit) -> None:
    """12 px and 72 px: our own rules."""
    page = visit.open("/panels/rib-1/thumb")
    gums, dusts = (page.get_by_role("button", name=name).bounding_box() for name in ("Gums", "Sands to dust"))
    assert gums
    assert dusts
    assert dusts["y"] - gums["y"] - gums["height"] >= 12
    boxes = page.locator("[data-found], .tick").evaluate_all(
        "all => all.map((one) => one.getBoundingClientRect().height)"
    )
    assert len(boxes) == 11
    assert min(boxes) >= 72


def test_patchy_earlier_and_a_tile_go_with_the_word_that_is_tapped(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/rib-1/thumb")
    page.get_by_label("Hard here, soft there").check()
    page.get_by_text("Felt earlier?").click()
    page.get_by_label("Time of the test").fill("2026-01-11T05:10")
    page.get_by_text("You felt a tile?").click()
    page.get_by_label("The tile's temperature").fill("21.5")
    page.get_by_role("button", name="Soft rubber").click()
    page.wait_for_url("**/panels/rib-1")
    expect(page.locator("#toast")).to_contain_text(
        "Thumb test 05:10: soft rubber, hard here and soft there, tile at 21.5 °C"
    )
    expect(page.locator("#toast")).to_contain_text("Now: Not known: coat 1 is hard here, soft there.")
    (test,) = touches(shop)
    assert (test.patchy, test.at, test.tile_C) == (True, NOW - HOUR, 21.5)


def test_a_hardness_test_takes_fahrenheit_where_the_shop_does(visit: Visit, shop: FakeShop) -> None:
    shop.logbook.append(Event(new_id(), NOW, NOW, "", "preference", None, {"key": "unit", "value": "degF"}))
    page = visit.open("/panels/rib-1/thumb")
    page.get_by_text("A hardness tester?").click()
    page.get_by_label("It shows").fill("71")
    page.get_by_label("How warm that is, °F").fill("68")
    button = page.get_by_role("button", name="Log hardness")
    button.click()
    assert shop.logbook.panels()["rib-1"].coats[-1].hardness == (), "what was tested must be said"
    page.get_by_label("witness tile").check()
    button.dblclick()
    page.wait_for_url("**/panels/rib-1")
    expect(page.locator("#toast")).to_contain_text("Hardness 06:10: 71.0 Shore D, tile at 68.0 °F")
    (made,) = shop.logbook.panels()["rib-1"].coats[-1].hardness
    assert made.at_C == pytest.approx(20.0)
    assert len([event for event in shop.logbook.events("rib-1") if event.kind == "hardness"]) == 1
