"""Demoulding in a real browser: blocked for want of a hardness, granted by name when it is there, then recorded."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PHONE
from tests.browser.serving import Served, free_port
from tests.dashboard.record.night import Shop
from tests.dashboard.record.test_decisions import DAY, one_warm_coat, serve_app


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = Shop(tmp_path)
    one_warm_coat(made, 2)
    yield made
    made.close()


@pytest.fixture
def page(shop: Shop, chromium: Browser) -> Iterator[tuple[Page, str, list[str]]]:
    port = free_port()
    served = Served(serve_app(shop, port), port)
    context = chromium.new_context(viewport=PHONE)
    opened, complaints = context.new_page(), list[str]()
    opened.on("console", lambda message: complaints.append(message.text))
    yield opened, served.url, complaints
    context.close()
    served.stop()


def test_blocked_then_granted_then_done_and_all_of_it_on_the_record(
    shop: Shop, page: tuple[Page, str, list[str]]
) -> None:
    phone, url, complaints = page
    phone.goto(f"{url}/panels/lid-4/demould")
    expect(phone.get_by_text("The record does not support it yet")).to_be_visible()
    expect(phone.locator(".evidence li").first).to_contain_text("Missing A hardness")
    assert phone.get_by_role("button", name="Grant demoulding").count() == 0
    phone.get_by_label("Your name, for the log").fill("Kim")
    phone.get_by_role("button", name="Log: not granted").click()
    expect(phone.locator("#toast")).to_contain_text("Demoulding not granted")

    shop.log("hardness", 2 * DAY - 1, scale="Shore D", value=74, on="tile", at_C=20.5)
    shop.round_at(2 * DAY - 0.8)
    phone.goto(f"{url}/panels/lid-4/demould")
    expect(phone.get_by_text("The record supports it", exact=True)).to_be_visible()
    phone.get_by_label("Your name, for the log").fill("Kim")
    phone.get_by_role("button", name="Grant demoulding").click()
    expect(phone.locator("#toast")).to_contain_text("Demoulding granted")
    shop.round_at(2 * DAY - 0.7)
    phone.goto(f"{url}/panels/lid-4")
    expect(phone.get_by_text("Demould when you like; keep it cool").first).to_be_visible()

    phone.goto(f"{url}/panels/lid-4/demould")
    phone.get_by_role("button", name="Log demould").click()
    expect(phone.locator("#toast")).to_contain_text("Demoulded")
    phone.goto(f"{url}/panels/lid-4/record")
    text = " ".join(phone.locator("main").inner_text().replace("\u00a0", " ").split())
    assert "Not granted, missing: a hardness on tile or flange at about 20 °C" in text
    assert "demoulding: Demould when you like; keep it cool" in text
    assert "Deviation: Demoulded" not in text
    assert complaints == []
