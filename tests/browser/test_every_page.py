"""Every page, at each width and in all three lights: nothing that axe, a keyboard or a large print can complain of."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from itertools import pairwise
from urllib.parse import quote

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import PHONE, Visit
from tests.browser.every_page import (
    ALL,
    CUT,
    NO_PAGES,
    NOWHERE,
    OUTSIDE,
    SPACED,
    UNTITLED,
    axe,
    lights,
    pattern,
    show,
    small,
    walk,
    wide,
)  # fmt: skip
from tests.browser.sites import SITES, Site

WIDTHS = (320, 390, 768, 1280)
STAY = "if (location.pathname === '/not-kept') addEventListener('polled', (event) => event.stopImmediatePropagation())"
"""The page that says a page was not kept asks again as soon as the shop answers: here it is to be looked at."""


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Site]]:
    """Nobody changes anything there."""
    with ExitStack() as stack:
        yield {name: made(stack, tmp_path_factory.mktemp(name)) for name, made in SITES.items()}


@pytest.fixture(scope="module")
def phone(chromium: Browser, sites: dict[str, Site]) -> Iterator[tuple[Page, list[str]]]:
    """One page for all, and what it complained of or asked for elsewhere."""
    context = chromium.new_context(viewport=PHONE)
    context.add_init_script(STAY)
    page, complaints = context.new_page(), list[str]()
    page.on(
        "console",
        lambda said: complaints.append(f"{said.type}: {said.text} {said.location['url']}"),
    )
    page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
    page.on(
        "request",
        lambda asked: complaints.extend([asked.url] * (not asked.url.startswith("http://127.0.0.1:"))),
    )
    yield page, complaints
    context.close()


@pytest.mark.parametrize(("site", "path"), ALL)
def test_a_page_has_nothing_to_complain_of(
    phone: tuple[Page, list[str]], sites: dict[str, Site], site: str, path: str
) -> None:
    """One load: axe in each light and at a desk, four widths, twice the text, wider spacing, targets, Tab alone."""
    page, complaints = phone
    enter(page, sites[site], inside=(site, path) not in OUTSIDE)
    complaints.clear()
    page.goto(sites[site].url + path.format(device=quote(sites[site].device)))
    if page.locator("#chart").count():
        page.wait_for_selector("#chart .main-svg")
    found = [problem for light in lights(page) for problem in _in(page, light)]
    found += small(page) + walk(page)
    for size in WIDTHS:
        found += wide(page, size, "as it is")
    found += axe(page, "1280")
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    found += wide(page, 390, "200 % text")
    page.evaluate(UNTITLED)
    found += wide(page, 390, "200 % text without an alarm")
    page.evaluate("document.documentElement.style.fontSize = ''")
    found += wide(page, 320, "without an alarm")
    page.evaluate(SPACED)
    found += wide(page, 390, "spaced")
    found += [f"spaced: cuts {text}" for text in page.evaluate(CUT)]
    found += [text for text in complaints if "404" not in text or not text.endswith(NOWHERE)]
    assert not found, "\n".join(found)


def enter(page: Page, site: Site, inside: bool) -> None:
    """With the site's cookie, or without any."""
    page.context.clear_cookies()
    if inside and site.cookie is not None:
        page.context.add_cookies([{"name": site.cookie[0], "value": site.cookie[1], "url": site.url}])


def _in(page: Page, light: str) -> list[str]:
    show(page, light)
    return axe(page, light)


@pytest.mark.parametrize("site", SITES)
def test_the_list_of_pages_is_complete(sites: dict[str, Site], site: str) -> None:
    """Whoever adds a page adds its address to the list."""
    served = {path for path, ways in sites[site].app.openapi()["paths"].items() if "get" in ways}
    pages = {route for route in served if not route.startswith("/api/") and route not in NO_PAGES}
    listed = [path for where, path in ALL if site == "set-up" or where != "set-up"]
    assert {route for route in pages if not any(pattern(route).fullmatch(path) for path in listed)} == set()
    if site == "door":
        assert set(NO_PAGES) <= served, "what is named as no page is served"


