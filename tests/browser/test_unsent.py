"""Taps made while nobody answers: kept on the phone, sent in order, logged once, never lost without a word."""

from __future__ import annotations

import re

from playwright.sync_api import BrowserContext, Locator, Page, Route, expect

from dashboard.panel import Event
from tests.browser.conftest import Visit, news
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, too_cold
from tests.browser.serving import until

KEPT = "Not sent: the shop computer did not answer. Kept on this phone; trying again."
LONG = 20_000
DAY = 24 * HOUR


def cut(context: BrowserContext) -> None:
    """The link is gone: pages, streams and taps alike. No console complaint is looked for while it is."""
    context.set_offline(True)


def mend(context: BrowserContext) -> None:
    context.set_offline(False)


def logged(shop: FakeShop, panel: str = "lid-4") -> list[str]:
    return [
        event.kind
        for event in shop.logbook.events(panel)
        if event.kind not in ("panel registered", "coat mixed")
    ]


def waits_for(shop: FakeShop, page: Page, kinds: list[str], panel: str = "lid-4") -> None:
    until(lambda: news(page) and logged(shop, panel) == kinds, f"{kinds} are logged")


def unsent(page: Page) -> Locator:
    return page.locator("#unsent")


def test_a_tap_without_the_server_is_kept_counted_and_sent_once_when_it_answers(
    visit: Visit, shop: FakeShop
) -> None:
    shop.logbook.append(Event("seen-00000001", NOW, NOW, "Kim", "alarm seen", None, {"alarm": too_cold().id}))
    page = visit.open("/")
    strip = page.locator("#strip-lid-4")
    before = strip.locator(".fresh .headline").text_content()
    tops = "all => all.map(one => one.getBoundingClientRect().top)"
    places = page.eval_on_selector_all(".strip", tops)
    cut(visit.context)
    strip.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text(KEPT)
    expect(unsent(page)).to_have_text("1 not yet sent")
    expect(strip.locator(".unsent-note")).to_have_text("Washed 06:10: not yet sent")
    expect(strip.locator(".fresh .headline")).to_have_text(str(before)), "the verdict stays as it was"
    expect(strip.locator(".do")).to_be_disabled()
    assert page.eval_on_selector_all(".strip", tops) == places
    assert logged(shop) == []
    shop.clock.at = NOW + 5000  # type: ignore[attr-defined]
    mend(visit.context)
    expect(page.locator("#toast")).to_contain_text("Washed 06:10", timeout=LONG)
    expect(unsent(page)).to_be_hidden()
    expect(strip.locator(".unsent-note")).to_have_count(0)
    assert logged(shop) == ["washed"]
    assert abs(shop.logbook.events("lid-4")[-1].at - NOW) < MINUTE, "the time of the tap, not of its arrival"


def test_several_are_sent_in_their_order_by_whichever_page_is_open_next(visit: Visit, shop: FakeShop) -> None:
    first = visit.open("/panels/box-a/thumb")
    round_ = visit.open("/")
    expect(unsent(round_)).to_be_hidden()
    cut(visit.context)
    round_.locator("#strip-box-a").get_by_role("button", name="Log sand").click()
    expect(round_.locator("#toast")).to_contain_text(KEPT)
    first.get_by_role("button", name="Sands to dust").click()
    expect(first.locator("#toast")).to_contain_text(KEPT)
    expect(unsent(round_)).to_have_text("2 not yet sent")
    for page in (first, round_):
        page.close()
    mend(visit.context)
    page = visit.open("/more")
    waits_for(shop, page, ["sanded", "thumb test"], "box-a")
    expect(page.locator("#toast")).to_contain_text("2 taps sent")


