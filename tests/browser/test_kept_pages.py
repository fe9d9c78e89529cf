"""Installed, and opened though the shop's computer cannot be reached: what was seen last, as old as it is."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect

from dashboard import help_pages
from tests.browser import icons
from tests.browser.conftest import FLAGS, PHONE
from tests.browser.fake_shop import MINUTE, NOW, FakeShop, answer, open_shop, plain_app, stopped
from tests.browser.serving import Served, free_port, until
from tests.browser.test_paper import grey

ROUND = 15_000
KEPT = """async (pages) => {
  const names = (await caches.keys()).filter((name) => name.includes(pages ? "pages" : "files"));
  const found = await Promise.all(names.map(async (name) => (await (await caches.open(name)).keys())));
  return found.flat().map(({ url }) => new URL(url).pathname).sort();
}"""


@pytest.fixture
def context(chromium: Browser) -> Iterator[BrowserContext]:
    opened = chromium.new_context(viewport=PHONE)
    yield opened
    opened.close()


def kept(page: Page, pages: bool = True) -> list[str]:
    """Paths of the pages, or of the files, that this browser keeps."""
    found: list[str] = page.evaluate(KEPT, pages)
    return found


def seen(context: BrowserContext, served: Served, *paths: str) -> Page:
    """A page of a visitor who has looked at these, the last one in front, all of them kept."""
    page = context.new_page()
    for path in paths:
        page.goto(served.url + path)
        page.evaluate("navigator.serviceWorker.ready.then(() => 0)")
    until(lambda: set(kept(page)) >= set(paths), "they are kept")
    return page


@pytest.fixture(scope="module")
def cut_off(
    chromium: Browser, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[BrowserContext, str]]:
    """A phone that has seen the round and a panel, and the address of a shop that is gone since."""
    shop = open_shop(tmp_path_factory.mktemp("gone"), port=free_port())
    served, context = Served(shop.app, shop.port), chromium.new_context(viewport=PHONE)
    seen(context, served, "/", "/panels/skiff-deck-2")
    served.stop()
    yield context, served.url
    context.close()
    shop.close()


def minutes_later(context: BrowserContext, minutes: int) -> Page:
    """A new page, the device's clock that much further."""
    page = context.new_page()
    page.add_init_script(f"const told = Date.now; Date.now = () => told() + {minutes * MINUTE}")
    return page


def test_chromium_would_install_it_and_its_manifest_is_whole(context: BrowserContext, served: Served) -> None:
    """Chrome DevTools Protocol: Page.getAppManifest and Page.getInstallabilityErrors."""
    page = seen(context, served, "/")
    browser = context.new_cdp_session(page)
    told: dict[str, Any] = browser.send("Page.getAppManifest")
    assert told["errors"] == []
    manifest = json.loads(told["data"])
    assert manifest["name"]
    assert manifest["start_url"] == "/"
    # "in-incognito" is what a test's own profile is, whatever the page.
    errors = browser.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert [item["errorId"] for item in errors if item["errorId"] != "in-incognito"] == []


def test_the_icons_are_those_of_the_drawing_and_a_round_cut_takes_none_of_it(chromium: Browser) -> None:
    """W3C Web Application Manifest, "icon masks and safe zone": a circle of two fifths of the width is never cut."""
    page = chromium.new_page()
    for name, (side, share) in icons.ICONS.items():
        stored = grey(page, (icons.STATIC / name).read_bytes())
        assert stored.shape == (side, side)
        assert (stored == grey(page, icons.draw(chromium, side, share))).all(), f"{name}: run .ci/icons"
    drawn = stored > 100  # the last is the one that is cut
    y, x = drawn.nonzero()
    assert len(y) > 10_000
    assert max((x - 255.5) ** 2 + (y - 255.5) ** 2) <= (0.4 * 512) ** 2
    page.close()


