"""`coldshed demo`, as README's first command starts it: the morning it promises, and nothing left behind it."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

from tests.journeys.shop import DEADLINE_S, PROCESSES, Process, Shop, wait_until
from tests.journeys.window import Chromium, Window

MORNING = {
    "plug-7": "Warm it above",
    "box-a": "Sand",
    "lid-4": "Dry it, wash it",
    "rib-1": "Not known: S4 silent since",
    "skiff-deck-2": "Recoat before",
}
"""The panels, and how their headlines begin: stopped by cold, to sand, to wash, a silent probe, to recoat."""


def test_the_morning_is_as_promised_an_alarm_is_seen_and_ctrl_c_ends_all(
    tmp_path: Path, chromium: Chromium
) -> None:
    shop = Shop(tmp_path / "asked", "")  # for its port and questions only
    words = ["demo", "--folder", str(tmp_path / "night"), "--port", str(shop.port)]
    demo = Process(words, tmp_path / "demo.log")
    try:
        wait_until(lambda: shop.url in demo.said(), "the night is taken in", 3 * DEADLINE_S)
        shop.ready()
        page = chromium.open(shop.url)
        for panel, beginning in MORNING.items():
            page.says(panel, beginning)
        assert set(MORNING) == {strip["panel"] for strip in shop.get("/api/round")["strips"]}
        see_an_alarm(shop, page)
        assert page.complaints == []
        page.close()
        assert set(demo.children()) == set(PROCESSES)
        demo.interrupt()
        assert demo.wait(15) == 0, demo.said()
        assert demo.group() == set()
        assert not shop.answers()
    finally:
        demo.clean_up()


def see_an_alarm(shop: Shop, page: Window) -> None:
    """Two taps from the round: the alarm that takes the title's place, then "Seen"."""
    wait_until(lambda: page.do(lambda open_page: open_page.locator(".alarm").count()) == 1, "an alarm rings")

    def tap(open_page: Page) -> str:
        open_page.locator(".alarm").click()
        button = open_page.get_by_role("button", name="Seen", exact=True).first
        alarm = button.get_attribute("data-seen")
        button.click()
        return alarm or ""

    seen = page.do(tap)
    wait_until(
        lambda: page.do(lambda open_page: open_page.locator(f'[data-seen="{seen}"]').count()) == 0,
        "its button is gone",
    )
    (alarm,) = [alarm for alarm in shop.get("/api/alarms")["alarms"] if alarm["id"] == seen]
    assert alarm["seen_at"] is not None
