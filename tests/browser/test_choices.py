"""What a device keeps of its own: the hand, the sound, the name; and what it does with them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from playwright.sync_api import Page, expect

from dashboard.alarm import Alarm
from model.verdict import Say
from tests.browser.conftest import Visit
from tests.browser.fake_shop import MINUTE, NOW, FakeShop, too_cold
from tests.browser.serving import until

AUDIO = """
window.heard = [];
window.AudioContext = class {
  currentTime = 0;
  destination = {};
  createGain() { return { gain: { setValueAtTime() {}, setTargetAtTime() {} }, connect: (to) => to }; }
  createOscillator() {
    const tone = { frequency: {}, connect: (to) => to, stop() {} };
    tone.start = () => window.heard.push(tone.frequency.value);
    return tone;
  }
};
"""
"""Stands in for the loudspeaker: what would be heard, in Hz."""


def boxes(page: Page) -> list[tuple[float, float]]:
    """Left edges of tile and button of the first strip."""
    return page.eval_on_selector_all(
        ".strip:first-child .fresh .tile, .strip:first-child > .do",
        "all => all.map((one) => one.getBoundingClientRect().x)",
    )


def test_for_the_left_hand_button_and_tile_change_sides_and_nothing_grows(visit: Visit) -> None:
    page = visit.open("/more/settings")
    expect(page.get_by_label("Right", exact=True)).to_be_checked()
    page.get_by_label("Left", exact=True).check()
    page.goto(visit.url + "/")
    tile, button = boxes(page)
    assert button < tile
    height = page.locator(".strips").bounding_box()
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    page.evaluate("localStorage.removeItem('hand'); coldshedTheme.show()")
    tile, button = boxes(page)
    assert tile < button
    assert page.locator(".strips").bounding_box() == height


@pytest.mark.parametrize("visit", [({"width": 320, "height": 568}, "dark")], indirect=True)
def test_a_left_hand_fits_320_px_too(visit: Visit) -> None:
    page = visit.open("/")
    page.evaluate("localStorage.setItem('hand', 'left')")
    for path in ("/", "/mix", "/tonight", "/panels/plug-7"):
        page.goto(visit.url + path)
        assert page.evaluate("document.documentElement.scrollWidth") == 320, path


def test_a_pot_sounds_only_where_it_was_chosen_and_the_page_was_tapped(visit: Visit, shop: FakeShop) -> None:
    visit.context.add_init_script(AUDIO)
    shop.save(alarms=(alarm("pot about to go"),))
    page = visit.open("/")
    page.locator("h1, .below").first.click(force=True)
    assert page.evaluate("heard") == []
    expect(page.locator("#sound-waits")).to_be_hidden()
    page.evaluate("localStorage.setItem('sound', 'on')")
    page.reload()
    expect(page.locator("#sound-waits")).to_be_visible()
    assert page.evaluate("heard") == []
    page.locator(".unproven").click()
    until(lambda: page.evaluate("heard.length") == 4, "the pot is heard")
    expect(page.locator("#sound-waits")).to_be_hidden()


def test_cold_is_never_sounded_and_a_window_once(visit: Visit, shop: FakeShop) -> None:
    visit.context.add_init_script(AUDIO + "localStorage.setItem('sound', 'on');")
    page = visit.open("/")
    page.locator(".unproven").click()
    assert page.evaluate("heard") == []
    shop.save(alarms=(alarm("window shuts soon"),))
    page.evaluate("coldshed.poll()")
    until(lambda: page.evaluate("heard.length") == 2, "the window is heard")
    page.evaluate("coldshed.poll()")
    page.locator(".unproven").click()
    assert page.evaluate("heard.length") == 2


def alarm(kind: str) -> Alarm:
    """One that nobody has seen, of that kind."""
    said = {"pot about to go": Say("alarm_pot", {"panel": "Lid 4", "pour_by": NOW + 9 * MINUTE})}
    shuts = Say("alarm_window_shuts", {"panel": "Lid 4", "shut_by": NOW + 25 * MINUTE})
    return replace(too_cold(f"{kind}:lid-4:1"), kind=kind, panel="lid-4", say=said.get(kind, shuts))


def test_a_name_is_chosen_with_one_tap_and_stands_in_the_field(visit: Visit) -> None:
    page = visit.open("/more/people")
    page.get_by_label("Robin").check()
    expect(page.get_by_label("Your name, for the log")).to_have_value("Robin")
    assert page.evaluate("localStorage.getItem('who')") == "Robin"
    page.get_by_label("Your name, for the log").fill("Ada")
    page.keyboard.press("Tab")
    assert page.evaluate("localStorage.getItem('who')") == "Ada"
    expect(page.get_by_label("Robin")).not_to_be_checked()
    page.reload()
    expect(page.get_by_label("Your name, for the log")).to_have_value("Ada")
    assert visit.complaints == []
