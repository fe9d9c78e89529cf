"""Tonight in a real browser: steppers by thumb, by keyboard and without scripts, and nothing that breaks a rule."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PHONE, Visit
from tests.browser.serving import Served, free_port
from tests.dashboard.night_shop import NightShop, open_night


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NightShop]:
    """20:07 on a winter evening; nobody changes it."""
    shop = open_night(tmp_path_factory.mktemp("evening"), free_port())
    yield shop
    shop.close()


@pytest.fixture(scope="module")
def served(evening: NightShop) -> Iterator[Served]:
    server = Served(evening.app, evening.port)
    yield server
    server.stop()


@pytest.fixture
def shop() -> Path:
    """Not the shop of the other pages."""
    return Path()


def said(page: Page) -> str:
    """What the box says once it has answered."""
    expect(page.locator(".if-box")).to_contain_text(re.compile("instead of|Not by|Hold|as it is"))
    return page.locator(".if-box").inner_text()


def test_a_thumb_steps_the_heat_and_reads_the_difference_without_scrolling(visit: Visit) -> None:
    """The answer stays in sight, the button under the thumb does not move, and what is tapped is 72 px high."""
    page = visit.open("/tonight/deck-2")
    more = page.get_by_role("button", name=re.compile("More: Hold"))
    more.scroll_into_view_if_needed()
    box = more.bounding_box()
    assert box
    assert box["height"] >= 72
    assert box["width"] >= 72
    more.click()
    assert "Sand at" in said(page)
    for _ in range(4):
        more.click()
    expect(page.locator("#if-hold")).to_have_value("24")
    expect(page).to_have_url(re.compile("hold=24"))
    expect(page.locator('[data-live="then"]')).to_contain_text("instead of")
    assert more.bounding_box() == box
    expect(page.locator(".if-box")).to_be_in_viewport(ratio=1.0)
    page.get_by_role("button", name=re.compile("More: Rise")).scroll_into_view_if_needed()
    expect(page.locator(".if-box")).to_be_in_viewport(ratio=1.0)
    assert visit.complaints == []


def test_a_keyboard_steps_types_and_keeps_its_place(visit: Visit) -> None:
    page = visit.open("/tonight/deck-2")
    more = page.get_by_role("button", name=re.compile("More: Hold"))
    more.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Space")
    expect(page.locator("#if-hold")).to_have_value("21")
    said(page)
    expect(more).to_be_focused()
    page.keyboard.press("Shift+Tab")
    expect(page.locator("#if-hold")).to_be_focused()
    page.keyboard.type("28")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile("hold=28"))
    expect(page.locator("#if-hold")).to_be_focused()
    expect(page.locator('[data-live="then"]')).to_contain_text("Sand at")
    later = page.get_by_role("button", name="More: Heat until")
    later.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#if-to")).to_have_value("22:30")
    expect(page.locator(".if-box .caution")).to_contain_text("No heater unattended")


def test_one_button_asks_for_the_least_heat_and_fills_it_in(visit: Visit, evening: NightShop) -> None:
    page = visit.open("/tonight/deck-2?to=08:00")
    page.locator("#if-by").fill("09:00")
    page.locator("#if-by").press("Tab")
    expect(page.locator("#least")).to_have_text("Least heat to sand by 09:00")
    page.locator("#least").click()
    found = re.search(r"Hold (\d+)\s°C", said(page))
    assert found
    expect(page.locator("#if-hold")).to_have_value(found[1])
    page.locator("#if-by").fill("22:30")
    page.locator("#if-by").press("Tab")
    page.locator("#least").click()
    expect(page.locator(".if-box")).to_contain_text("Not by 22:30")
    expect(page.locator(".if-box")).to_contain_text("The best that")
    assert len(evening.logbook.events()) == 9, "nothing was stored"


def test_without_scripts_the_same_form_steps_and_answers(chromium: Browser, served: Served) -> None:
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(served.url + "/tonight/deck-2")
    page.get_by_role("button", name=re.compile("More: Hold")).click()
    expect(page.locator("#if-hold")).to_have_value("20")
    page.get_by_role("button", name=re.compile("More: Hold")).click()
    expect(page.locator("#if-hold")).to_have_value("21")
    assert "instead of" in said(page)
    page.locator("#if-hold").press("Enter")
    expect(page.locator("#if-hold")).to_have_value("21")
    page.locator("#least").click()
    assert "by" in said(page)
    context.close()


def test_an_answer_that_grows_too_old_on_an_open_page_takes_the_night_with_it(visit: Visit) -> None:
    """Past good_until the page itself says so, without any server."""
    page = visit.open("/tonight/plug-7")
    expect(page.locator(".night svg").first).to_be_visible()
    page.evaluate("document.querySelector('[data-good-until]').dataset.goodUntil = '1'")
    expect(page.locator(".answer .stale")).to_be_visible()
    expect(page.locator("figure.night")).to_be_hidden()
    expect(page.locator("#what-if")).to_be_hidden()