def test_started_cold_without_the_shop_the_round_is_there_and_as_old_as_it_is(
    cut_off: tuple[BrowserContext, str],
) -> None:
    page = minutes_later(cut_off[0], 2)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(cut_off[1])
    expect(page.locator("#strip-skiff-deck-2 .fresh .headline")).to_be_visible()
    expect(page.locator("#lost")).to_have_text("this page lost touch 06:10")
    assert page.evaluate("window.coldshed.now()") >= NOW + 2 * MINUTE
    assert complaints == []


@pytest.mark.parametrize(
    ("minutes", "since"),
    [(11, "06:10"), (60 * 24 * 3, "Sun 11 Jan 06:10"), (-5, "06:10")],
    ids=["past-its-time", "three-days", "clock-set-back"],
)
def test_started_cold_past_good_until_nothing_old_is_shown_as_fresh(
    cut_off: tuple[BrowserContext, str], minutes: int, since: str
) -> None:
    """Whose clock was set back since cannot tell how old a page is: nothing of it counts."""
    page = minutes_later(cut_off[0], minutes)
    for path, last in (("/", ".strip .stale .why"), ("/panels/skiff-deck-2", ".answer .stale .next")):
        page.goto(cut_off[1] + path)
        expect(page.locator(last).first).to_have_text("Last said 06:10: Recoat before 06:50.")
        assert page.locator(".fresh .headline:visible").count() == 0, path
        expect(page.locator("#lost")).to_have_text(f"this page lost touch {since}")


def test_a_clock_set_back_since_the_shop_last_spoke_makes_no_kept_page_younger(
    context: BrowserContext, served: Served
) -> None:
    """The page was kept before, the shop went on answering "unchanged": its own time alone tells nothing."""
    page = seen(context, served, "/")
    page.evaluate(f"Date.now = ((was) => () => was() + {40 * MINUTE})(Date.now.bind(Date))")
    page.evaluate("coldshed.poll()")
    served.stop()
    page.close()
    later = context.new_page()
    later.goto(served.url)
    expect(later.locator(".strip .stale .why").first).to_have_text("Last said 06:10: Recoat before 06:50.")
    assert later.locator(".fresh .headline:visible").count() == 0


def test_without_its_script_a_kept_page_shows_no_answer_at_all(
    context: BrowserContext, served: Served
) -> None:
    page = seen(context, served, "/")
    page.evaluate(
        """async () => {
          for (const name of await caches.keys())
            for (const one of await (await caches.open(name)).keys())
              if (one.url.endsWith("/page.js")) await (await caches.open(name)).delete(one);
        }"""
    )
    served.stop()
    context.new_cdp_session(page).send("Network.clearBrowserCache")
    page.goto(served.url)
    expect(page.locator(".strip .name").first).to_be_visible()
    assert page.locator(".fresh .headline:visible").count() == 0


def test_when_the_shop_answers_again_a_kept_page_takes_it_in(
    context: BrowserContext, served: Served, shop: FakeShop
) -> None:
    seen(context, served, "/")
    served.stop()
    page = context.new_page()
    page.goto(served.url)
    expect(page.locator("#lost")).to_be_visible()
    shop.save(answer("skiff-deck-2", "Skiff deck 2", stopped(NOW)))
    again = Served(shop.app, shop.port)
    try:
        page.evaluate("window.coldshed.poll()")
        expect(page.locator("#strip-skiff-deck-2 .fresh .headline")).to_contain_text("Warm it", timeout=ROUND)
        expect(page.locator("#lost")).to_be_hidden()
    finally:
        again.stop()