KINDS = [("morning", "/"), ("morning", "/panels/plug-7"), ("morning", "/mix"), ("morning", "/panels/plug-7/thumb"),
         ("morning", "/panels/plug-7/coat"), ("morning", "/more"), ("morning", "/panels/plug-7/demould"),
         ("morning", "/help"), ("evening", "/tonight/deck-2?hold=25&to=23:00")]  # fmt: skip
"""One of each kind of page."""


def test_with_forced_colours_every_kind_of_page_is_legible_and_keeps_its_marks(
    phone: tuple[Page, list[str]], sites: dict[str, Site]
) -> None:
    page, _ = phone
    page.emulate_media(forced_colors="active")
    try:
        found = []
        for site, path in KINDS:
            page.goto(sites[site].url + path)
            found += axe(page, f"forced colours, {path}")
        assert not found, "\n".join(found)
        page.goto(sites["morning"].url)
        assert page.locator(".strip .mark:visible").count() == 5
        assert page.locator(".strip .fresh .headline:visible").count() == 5
        chosen = page.locator(".tabs [aria-current]")
        assert chosen.evaluate("(one) => getComputedStyle(one).backgroundColor") != page.locator(
            ".tabs a"
        ).nth(1).evaluate("(one) => getComputedStyle(one).backgroundColor"), "the tab that is open is marked"
    finally:
        page.emulate_media(forced_colors="none")


def test_with_reduced_motion_nothing_moves(phone: tuple[Page, list[str]], sites: dict[str, Site]) -> None:
    page, _ = phone
    page.goto(sites["morning"].url)
    page.evaluate("document.querySelector('.strip').classList.add('changed')")
    moves = "getComputedStyle(document.querySelector('.changed .headline')).animationName"
    assert page.evaluate(moves) == "wipe"
    page.emulate_media(reduced_motion="reduce")
    assert page.evaluate(moves) == "none"
    page.emulate_media(reduced_motion="no-preference")


def test_what_is_tapped_on_the_round_is_large_and_five_strips_need_no_scroll(visit: Visit) -> None:
    """With an alarm above them; buttons are targets 8 px apart (our own rule)."""
    page = visit.open("/")
    tabs, last = page.locator(".tabs").bounding_box(), page.locator(".strip").last.bounding_box()
    assert tabs
    assert last
    assert tabs["height"] >= 54
    assert last["y"] + last["height"] <= tabs["y"]
    boxes = page.eval_on_selector_all(".strip", "all => all.map(one => one.getBoundingClientRect().toJSON())")
    assert all(below["top"] - above["bottom"] >= 8 for above, below in pairwise(boxes))


def test_all_seven_words_of_the_thumb_stand_on_one_screen(visit: Visit) -> None:
    """With an alarm above them, each 72 px high; 12 px before the one that costs a day."""
    page = visit.open("/panels/plug-7/thumb")
    boxes = page.eval_on_selector_all(
        ".seven button", "all => all.map(one => one.getBoundingClientRect().toJSON())"
    )
    assert len(boxes) == 7
    assert boxes[-1]["bottom"] <= PHONE["height"]
    assert all(box["height"] >= 72 for box in boxes)
    assert boxes[6]["top"] - boxes[5]["bottom"] >= 12


def test_the_two_pinned_hashes_are_those_of_plotlys_own_styles(visit: Visit) -> None:
    from dashboard.security import PLOTLY_STYLES

    page = visit.open("/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    found = page.evaluate(
        """async () => Promise.all([...document.querySelectorAll("style")].map(async (style) => {
          const digest = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(style.textContent));
          return "sha256-" + btoa(String.fromCharCode(...new Uint8Array(digest)));
        }))"""
    )
    assert sorted(found) == sorted(PLOTLY_STYLES)
