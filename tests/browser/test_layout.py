"""Where things stand: zones side by side at a desk, five strips in the evening too, three ages that are never one."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE, Visit
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, many, morning
from tests.browser.serving import Served

EVENING = NOW + 14 * HOUR + 30 * MINUTE
"""20:40 in the shop's zone."""


@pytest.mark.parametrize("visit", [(DESK, "light")], indirect=True, ids=["1280"])
def test_at_a_desk_two_zones_stand_side_by_side_and_the_page_uses_its_width(
    visit: Visit, shop: FakeShop
) -> None:
    many(shop, 6)
    page = visit.open("/")
    boxes = page.eval_on_selector_all(
        ".strip",
        "all => all.map((one) => [one.className.match(/zone-[12]/)[0], one.getBoundingClientRect().toJSON()])",
    )
    left = {zone: {box["left"] for name, box in boxes if name == zone} for zone in ("zone-1", "zone-2")}
    assert len(left["zone-1"]) == len(left["zone-2"]) == 1
    assert max(left["zone-1"]) < min(left["zone-2"])
    assert max(box["right"] for _, box in boxes) - min(box["left"] for _, box in boxes) >= 1000
    expect(page.locator(".zone-heads")).to_have_text(re.compile("hall.*shed", re.DOTALL))
    page.goto(visit.url + "/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    chart, why = page.locator("#night").bounding_box(), page.locator("#why").bounding_box()
    assert chart
    assert why
    assert chart["width"] >= 600
    assert why["x"] >= chart["x"] + chart["width"], "why and log stand beside the chart"
    page.set_viewport_size(PHONE)
    below = page.locator("#why").bounding_box()
    assert below
    assert below["x"] < 20


@pytest.mark.parametrize("visit", [(DESK, "light")], indirect=True, ids=["1280"])
def test_of_many_panels_one_is_found_by_its_name_and_enter_opens_it(visit: Visit, shop: FakeShop) -> None:
    many(shop, 9)
    page = visit.open("/")
    seen, field = page.locator(".strip:visible"), page.get_by_label("Find a panel")
    expect(seen).to_have_count(14)
    field.fill("hull 7")
    expect(seen).to_have_count(1)
    expect(seen).to_contain_text(["Hull 7"])
    field.fill("coats")
    expect(page.get_by_text("No panel here is called that.")).to_be_visible()
    field.fill("hull 7")
    field.press("Enter")
    page.wait_for_url("**/panels/hull-7")


def test_in_the_evening_too_five_strips_and_the_way_to_what_is_left_to_do_are_on_one_screen(
    visit: Visit, shop: FakeShop
) -> None:
    shop.clock.at = EVENING  # type: ignore[attr-defined]
    shop.save(*morning(EVENING))
    page = visit.open("/")
    way, alarm = page.locator(".top > .to-leave"), page.locator(".alarm")
    expect(way).to_be_visible()
    expect(alarm).to_be_visible()
    tabs, last, box = (
        page.locator(what).last.bounding_box() for what in (".tabs", ".strip", ".top > .to-leave")
    )
    assert tabs
    assert last
    assert box
    assert last["y"] + last["height"] <= tabs["y"]
    assert min(box["width"], box["height"]) >= 44
    way.click()
    expect(page.locator("#leave h2")).to_be_in_viewport()


def test_readings_sum_and_page_have_ages_of_their_own_on_every_page_that_answers(
    visit: Visit, shop: FakeShop, served: Served
) -> None:
    """Three times that differ: readings to 06:09, worked out 06:10, and the page lost touch at 06:11."""
    shop.clock.at = NOW + MINUTE  # type: ignore[attr-defined]
    pages = [
        visit.open(path) for path in ("/", "/panels/plug-7", "/mix?spot=panel:plug-7", "/tonight/plug-7")
    ]
    for page in pages:
        ages = page.locator(".ages")
        expect(ages).to_contain_text(re.compile(r"readings to 06:\d\d"))
        expect(ages).to_contain_text(re.compile(r"worked out 06:1\d"))
        expect(page.locator("#lost")).to_be_hidden()
    served.stop()
    for page in pages:
        page.evaluate("window.coldshed.poll()")
        expect(page.locator("#lost")).to_have_text("this page lost touch 06:11")
        expect(page.locator(".ages")).to_contain_text(re.compile(r"readings to 06:\d\d"))