def test_a_coat_is_kept_on_its_sheet_which_goes_on_when_it_is_sent(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/skiff-deck-2/coat")
    cut(visit.context)
    button = page.get_by_role("button", name="Mixed just now")
    button.click()
    expect(page.locator("form .problem").first).to_have_text(KEPT)
    button.click()
    expect(unsent(page)).to_have_text("1 not yet sent")
    mend(visit.context)
    page.wait_for_url("**/panels/skiff-deck-2", timeout=LONG)
    expect(page.locator("#toast")).to_contain_text("Coat 3 started 06:10")
    assert len(shop.logbook.panels()["skiff-deck-2"].coats) == 3


def test_an_undone_tap_that_was_not_sent_arrives_with_its_undoing(visit: Visit, shop: FakeShop) -> None:
    """Nobody knows whether the first one arrived: so both are sent."""
    page = visit.open("/")
    cut(visit.context)
    page.get_by_role("button", name="Log wash").click()
    page.get_by_role("button", name="Undo").click()
    expect(unsent(page)).to_have_text("2 not yet sent")
    mend(visit.context)
    waits_for(shop, page, ["washed", "withdrawn"])
    assert shop.logbook.panels()["lid-4"].washed_at is None


def test_an_alarm_is_seen_when_it_was_tapped(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more/alarms")
    cut(visit.context)
    page.get_by_role("button", name="Seen", exact=True).click()
    expect(unsent(page)).to_have_text("1 not yet sent")
    expect(page.get_by_role("button", name="Seen", exact=True)).to_be_disabled()
    unsent(page).click()
    expect(page.locator("#unsent-list li")).to_contain_text("Warm Plug 7")
    page.keyboard.press("Escape")
    shop.clock.at = NOW + 20_000  # type: ignore[attr-defined]
    mend(visit.context)
    expect(page.get_by_text("seen 06:10 by somebody")).to_be_visible(timeout=LONG)


def test_what_needs_the_shops_word_is_not_kept_and_says_why(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/box-a/demould")
    page.get_by_label("Your name").fill("Kim")
    version = shop.logbook.version()
    cut(visit.context)
    page.locator("form button").click()
    expect(page.locator("form .problem")).to_contain_text("Only it can allow this; tap again when it does.")
    expect(unsent(page)).to_be_hidden()
    mend(visit.context)
    page.reload()
    assert shop.logbook.version() == version


def test_what_is_refused_later_is_shown_in_the_servers_words_and_what_came_after_it_is_held_back(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.open("/panels/box-a/thumb")
    round_ = visit.open("/")
    cut(visit.context)
    round_.locator("#strip-box-a").get_by_role("button", name="Log sand").click()
    expect(unsent(round_)).to_have_text("1 not yet sent")
    page.get_by_role("button", name="Sands to dust").click()
    expect(unsent(page)).to_have_text("2 not yet sent")
    page.close()
    for coat in reversed(shop.logbook.panels()["box-a"].coats):
        shop.logbook.append(
            Event(f"back-{coat.event}", NOW, NOW, "Kim", "withdrawn", "box-a", {"event": coat.event})
        )
    mend(visit.context)
    expect(unsent(round_)).to_have_text("2 not taken: look", timeout=LONG)
    unsent(round_).click()
    refused, held = (round_.locator("#unsent-list li").nth(number) for number in (0, 1))
    expect(refused).to_contain_text("Box A · 3 coats: Sanded 06:10")
    expect(refused).to_contain_text("Not taken. Box A has no coat yet: log its first coat, then this.")
    expect(held).to_contain_text("Held back: what came before it was not taken.")
    refused.get_by_role("button", name="Throw away").click()
    refused.get_by_role("button", name="Sure? It is logged nowhere").click()
    expect(round_.locator("#unsent-list li")).to_have_count(1)
    round_.get_by_role("button", name="Send it").click()
    expect(round_.locator("#unsent-list li")).to_contain_text("Not taken. Box A has no coat yet")
    round_.locator("#unsent-list").get_by_role("link", name="Open").click()
    round_.wait_for_url("**/panels/box-a")
    expect(unsent(round_)).to_have_text("1 not taken: look")
    assert logged(shop, "box-a") == ["withdrawn"] * 3


def test_after_a_month_in_a_drawer_a_tap_is_refused_in_words(visit: Visit, shop: FakeShop) -> None:
    """Its time is right: the phone's clock went on with the shop's."""
    page = visit.context.new_page()
    page.clock.install()
    page.goto(visit.url)
    cut(visit.context)
    page.get_by_role("button", name="Log wash").click()
    expect(unsent(page)).to_have_text("1 not yet sent")
    shop.clock.at = NOW + 32 * DAY  # type: ignore[attr-defined]
    page.clock.fast_forward(32 * DAY)
    mend(visit.context)
    expect(unsent(page)).to_have_text("1 not taken: look", timeout=LONG)
    unsent(page).click()
    expect(page.locator("#unsent-list li")).to_contain_text("more than 31 days ago")
    assert logged(shop) == []


def test_if_the_phones_clock_was_changed_somebody_says_when_it_was(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/")
    cut(visit.context)
    page.get_by_role("button", name="Log wash").click()
    expect(unsent(page)).to_have_text("1 not yet sent")
    page.evaluate("Date.now = ((was) => () => was() + 1800000)(Date.now.bind(Date))")
    shop.clock.at = NOW + 10 * MINUTE + 30_000  # type: ignore[attr-defined]
    mend(visit.context)
    expect(unsent(page)).to_have_text("1 not taken: look", timeout=LONG)
    unsent(page).click()
    asked = page.locator("#unsent-list li")
    expect(asked).to_contain_text("This phone's clock was changed. When was it?")
    assert asked.get_by_role("button").all_inner_texts()[:2] == ["06:10", "05:50"]
    assert logged(shop) == []
    asked.get_by_role("button", name="06:10").click()
    waits_for(shop, page, ["washed"])
    assert abs(shop.logbook.events("lid-4")[-1].at - NOW) < MINUTE


def test_a_browser_that_keeps_nothing_says_so_plainly(visit: Visit, shop: FakeShop) -> None:
    visit.context.add_init_script(
        "Object.defineProperty(window, 'indexedDB', { get() { throw new Error('shut off'); } })"
    )
    page = visit.open("/")
    cut(visit.context)
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text(
        "Not sent: the shop computer did not answer. Tap again; it counts once."
    )
    expect(unsent(page)).to_be_hidden()
    mend(visit.context)
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Washed 06:10")
    assert logged(shop) == ["washed"]


def test_a_script_that_does_not_come_is_told_and_the_page_is_loaded_anew(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.context.new_page()
    away = [True]

    def hold(route: Route) -> None:
        route.abort() if away[0] else route.continue_()

    page.route(re.compile("/(log.js|api/health)"), hold)
    page.goto(visit.url)
    expect(page.locator("#toast")).to_have_text(re.compile("^This page came only in part"))
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Your tap was not taken.")
    away[0] = False
    expect(page.locator("#toast")).to_be_hidden(timeout=LONG)
    page.get_by_role("button", name="Log wash").click()
    expect(page.locator("#toast")).to_contain_text("Washed 06:10")
    assert logged(shop) == ["washed"]
