"""From a thumb to the logbook: counted taps, absorbed double taps, undo, and refusals in words."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import Visit
from tests.browser.fake_shop import NOW, FakeShop
from tests.browser.serving import Served, until


def test_a_coat_is_started_with_two_taps_and_undone_with_one(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    page.get_by_role("link", name="Start coat 3").click()
    expect(page.get_by_text("Skiff deck 2").first).to_be_visible()
    page.get_by_role("button", name="Mixed just now").click()
    page.wait_for_url("**/panels/skiff-deck-2")
    expect(page.locator("#toast")).to_contain_text("Coat 3 started 06:10")
    assert len(shop.logbook.panels()["skiff-deck-2"].coats) == 3
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#toast")).to_contain_text("Taken back 06:10")
    assert len(shop.logbook.panels()["skiff-deck-2"].coats) == 2


def test_a_double_tap_on_log_wash_is_one_entry(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    button = page.get_by_role("button", name="Log wash")
    button.click()
    expect(page.locator("#toast")).to_contain_text("Washed 06:10")
    with page.expect_response("**/api/events") as second:
        button.click()
    assert second.value.json()["new"] is False
    assert [event.kind for event in shop.logbook.events("lid-4")].count("washed") == 1


def test_what_was_undone_can_be_done_again_at_once(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    page.get_by_role("button", name="Log wash").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#toast")).to_contain_text("Taken back")
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Washed")
    assert shop.logbook.panels()["lid-4"].washed_at == NOW


def test_an_alarm_is_seen_with_two_taps_from_the_round(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    page.locator(".alarm").click()
    page.get_by_role("button", name="Seen").click()
    expect(page.get_by_text("seen 06:10 by somebody")).to_be_visible()
    assert shop.logbook.events()[-1].body == {"alarm": "too cold:plug-7:1"}


def test_an_entry_is_taken_back_from_the_panels_log_and_stays_readable(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/lid-4")
    page.get_by_role("button", name="Take back").first.click()
    expect(page.locator(".log s")).to_contain_text("Coat 2 started")
    assert len(shop.logbook.panels()["lid-4"].coats) == 1


def test_a_panel_is_registered_on_its_page(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    page.get_by_role("link", name="Register a panel").click()
    page.get_by_label("Name").fill("Hatch 2")
    page.get_by_label("Zone").fill("shed")
    page.get_by_label("Probe on the panel").select_option("S2")
    page.get_by_label("Probe in the air").select_option("A1")
    page.get_by_label("Laid on").select_option("foam")
    page.get_by_role("button", name="Register it").click()
    page.wait_for_url("**/panels/hatch-2")
    expect(page.get_by_text("Not known: not worked out yet")).to_be_visible()
    made = shop.logbook.panels()["hatch-2"]
    assert (made.surface_probe, made.air_probe, made.substrate) == ("S2", "A1", "foam")


def test_a_coat_of_the_future_is_refused_in_words_and_nothing_is_lost(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/lid-4/coat")
    page.evaluate("document.getElementById('mixed').removeAttribute('max')")
    page.get_by_label("Or earlier: time of mixing").fill("2026-01-11T09:00")
    page.get_by_role("button", name="Mixed at the time above").click()
    expect(page.locator(".problem")).to_contain_text("still to come")
    assert len(shop.logbook.panels()["lid-4"].coats) == 2


def test_an_earlier_time_is_read_in_the_shops_zone_not_the_phones(
    chromium, served: Served, shop: FakeShop
) -> None:
    context = chromium.new_context(timezone_id="Pacific/Auckland")
    page = context.new_page()
    page.goto(f"{served.url}/panels/lid-4/coat")
    page.get_by_label("Or earlier: time of mixing").fill("2026-01-11T05:40")
    page.get_by_role("button", name="Mixed at the time above").click()
    page.wait_for_url("**/panels/lid-4")
    assert shop.logbook.panels()["lid-4"].coats[-1].mixed_at == NOW - 30 * 60_000
    context.close()


def test_without_the_server_a_tap_says_that_nothing_was_logged(visit: Visit, served: Served) -> None:
    page = visit.open("/")
    served.stop()
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Not sent: the shop computer did not answer.")


def test_the_unit_and_the_name_are_kept(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more")
    page.get_by_label("°F").check()
    expect(page.locator("#toast")).to_contain_text("Choice saved")
    page.get_by_label("Your name, for the log").fill("Kim")
    page.keyboard.press("Tab")
    page.goto(visit.url + "/")
    expect(page.locator("#strip-plug-7 .fresh .headline")).to_contain_text("54\u00a0°F")
    page.get_by_role("button", name="Log sand").click()
    until(lambda: shop.logbook.events()[-1].kind == "sanded", "the sanding is logged")
    assert shop.logbook.events()[-1].who == "Kim"
    assert visit.complaints == []
