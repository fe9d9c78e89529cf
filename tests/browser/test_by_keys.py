"""Whole jobs with the keyboard alone: Tab, Enter, Space and what is typed; nothing is clicked."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PHONE, Visit
from tests.browser.fake_shop import FakeShop
from tests.browser.serving import Served, free_port, until
from tests.dashboard.night_shop import NightShop, open_night
from tests.dashboard.record.night import Shop
from tests.dashboard.record.test_decisions import DAY, one_warm_coat, serve_app

MOST = 80
FOCUSED = """() => {
  const one = document.activeElement;
  return one.getAttribute("aria-label") ?? one.labels?.[0]?.innerText ?? one.innerText ?? "";
}"""


def tab_to(page: Page, name: str) -> None:
    """Presses Tab until what is called so has focus."""
    for _ in range(MOST):
        page.keyboard.press("Tab")
        if re.search(name, " ".join(page.evaluate(FOCUSED).split())):
            return
    pytest.fail(f"{MOST} times Tab do not come to {name}")


def press(page: Page, name: str, key: str = "Enter") -> None:
    tab_to(page, name)
    page.keyboard.press(key)


def test_a_coat_is_started(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    press(page, "^Start coat 3")
    page.wait_for_url("**/skiff-deck-2/coat")
    press(page, "^Mixed just now")
    page.wait_for_url("**/panels/skiff-deck-2")
    assert len(shop.logbook.panels()["skiff-deck-2"].coats) == 3
    assert visit.complaints == []


def test_a_thumb_tells_and_takes_it_back(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/lid-4")
    press(page, "^Thumb test")
    page.wait_for_url("**/thumb")
    press(page, "^Tack-free", "Space")
    page.wait_for_url("**/panels/lid-4")
    expect(page.locator("#toast")).to_contain_text("Thumb test 06:10")
    press(page, "^Undo")
    until(lambda: not shop.logbook.panels()["lid-4"].coats[-1].thumb_tests, "the test is taken back")


def test_a_wash_is_logged_and_undone(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    press(page, "^Log wash", "Space")
    expect(page.locator("#toast")).to_contain_text("Washed 06:10")
    assert shop.logbook.panels()["lid-4"].washed_at is not None
    press(page, "^Undo")
    until(lambda: shop.logbook.panels()["lid-4"].washed_at is None, "the wash is taken back")


@pytest.fixture
def evening(tmp_path: Path) -> Iterator[NightShop]:
    shop = open_night(tmp_path, free_port())
    yield shop
    shop.close()


def test_heat_is_tried_for_tonight(chromium: Browser, evening: NightShop) -> None:
    served = Served(evening.app, evening.port)
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(f"{served.url}/tonight")
    press(page, "Deck 2")
    page.wait_for_url("**/tonight/deck-2")
    tab_to(page, "^Hold")
    page.keyboard.press("Control+A")
    page.keyboard.type("25")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("hold=25"))
    expect(page.locator('[data-live="then"]')).to_contain_text("Sand at")
    context.close()
    served.stop()


def test_a_demoulding_is_granted_and_signed_by_name(chromium: Browser, tmp_path: Path) -> None:
    shop = Shop(tmp_path)
    one_warm_coat(shop, 2)
    shop.log("hardness", 2 * DAY - 1, scale="Shore D", value=74, on="tile", at_C=20.5)
    shop.round_at(2 * DAY - 0.8)
    port = free_port()
    served = Served(serve_app(shop, port), port)
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(f"{served.url}/panels/lid-4")
    press(page, "^Demould")
    page.wait_for_url("**/demould")
    tab_to(page, "^Your name")
    page.keyboard.type("Kim")
    press(page, "^Grant demoulding")
    expect(page.locator("#toast")).to_contain_text("Demoulding granted")
    granted = shop.logbook.panels()["lid-4"].granted
    assert granted is not None
    assert granted.who == "Kim"
    context.close()
    served.stop()
    shop.close()
