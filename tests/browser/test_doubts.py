"""A probe that is not to be believed, as a thumb meets it: on the panel, among the probes, and put right."""

from __future__ import annotations

import os

import pytest
from playwright.sync_api import expect

from collector.reading import Suspicion
from collector.store.writer import Writer
from dashboard.unknown import doubted
from tests.browser.conftest import DESK, PHONE, Visit
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, answer

TAPE_OFF = Suspicion(
    "S1", "tape_off", NOW - 2 * HOUR, None, NOW - 50 * MINUTE, NOW - 8 * MINUTE, {"near_K": 0.2}
)
SLOW = Suspicion("A1", "slow", NOW - HOUR, None, NOW - HOUR, NOW, {"learned_h": 1 / 6, "interval": "30 s"})


@pytest.fixture
def doubtful(shop: FakeShop) -> FakeShop:
    writer = Writer.open(shop.folder / "readings.db", shop.clock)
    writer.suspect([TAPE_OFF, SLOW])
    writer.close()
    shop.save(answer("lid-4", "Lid 4", doubted(TAPE_OFF)))
    return shop


def keep_picture(visit_page, name: str) -> None:
    """Only when somebody wants to look: COLDSHED_PICTURES names a folder."""
    if folder := os.environ.get("COLDSHED_PICTURES"):
        visit_page.screenshot(path=f"{folder}/{name}.png", full_page=True)


@pytest.mark.parametrize("visit", [(PHONE, "light"), (DESK, "light")], indirect=True)
def test_a_doubted_probe_is_told_on_the_panel_and_among_the_probes(doubtful: FakeShop, visit: Visit) -> None:
    page = visit.open("/panels/lid-4")
    expect(page.locator(".headline").first).to_have_text("Not known: probe S1 seems to have come off")
    expect(page.locator("#why")).to_contain_text("It follows the air, 0.2 °C from it.")
    size = page.viewport_size
    assert size is not None
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], "nothing sticks out"
    keep_picture(page, f"panel-{size['width']}")
    page.goto(visit.url + "/more/probes")
    expect(page.locator("#probe-S1")).to_contain_text("May have come off")
    expect(page.locator("#probe-A1")).to_contain_text("Sends every 10 min")
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], "nothing sticks out"
    keep_picture(page, f"probes-{size['width']}")
    assert visit.complaints == []


def test_what_was_put_right_goes_from_the_page_and_stays_in_its_history(
    doubtful: FakeShop, visit: Visit
) -> None:
    page = visit.open("/more/probes/S1")
    expect(page.locator(".problem").first).to_contain_text("May have come off")
    keep_picture(page, "probe-390")
    page.get_by_role("button", name="I have put it right").click()
    expect(page.locator("#toast")).to_contain_text("Probe seen to")
    page.goto(visit.url + "/more/probes/S1")
    expect(page.get_by_role("button", name="I have put it right")).to_have_count(0)
    expect(page.locator(".log")).to_contain_text("Put right.")
    page.goto(visit.url + "/more/probes")
    expect(page.locator("#probe-S1")).not_to_contain_text("May have come off")
