"""A page that stays in touch: by one stream for all tabs, by asking where there is none, over sleep and restarts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from dashboard import static_files
from dashboard.changes import Changes
from tests.browser.conftest import Visit, news
from tests.browser.fake_shop import MINUTE, NOW, FakeShop, answer, open_shop, recoat, waiting
from tests.browser.serving import Served, until

LONG = 20_000
TABS = 8
"""More than the six connections that a browser makes to one host (common practice, no source)."""
SEEN = "Object.defineProperty(document, 'hidden', { configurable: true, get: () => %s });"
TOLD = "document.dispatchEvent(new Event('visibilitychange'));"


def changes(shop: FakeShop) -> Changes:
    found = shop.app.state.changes
    assert isinstance(found, Changes)
    return found


def listening(page: Page, shop: FakeShop, streams: int = 1) -> None:
    until(lambda: news(page) and changes(shop).listening == streams, f"{streams} streams are open")


def waits(shop: FakeShop, panel: str = "lid-4", name: str = "Lid 4", now: int = NOW) -> None:
    shop.save(answer(panel, name, waiting(now), now))


def headline(page: Page, panel: str = "lid-4") -> object:
    return page.locator(f"#strip-{panel} .fresh .headline")


def test_a_change_comes_by_the_stream_while_the_pages_own_timers_stand_still(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.context.new_page()
    page.clock.install()
    page.goto(visit.url)
    listening(page, shop)
    page.clock.pause_at(page.evaluate("Date.now() / 1000 + 1"))
    waits(shop)
    expect(headline(page)).to_have_text("Wait until 08:10, then recoat")
    assert visit.complaints == []


def test_tabs_share_one_stream_and_hand_it_on(visit: Visit, shop: FakeShop) -> None:
    """Also a new page comes at once: its connections are not taken."""
    pages = [visit.open("/") for _ in range(TABS)]
    listening(pages[-1], shop)
    waits(shop)
    for page in pages:
        expect(headline(page)).to_have_text("Wait until 08:10, then recoat")
    for number in range(TABS - 1):
        pages.pop(0 if number % 2 else -1).close()
        listening(pages[0], shop)
    shop.save(answer("lid-4", "Lid 4", recoat(NOW + 40 * MINUTE, NOW + 75 * MINUTE)))
    expect(headline(pages[0])).to_have_text("Recoat before 06:50")


def test_a_page_that_is_not_seen_lets_go_and_is_true_as_soon_as_it_is_seen_again(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.open("/")
    listening(page, shop)
    page.evaluate("window.coldshed.poll()")  # nothing that was begun before is still on its way
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.evaluate(SEEN % "true" + TOLD)
    listening(page, shop, 0)
    waits(shop)
    page.evaluate("window.coldshedAnswered = 0; addEventListener('polled', () => window.coldshedAnswered++)")
    assert asked == []
    # Phones stop a page's timers: the first thing after sleep is that what has run out is said, before any answer.
    late = "Date.now = ((was) => () => was() + 3600000)(Date.now.bind(Date));"
    shown = page.evaluate(
        late
        + SEEN % "false"
        + TOLD
        + "document.querySelector('#strip-lid-4').classList.contains('not-known')"
    )
    assert shown
    expect(headline(page)).to_have_text("Wait until 08:10, then recoat")
    listening(page, shop)


def test_a_stream_that_hangs_without_an_end_is_given_up_for_another(visit: Visit, shop: FakeShop) -> None:
    changes(shop)._beat_s = 1e6
    page = visit.context.new_page()
    streams: list[str] = []
    page.on("request", lambda request: streams.append(request.url) if "/api/changes" in request.url else None)
    page.clock.install()
    page.goto(visit.url)
    listening(page, shop)
    page.clock.fast_forward(40_000)
    until(lambda: news(page) and len(streams) == 2, "another stream is opened")
    listening(page, shop)


@pytest.mark.parametrize("why", ["full", "held back"])
def test_without_a_stream_a_page_asks_every_few_seconds(visit: Visit, shop: FakeShop, why: str) -> None:
    """As many as may listen already, or a proxy keeps back what it passes on."""
    if why == "full":
        changes(shop)._most = 0
    page = visit.context.new_page()
    held: list[Route] = []
    if why == "held back":
        page.route("**/api/changes", lambda route: held.append(route))  # noqa: PLW0108 (as in test_counted_taps)
    page.goto(visit.url)
    waits(shop)
    expect(headline(page)).to_have_text("Wait until 08:10, then recoat", timeout=LONG)
    assert changes(shop).listening == 0
    expect(page.locator("#lost")).to_be_hidden()
    for route in held:
        route.abort()


@pytest.fixture
def restarted(shop: FakeShop, served: Served) -> Iterator[list[Served]]:
    """Servers that a test starts after the first."""
    later: list[Served] = []
    yield later
    for one in later:
        one.stop()


def start_again(shop: FakeShop, later: list[Served]) -> FakeShop:
    """The same shop, served by a new process, as it were."""
    shop.close()
    again = open_shop(Path(shop.folder), shop.clock, port=shop.port, filled=False)
    later.append(Served(again.app, shop.port))
    return again


def test_after_a_restart_of_the_server_a_page_is_in_touch_again_by_itself(
    visit: Visit, shop: FakeShop, served: Served, restarted: list[Served]
) -> None:
    page = visit.open("/")
    listening(page, shop)
    page.evaluate("window.kept = true")
    served.stop()
    expect(page.locator("#lost")).to_have_text("this page lost touch 06:10")
    again = start_again(shop, restarted)
    waits(again)
    expect(headline(page)).to_have_text("Wait until 08:10, then recoat", timeout=LONG)
    expect(page.locator("#lost")).to_be_hidden()
    listening(page, again)
    assert page.evaluate("window.kept"), "the page was not loaded anew"
    again.close()


def test_a_newer_program_loads_the_page_anew_but_never_over_what_was_typed(
    visit: Visit, shop: FakeShop, served: Served, restarted: list[Served], monkeypatch: pytest.MonkeyPatch
) -> None:
    round_, form = visit.open("/"), visit.open("/panels/new")
    form.get_by_label("Name").fill("Hatch 2")
    for page in (round_, form):
        page.evaluate("window.kept = true")
    served.stop()
    ours = static_files._ours
    monkeypatch.setattr(static_files, "_ours", lambda: ours() | {"new.css": b"/* newer */"})
    with round_.expect_event("load", timeout=LONG):
        again = start_again(shop, restarted)
    assert not round_.evaluate("window.kept")
    form.evaluate("window.coldshed.poll()")
    expect(form.locator("#lost")).to_be_hidden()
    assert form.get_by_label("Name").input_value() == "Hatch 2"
    assert form.evaluate("window.kept")
    again.close()


def test_with_the_stream_cut_and_time_past_good_until_the_page_reads_not_known(
    visit: Visit, shop: FakeShop, served: Served
) -> None:
    page = visit.open("/")
    listening(page, shop)
    served.stop()
    page.clock.install()
    page.clock.fast_forward(11 * MINUTE)
    expect(page.locator("#strip-lid-4 .headline:visible")).to_have_text("Not known: this answer is too old")
    assert page.locator(".strip .fresh .headline:visible").count() == 0


def test_a_clock_that_is_set_at_the_server_is_heard_of(visit: Visit, shop: FakeShop) -> None:
    """With no change in any store: the stream brings the time, and a page that differs asks."""
    changes(shop)._beat_s = 0.2
    page = visit.open("/")
    listening(page, shop)
    shop.clock.at = NOW + 11 * MINUTE  # type: ignore[attr-defined]
    expect(page.locator("#strip-lid-4 .headline:visible")).to_have_text("Not known: this answer is too old")
    expect(page.locator(".ages")).to_contain_text("06:21")
