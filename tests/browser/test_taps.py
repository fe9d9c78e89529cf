"""From a thumb to the logbook: counted taps, absorbed double taps, undo, and refusals in words."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Route, expect

from dashboard.panel import Event
from tests.browser.conftest import Visit, news
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, answer, morning, too_cold, waiting
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
    answers: list[bool] = []
    page.on("response", lambda got: answers.append(got.json()["new"]) if "/api/events" in got.url else None)
    page.get_by_role("button", name="Log wash").dblclick()
    expect(page.locator("#toast")).to_contain_text("Washed 06:10")
    until(lambda: news(page) and answers.count(True) == 1, "the second is not sent, or absorbed")
    expect(page.get_by_role("button", name="Undo")).to_be_visible()
    assert [event.kind for event in shop.logbook.events("lid-4")].count("washed") == 1


def test_what_was_undone_can_be_done_again_at_once(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    page.get_by_role("button", name="Log wash").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#toast")).to_contain_text("Taken back")
    shop.save(answer("lid-4", "Lid 4", waiting(NOW)))
    expect(page.locator("#strip-lid-4")).not_to_have_class(re.compile("pending"))
    shop.save(answer("lid-4", "Lid 4", next(item.verdict for item in morning(NOW) if item.panel == "lid-4")))
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Washed")
    washed = shop.logbook.panels()["lid-4"].washed_at
    assert washed is not None
    assert NOW <= washed < NOW + MINUTE


def test_an_alarm_is_seen_with_two_taps_from_the_round(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    page.locator(".alarm").click()
    page.get_by_role("button", name="Seen", exact=True).click()
    expect(page.get_by_text("seen 06:10 by somebody")).to_be_visible()
    assert shop.logbook.events()[-1].body == {"alarm": "too cold:plug-7:1"}


def test_an_entry_is_taken_back_from_the_panels_log_and_stays_readable(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/lid-4")
    page.get_by_role("link", name="Correct").first.click()
    page.get_by_label("Mistyped").check()
    assert len(shop.logbook.panels()["lid-4"].coats) == 2
    page.get_by_role("button", name="Take back").click()
    expect(page.locator(".log s")).to_contain_text("Coat 2 started")
    expect(page.locator(".log")).to_contain_text("taken back 06:10 by somebody: Mistyped")
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
    expect(page.locator("form .problem")).to_contain_text("still to come")
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


def test_a_thumb_test_is_two_taps_from_its_panel(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/lid-4")
    page.get_by_role("link", name="Thumb test").click()
    page.get_by_role("button", name="Wet", exact=True).click()
    page.wait_for_url("**/panels/lid-4")
    expect(page.locator("#toast")).to_contain_text("Thumb test 06:10: wet or stringy or soft tack")
    (test,) = shop.logbook.panels()["lid-4"].coats[-1].thumb_tests
    assert abs(test.at - NOW) < MINUTE
    assert test.tile_C is None
    page.get_by_role("button", name="Undo").click()
    until(lambda: not shop.logbook.panels()["lid-4"].coats[-1].thumb_tests, "the test is taken back")
    assert visit.complaints == []


@pytest.mark.parametrize("late", ["page.js", "log.js", "thumb.js"])
def test_a_tap_before_the_pages_scripts_are_there_is_kept(visit: Visit, shop: FakeShop, late: str) -> None:
    page = visit.context.new_page()
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)
        if len(held) > 1:  # the page that follows asks for it too
            route.continue_()

    page.route(f"**/{late}", hold)
    page.goto(f"{visit.url}/panels/lid-4/thumb", wait_until="commit")
    page.get_by_role("button", name="Wet", exact=True).click()
    until(lambda: news(page) and bool(held), "the script is asked for")
    assert not shop.logbook.panels()["lid-4"].coats[-1].thumb_tests
    held[0].continue_()
    page.wait_for_url("**/panels/lid-4")
    assert len(shop.logbook.panels()["lid-4"].coats[-1].thumb_tests) == 1


def test_a_tiles_temperature_is_told_in_the_shops_unit(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more/settings")
    page.get_by_label("°F").check()
    expect(page.locator("#toast")).to_contain_text("Now in °F")
    page.goto(visit.url + "/panels/box-a/thumb")
    page.get_by_text("You felt a tile?").click()
    page.get_by_label("The tile's temperature, °F").fill("68")
    page.get_by_role("button", name="Sands to dust").click()
    page.wait_for_url("**/panels/box-a")
    (test,) = shop.logbook.panels()["box-a"].coats[-1].thumb_tests
    assert test.tile_C == pytest.approx(20.0)  # 68 degF: BIPM SI Brochure, 9th ed., 2.3.1


def test_without_the_server_a_tap_says_that_nothing_was_logged(visit: Visit, served: Served) -> None:
    page = visit.open("/")
    served.stop()
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Not sent: the shop computer did not answer.")


def test_the_unit_and_the_name_are_kept(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more/settings")
    page.get_by_label("°F").check()
    expect(page.locator("#toast")).to_contain_text("Now in °F")
    page.goto(visit.url + "/more/people")
    page.get_by_label("Your name, for the log").fill("Kim")
    page.keyboard.press("Tab")
    page.goto(visit.url + "/")
    expect(page.locator("#strip-plug-7 .fresh .headline")).to_contain_text("54\u00a0°F")
    page.get_by_role("button", name="Log sand").click()
    until(lambda: shop.logbook.events()[-1].kind == "sanded", "the sanding is logged")
    assert shop.logbook.events()[-1].who == "Kim"
    assert visit.complaints == []


def test_while_the_server_hangs_a_tap_keeps_its_time_and_is_logged_once(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)  # each further try hangs as well

    page.route("**/api/events", hold)
    button = page.get_by_role("button", name="Log wash")
    button.click()
    expect(page.locator("#toast")).to_contain_text("Sending…")
    expect(page.locator("#toast")).to_contain_text("Not known whether it was logged")
    expect(button).to_be_disabled()
    button.click(force=True)  # a thumb does not wait to be allowed
    sent = held[0].request.post_data_json
    late = page.request.post(f"{visit.url}/api/events", data=sent, headers={"Origin": visit.url})
    assert late.json()["new"], "the first one arrives after all"
    page.unroute("**/api/events")  # what hangs is let go
    expect(page.locator("#toast")).to_contain_text("Washed 06:10")
    expect(page.locator("#unsent")).to_be_hidden()
    assert _washes(shop) == 1
    assert shop.logbook.events("lid-4")[-1].at == sent["at"]


def _washes(shop: FakeShop) -> int:
    return [event.kind for event in shop.logbook.events("lid-4")].count("washed")


def test_after_a_tap_the_strip_waits_for_the_answer_that_knows_of_it(visit: Visit, shop: FakeShop) -> None:
    shop.save(answer("lid-4", "Lid 4", morning(NOW)[1].verdict, NOW - MINUTE))
    page = visit.open("/")
    strip = page.locator("#strip-lid-4")
    expect(strip.locator(".working")).to_be_hidden()
    tops = "all => all.map(one => one.getBoundingClientRect().top)"
    places = page.eval_on_selector_all(".strip", tops)
    strip.get_by_role("button", name="Log wash").click()
    expect(strip.locator(".working")).to_have_text("Working it out…")
    assert page.eval_on_selector_all(".strip", tops) == places
    expect(strip.locator(".working")).to_be_visible()
    expect(strip.locator(".do")).to_be_disabled()
    shop.save(answer("lid-4", "Lid 4", waiting(NOW), NOW))
    expect(strip.locator(".working")).to_be_hidden()
    expect(strip.locator(".fresh .headline")).to_have_text("Wait until 08:10, then recoat")


def test_a_strip_that_gets_no_answer_is_given_back_after_ten_seconds(visit: Visit, shop: FakeShop) -> None:
    shop.save(answer("lid-4", "Lid 4", morning(NOW)[1].verdict, NOW - MINUTE))
    page = visit.open("/")
    strip = page.locator("#strip-lid-4")
    strip.get_by_role("button", name="Log wash").click()
    expect(strip.locator(".working")).to_be_visible()
    expect(strip.locator(".working")).to_be_hidden(timeout=15_000)
    expect(strip.locator(".do")).to_be_enabled()


def test_the_toast_is_closed_by_a_tap(visit: Visit) -> None:
    page = visit.open("/")
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Washed")
    page.get_by_role("button", name="Close").click()
    expect(page.locator("#toast")).to_be_hidden()


def test_a_toast_lies_over_no_field(visit: Visit) -> None:
    page = visit.open("/more/people")
    page.evaluate("coldshedLog.show('Now in °F')")
    toast, field = page.locator("#toast").bounding_box(), page.locator("#who").bounding_box()
    assert toast
    assert field
    assert toast["y"] + toast["height"] <= field["y"]
    assert page.locator(".over").evaluate("one => getComputedStyle(one).position") == "static"


def test_a_probe_brings_its_zone_and_the_zone_its_air_probe(visit: Visit) -> None:
    page = visit.open("/panels/new")
    expect(page.get_by_label("Zone")).to_have_value("shed")
    expect(page.get_by_label("Probe in the air")).to_have_value("A1")
    page.get_by_label("Probe in the air").select_option("S1")
    page.get_by_label("Probe on the panel").select_option("S2")
    expect(page.get_by_label("Probe in the air")).to_have_value("S1")


def test_a_panel_without_a_probe_is_refused_and_the_button_stays_in_reach(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.open("/panels/new")
    page.get_by_label("Name").fill("Hatch 2")
    page.get_by_label("Probe in the air").select_option("")
    button = page.get_by_role("button", name="Register it")
    button.click()
    expect(page.locator(".problem")).to_contain_text("A panel needs a probe")
    box, tabs = button.bounding_box(), page.locator(".tabs").bounding_box()
    problem = page.locator(".problem").bounding_box()
    assert box
    assert tabs
    assert problem
    assert box["y"] + box["height"] <= problem["y"]
    assert problem["y"] + problem["height"] <= tabs["y"]
    assert "hatch-2" not in shop.logbook.panels()


def test_a_registration_is_taken_back_and_the_round_says_so(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/new")
    page.get_by_label("Name").fill("Hatch 2")
    page.get_by_role("button", name="Register it").click()
    page.wait_for_url("**/panels/hatch-2")
    page.get_by_role("link", name="Correct").click()
    page.get_by_label("Wrong panel").check()
    page.get_by_role("button", name="Take back").click()
    page.wait_for_url(visit.url + "/")
    expect(page.locator("#toast")).to_contain_text("Taken back 06:10")
    assert "hatch-2" not in shop.logbook.panels()


def test_a_coat_mixed_long_ago_is_asked_about_once(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/lid-4/coat")
    shop.logbook.append(_back(shop))
    page.get_by_label("Or earlier: time of mixing").fill("2026-01-10T08:10")
    button = page.get_by_role("button", name="Mixed at the time above")
    button.click()
    expect(page.locator("form .problem")).to_contain_text("Mixed 22 h ago?")
    assert len(shop.logbook.panels()["lid-4"].coats) == 0
    button.click()
    page.wait_for_url("**/panels/lid-4")
    assert shop.logbook.panels()["lid-4"].newest.mixed_at == NOW - 22 * HOUR


def _back(shop: FakeShop) -> Event:
    """Takes back both coats of Lid 4; returns the second of the two entries, not yet appended."""
    first, second = (
        Event(f"back-{coat.event}", NOW, NOW, "Kim", "withdrawn", "lid-4", {"event": coat.event})
        for coat in shop.logbook.panels()["lid-4"].coats
    )
    shop.logbook.append(first)
    return second


def test_more_than_two_alarms_are_seen_with_one_tap(visit: Visit, shop: FakeShop) -> None:
    shop.save(alarms=tuple(too_cold(f"too cold:plug-7:{n}") for n in (2, 3)))
    page = visit.open("/more/alarms")
    page.get_by_role("button", name="All seen").click()
    expect(page.get_by_text("seen 06:10 by somebody")).to_have_count(3)
    expect(page.get_by_role("button", name="All seen")).to_have_count(0)


def test_every_way_from_an_alarm_is_as_large_as_a_button(visit: Visit) -> None:
    """72 px: our own rule, above WCAG 2.2, 2.5.8."""
    page = visit.open("/more/alarms")
    box = page.get_by_role("link", name="See panel").bounding_box()
    assert box
    assert box["height"] >= 72


def test_a_panel_is_closed_by_two_taps_that_say_what_they_do(visit: Visit, shop: FakeShop) -> None:
    """The first tap asks, the second closes; the round goes on without it and More still leads to its log."""
    page = visit.open("/panels/box-a")
    page.get_by_role("button", name="Close this panel").click()
    assert not shop.logbook.panels()["box-a"].closed
    page.get_by_role("button", name="Sure? Close it").click()
    expect(page.locator("#strip-plug-7")).to_be_visible()
    expect(page.locator("#strip-box-a")).to_have_count(0)
    assert shop.logbook.panels()["box-a"].closed
    page.goto(page.url + "more")
    page.get_by_role("link", name="Box A").click()
    expect(page.locator("#strip-box-a")).to_contain_text("this panel is closed")
    expect(page.get_by_role("button", name="Close this panel")).to_have_count(0)


def test_an_alarm_is_quiet_for_half_an_hour_with_two_taps_on_its_page(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more/alarms")
    page.get_by_text("Quiet until…").click()
    page.get_by_role("button", name="30 min").click()
    expect(page.get_by_role("heading", name="Quiet for now")).to_be_visible()
    entry = shop.logbook.events()[-1]
    assert (entry.kind, entry.body["until"] - entry.at) == ("alarm shelved", 30 * MINUTE)
    expect(page.locator(".alarm")).to_have_count(0)


def test_switching_an_alarm_off_asks_first(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more/alarms")
    before = shop.logbook.version()
    page.get_by_text("Quiet until…").click()
    page.get_by_role("button", name="Switch this alarm off").click()
    expect(page.get_by_role("button", name="Sure? It never rings again")).to_be_visible()
    assert shop.logbook.version() == before
    page.get_by_role("button", name="Sure? It never rings again").click()
    expect(page.get_by_role("heading", name="Switched off")).to_be_visible()
    assert shop.logbook.events()[-1].kind == "out of service"


def test_quiet_hours_are_set_and_a_test_is_asked_for_where_people_are_named(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.open("/more/notices")
    robin = page.locator("section", has=page.get_by_role("heading", name="Robin"))
    robin.locator("summary").click()
    robin.get_by_label("From").fill("21:30")
    robin.get_by_label("A panel has stopped curing").check()
    robin.get_by_role("button", name="Save").click()
    expect(robin.get_by_text("Quiet from 21:30 to 06:00.")).to_be_visible()
    wake = ["too cold", "probe silent", "site unheard", "site lags", "recording"]
    assert shop.logbook.events()[-1].body["wake"] == wake
    robin.get_by_role("button", name="Send a test").click()
    expect(page.locator("#toast")).to_contain_text("Test on its way")
    assert shop.logbook.events()[-1].body == {"person": "Robin"}
