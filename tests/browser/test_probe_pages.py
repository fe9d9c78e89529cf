"""A probe is checked, corrected and replaced with a thumb; every figure comes from its raw readings."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from collector.reading import Quantity, Reading
from tests.browser.conftest import Visit
from tests.browser.fake_shop import MINUTE, NOW, FakeShop


def test_a_probe_is_checked_in_ice_water_corrected_and_checked_again_as_left(
    visit: Visit, shop: FakeShop
) -> None:
    """It reads 0.4 degC in ice: as found 0.4 too high, then an offset of as much, and as left nothing."""
    page = visit.open("/more/probes")
    page.get_by_role("link", name="See probe S1").click()
    page.get_by_role("link", name="Check in ice water").click()
    expect(page.get_by_text("Crush ice fine")).to_be_visible()
    page.get_by_role("button", name="It is in now").click()
    expect(page.locator(".check-headline")).to_have_text("Leave it in until 06:15")
    expect(page.get_by_role("button", name="Log the check")).to_be_hidden()
    minutes_later(shop, 6)
    page.evaluate("coldshed.poll()")
    expect(page.locator(".check-headline")).to_have_text("Steady: log it")
    expect(page.get_by_text("Off by: 0.4 °C too high")).to_be_visible()
    page.get_by_role("button", name="Log the check").click()
    page.wait_for_url("**/more/probes/S1")
    page.get_by_role("link", name="Enter the correction").click()
    expect(page.get_by_label("Reads", exact=True)).to_have_value("0.40")
    page.get_by_role("button", name="Enter it").click()
    page.wait_for_url("**/more/probes/S1")
    expect(page.get_by_text("temperature 0.0 °C (reads 0.4 °C)")).to_be_visible()
    page.get_by_role("link", name="Check again, as left").click()
    expect(page.get_by_text("As left")).to_be_visible()
    page.get_by_role("button", name="It is in now").click()
    page.wait_for_url("**since=*")
    minutes_later(shop, 6)
    page.evaluate("coldshed.poll()")
    page.get_by_role("button", name="Log the check").click()
    page.wait_for_url("**/more/probes/S1")
    expect(page.locator("section p", has_text=re.compile("As left .*off by nothing"))).to_be_visible()
    kinds = [
        (event.kind, event.body.get("stage")) for event in shop.logbook.events() if "probe" in event.body
    ]
    assert kinds == [
        ("probe checked", "as found"),
        ("correction entered", None),
        ("probe checked", "as left"),
    ]
    assert visit.complaints == []


def minutes_later(shop: FakeShop, minutes: int) -> None:
    """The ice is still there."""
    begin = shop.clock.now()
    shop.clock.at = begin + minutes * MINUTE
    times = range(begin + MINUTE // 2, shop.clock.now() + 1, MINUTE // 2)
    shop.read(*(Reading("S1", Quantity.TEMPERATURE, 0.4, at, at) for at in times))


def test_a_correction_is_taken_back_on_the_probes_page(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more/probes/A1/correct?quantity=relative_humidity")
    reads, true = page.locator("[name=reads]"), page.locator("[name=true]")
    for n, pair in enumerate((("30", "33.1"), ("72", "75.5"))):
        reads.nth(n).fill(pair[0])
        true.nth(n).fill(pair[1])
    page.get_by_label("How well that is known").fill("2")
    page.get_by_label("Compared with").fill("two salts")
    page.get_by_role("button", name="Enter it").click()
    page.wait_for_url("**/more/probes/A1")
    expect(page.get_by_text("humidity 81.6 % (reads 78.0 %)")).to_be_visible()
    page.get_by_role("button", name="Take back").click()
    page.get_by_role("button", name="Sure? Take back").click()
    expect(page.get_by_text("humidity 78 %")).to_be_visible()
    expect(page.locator(".log s")).to_contain_text("A1: correction from")


def test_a_wrong_number_is_told_below_the_button_and_what_was_typed_stays(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.open("/more/probes/S1/correct")
    page.get_by_label("Reads", exact=True).fill("40")
    page.get_by_label("Should read", exact=True).fill("0")
    page.get_by_label("How well that is known").fill("0.2")
    page.get_by_label("Compared with").fill("ice water")
    page.get_by_role("button", name="Enter it").click()
    expect(page.locator("form .problem")).to_contain_text("broken probe")
    expect(page.get_by_label("Reads", exact=True)).to_have_value("40")
    assert not [event for event in shop.logbook.events() if event.kind == "correction entered"]


@pytest.mark.parametrize("zone", ["Pacific/Auckland"])
def test_another_device_is_put_in_at_a_time_of_the_shops_zone(
    chromium, served, shop: FakeShop, zone: str
) -> None:
    context = chromium.new_context(timezone_id=zone)
    page = context.new_page()
    page.goto(f"{served.url}/more/probes/S1/device")
    page.get_by_label("Serial of the new device").fill("X7")
    page.get_by_label("Put in at").fill("2026-01-11T05:40")
    page.get_by_role("button", name="Enter it").click()
    page.wait_for_url("**/more/probes/S1")
    expect(page.get_by_text("Device X7, since 05:40.")).to_be_visible()
    entry = shop.logbook.events()[-1]
    assert (entry.kind, entry.at, entry.body["serial"]) == ("device replaced", NOW - 30 * MINUTE, "X7")
    context.close()
