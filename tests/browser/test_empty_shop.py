"""The first morning: no panel, no probe, no card, no alarm, nobody to tell. Every page teaches one act."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.browser.every_page import RULES
from tests.browser.fake_shop import FakeShop, open_shop, register
from tests.browser.serving import Served, free_port

TEACHES = {
    "/": ("No panel yet", "Register a panel"),
    "/mix": ("Register a panel first", "Register a panel"),
    "/tonight": ("No panel yet", "Register a panel"),
    "/panels/new": ("No probe yet", "See probes"),
    "/more/probes": ("Add a [[probe]] table", ""),
    "/more/alarms": ("No alarm", "Who is told"),
    "/more/notices": ("Name people under [notices]", ""),
    "/round/sheet": ("Register one", "Register a panel"),
    "/labels": ("register one", "Register a panel"),
}
"""What each page says, and the button or link that does it; "" where it is done at the shop's computer."""


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FakeShop]:
    opened = open_shop(tmp_path, port=free_port(), bare=True)
    yield opened
    opened.close()


@pytest.fixture
def page(chromium: Browser, shop: FakeShop) -> Iterator[Page]:
    """A phone; what it complained of fails the test."""
    server = Served(shop.app, shop.port)
    context = chromium.new_context(viewport=PHONE, base_url=server.url)
    tab = context.new_page()
    complaints: list[str] = []
    tab.on("console", lambda message: complaints.append(f"{tab.url}: {message.text}"))
    tab.on("pageerror", lambda error: complaints.append(f"{tab.url}: {error}"))
    yield tab
    context.close()
    server.stop()
    assert complaints == []


def test_every_page_of_an_empty_shop_teaches_one_act(page: Page) -> None:
    for path, (says, act) in TEACHES.items():
        page.goto(path)
        expect(page.locator("main")).to_contain_text(says)
        if act:
            done_by = page.locator("main").get_by_role("link", name=act)
            expect(done_by).to_have_count(1)
            expect(done_by).to_be_in_viewport()
        found = Axe().run(page, options=RULES)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
        for size in (DESK, PHONE):
            page.set_viewport_size(size)
            assert page.evaluate("document.documentElement.scrollWidth === innerWidth"), path


def test_no_other_page_of_an_empty_shop_is_silent_or_breaks(page: Page) -> None:
    for path in ("/more", "/more/people", "/more/settings", "/help", "/help/glossary"):
        answer = page.goto(path)
        assert answer is not None
        assert answer.ok, path
        assert page.locator("main").inner_text().strip(), path


def test_a_panel_without_a_card_a_coat_or_an_entry_says_how_each_comes(page: Page, shop: FakeShop) -> None:
    register(shop, "Lid 4", 0)
    page.goto("/panels/lid-4")
    expect(page.locator("main")).to_contain_text("the chart begins when one is mixed")
    page.goto("/panels/lid-4/coat")
    expect(page.locator("main")).to_contain_text("folder cards")
    page.get_by_role("link", name="How to write a card").click()
    page.wait_for_url("**/help/card-guide")
    expect(page.get_by_role("heading", level=1)).not_to_be_empty()


def test_a_page_that_is_not_there_has_lost_no_touch(page: Page) -> None:
    """It is asked again like any page, and that it is still not there is an answer."""
    lone = page.context.new_page()
    lone.goto("/nowhere")
    with lone.expect_response("**/nowhere"):
        lone.evaluate("void coldshed.poll()")
    lone.evaluate("coldshed.poll()")
    expect(lone.locator("#lost")).to_be_hidden()
    lone.close()


def test_probes_that_were_never_heard_say_what_to_do(page: Page, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    shop = open_shop(tmp_path / "other", port=free_port(), filled=False, heard=True, sent=lambda now: [])
    server = Served(shop.app, shop.port)
    try:
        page.goto(f"{server.url}/more/probes")
        expect(page.locator("main")).to_contain_text(
            "No probe heard yet. Plug one in; its numbers appear here."
        )
    finally:
        page.goto("about:blank")
        server.stop()
        shop.close()