def test_only_pages_are_kept_no_record_no_picture_no_numbers_and_nothing_of_a_tap(
    context: BrowserContext, served: Served
) -> None:
    page = seen(context, served, "/", "/panels/plug-7", "/panels/plug-7/thumb")
    page.goto(f"{served.url}/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    page.goto(served.url)
    page.locator("[data-log]").first.click()
    expect(page.locator("#toast")).to_contain_text("Undo")
    for path in ("/panels/plug-7/record", "/panels/plug-7/label", "/panels/plug-7/coat", "/panels/new",
                 "/round/sheet", "/tonight", "/more/alarms", "/more/probes", "/more", "/api/round"):  # fmt: skip
        page.goto(served.url + path)
    page.goto(served.url)
    assert kept(page) == ["/", "/panels/plug-7", "/panels/plug-7/thumb"]
    assert all(name.startswith("/static/") or name == "/not-kept" for name in kept(page, pages=False))


def test_a_page_that_was_not_kept_says_so_and_leads_to_the_round(
    context: BrowserContext, served: Served
) -> None:
    page = seen(context, served, "/")
    served.stop()
    page.goto(f"{served.url}/panels/lid-4")
    expect(page.get_by_role("heading", level=1)).to_have_text("Not known: no answer")
    page.get_by_role("link", name="Round").first.click()
    expect(page.locator(".strip .name").first).to_be_visible()


def test_after_signing_out_nothing_that_was_seen_is_left(context: BrowserContext, served: Served) -> None:
    page = seen(context, served, "/", "/panels/lid-4")
    page.evaluate("window.coldshedDoor.forget()")
    assert kept(page) == []
    served.stop()
    page.goto(served.url)
    expect(page.get_by_role("heading", level=1)).to_have_text("Not known: no answer")


def test_a_new_version_takes_over_by_itself_and_what_the_old_one_kept_goes(
    context: BrowserContext, served: Served, shop: FakeShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dashboard import static_files

    page = seen(context, served, "/", "/panels/lid-4")
    old = page.evaluate("caches.keys()")
    served.stop()
    ours = static_files._ours()
    monkeypatch.setattr(static_files, "_ours", lambda: ours | {"coldshed.css": ours["coldshed.css"] + b"\n"})
    newer = Served(plain_app(shop), shop.port)
    try:
        page.goto(newer.url)
        until(lambda: not set(page.evaluate("caches.keys()")) & set(old), "the old version's are gone", 30)
        until(lambda: kept(page) == ["/"], "the page that is open is kept")
    finally:
        newer.stop()


def test_on_plain_http_over_a_network_there_is_no_worker_and_nothing_breaks(
    playwright: Playwright, tmp_path: Path
) -> None:
    """Localhost and TLS are secure contexts, another name is none (W3C Secure Contexts, 3.1)."""
    port = free_port()
    shop = open_shop(tmp_path, port=port, public_url=f"http://shed.lan:{port}")
    served = Served(shop.app, port)
    flags = [*FLAGS, "--host-resolver-rules=MAP shed.lan 127.0.0.1"]
    browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
    try:
        page = browser.new_page()
        complaints: list[str] = []
        # The browser tells that it leaves one header out here; there is nothing to mend.
        page.on("console", lambda told: "Opener-Policy" in told.text or complaints.append(told.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(f"http://shed.lan:{port}/")
        assert page.evaluate("[isSecureContext, 'serviceWorker' in navigator]") == [False, False]
        page.evaluate("window.coldshedDoor.forget()")
        page.evaluate("window.coldshed.poll()")
        expect(page.locator("#strip-skiff-deck-2 .fresh .headline")).to_have_text("Recoat before 06:50")
        assert complaints == []
    finally:
        browser.close()
        served.stop()
        shop.close()


def test_help_can_be_read_without_the_shop_and_rings_no_old_alarm(
    context: BrowserContext, served: Served, shop: FakeShop
) -> None:
    page = context.new_page()
    page.goto(served.url + "/more")
    expect(page.locator("[data-alarm]")).to_be_visible()
    count = """async () => {
      const name = (await caches.keys()).find((one) => one.includes("help"));
      return name ? (await (await caches.open(name)).keys()).length : 0;
    }"""
    until(lambda: page.evaluate(count) == len(help_pages.addresses()), "help is kept", 60)
    served.stop()
    page.goto(served.url + "/help/job")
    expect(page.get_by_role("heading", name="Tonight")).to_be_visible()
    until(
        lambda: page.evaluate("[...document.images].every((one) => one.naturalWidth > 0)"),
        "its pictures are there",
    )
    expect(page.locator("[data-alarm]")).to_have_count(0)
    page.goto(served.url + "/help/glossary#tg")
    expect(page.locator("#dew-point")).to_be_visible()
