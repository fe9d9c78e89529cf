"""Every page, in both sizes and all three lights: no complaint, no sideways scroll, no violation axe can see."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import DESK, PHONE, Visit
from tests.browser.fake_shop import MINUTE, NOW

PAGES = [
    "/",
    "/panels/plug-7",
    "/panels/plug-7/coat",
    "/panels/plug-7/thumb",
    "/panels/plug-7/more",
    "/panels/plug-7/log/plug-7-00000001",
    "/panels/new",
    "/more",
    "/more/alarms",
    "/more/notices",
    "/more/probes",
    "/nowhere",
]
MIX_PAGES = [
    "/mix",
    "/mix?spot=probe:A1&onto=wood&bottles_C=14&cloudy=1",
    "/mix/pots?spot=panel:box-a&area_m2=2.5&cloth_gm2=300&plies=2&cloth_gm2=800&peel=1&fills=2&bottles_C=22",
    "/panels/box-a/pot",
    "/mix/pots?spot=probe:A1&amount_oz=500&card=invented-15min&upright=1&bottles_F=72",
]
PROBE_PAGES = [
    "/more/probes/A1",
    f"/more/probes/S1/check?against=ice%20water&since={NOW - 10 * MINUTE}",
    "/more/probes/A1/check?against=sodium%20chloride",
    "/more/probes/S1/correct",
    "/more/probes/S1/device",
    "/panels/plug-7/demould",
    "/panels/plug-7/sign-off",
    "/panels/plug-7/record",
    "/more/settings",
    "/more/people",
    "/help?find=blush",
    "/help/job",
    "/help/card-guide",
    "/help/glossary",
]
"""Made of the same parts as those above: one light for each size is enough."""
LIGHTS = [(PHONE, "light"), (PHONE, "dark"), (PHONE, "sun"), (DESK, "light"), (DESK, "dark")]
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def ready(page, path: str) -> None:
    if path == "/panels/plug-7":
        page.wait_for_selector("#chart .main-svg")


@pytest.mark.parametrize("visit", LIGHTS, indirect=True, ids=lambda light: f"{light[0]['width']}-{light[1]}")
def test_no_page_breaks_a_rule_that_axe_can_see(visit: Visit) -> None:
    axe_sees_nothing(visit, PAGES)


@pytest.mark.parametrize("visit", [(PHONE, "light"), (DESK, "dark")], indirect=True, ids=["390", "1280"])
def test_no_probes_or_decisions_page_breaks_a_rule_that_axe_can_see(visit: Visit) -> None:
    axe_sees_nothing(visit, PROBE_PAGES)


@pytest.mark.parametrize("visit", [(PHONE, "light"), (DESK, "dark")], indirect=True, ids=["390", "1280"])
def test_no_page_of_the_mix_breaks_a_rule_that_axe_can_see(visit: Visit) -> None:
    axe_sees_nothing(visit, MIX_PAGES)


def axe_sees_nothing(visit: Visit, paths: list[str]) -> None:
    for path in paths:
        page = visit.open(path)
        ready(page, path)
        found = Axe().run(page, options=RULES)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
        width = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert width[0] == width[1], path
        page.close()
    visit.complaints = [text for text in visit.complaints if "404" not in text]
    assert visit.complaints == []


@pytest.mark.parametrize("visit", [({"width": 320, "height": 568}, "light")], indirect=True)
def test_at_320_px_every_page_reflows(visit: Visit) -> None:
    """WCAG 2.2, 1.4.10 Reflow: 320 CSS px."""
    for path in PAGES + PROBE_PAGES + MIX_PAGES:
        page = visit.open(path)
        ready(page, path)
        assert page.evaluate("document.documentElement.scrollWidth") == 320, path
        page.close()


def test_twice_as_large_text_does_not_scroll_sideways(visit: Visit) -> None:
    """WCAG 2.2, 1.4.4 Resize Text: 200 %."""
    for path in PAGES + PROBE_PAGES + MIX_PAGES:
        page = visit.open(path)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert page.evaluate("document.documentElement.scrollWidth") == 390, path
        page.close()


def test_what_is_tapped_on_the_round_is_large_and_five_strips_need_no_scroll(visit: Visit) -> None:
    """72 px for what acts (11 mm at 160 px/inch), 48 for the tabs: our own rule, above WCAG 2.2, 2.5.8."""
    page = visit.open("/")
    for box in page.eval_on_selector_all(
        ".do", "all => all.map(one => one.getBoundingClientRect().toJSON())"
    ):
        assert box["width"] >= 72
        assert box["height"] >= 72
    tabs = page.locator(".tabs").bounding_box()
    last = page.locator(".strip").last.bounding_box()
    assert tabs
    assert last
    assert tabs["height"] >= 54
    assert last["y"] + last["height"] <= tabs["y"]


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


def test_a_page_works_without_colour(visit: Visit) -> None:
    """Forced colours keep the tiles' contours and every word."""
    page = visit.open("/")
    page.emulate_media(forced_colors="active")
    assert page.locator(".strip .mark:visible").count() == 5
    assert page.locator(".strip .fresh .headline:visible").count() == 5
