"""All pages of the app by their addresses, and what the tests that look at every one of them ask of each."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from tests.browser.fake_shop import MINUTE, NOW
from tests.browser.serving import until

NOWHERE = "/nowhere"
"""Is answered 404, and while it is open it asks anew: the browser may speak of it only when the next page is there."""
PAGES = (
    "/",
    "/round/sheet",
    "/panels/new",
    "/panels/plug-7",
    "/panels/plug-7/coat",
    "/panels/plug-7/thumb",
    "/panels/plug-7/more",
    "/panels/plug-7/log/plug-7-00000001",
    "/panels/plug-7/label",
    "/panels/plug-7/record",
    "/panels/plug-7/demould",
    "/panels/plug-7/sign-off",
    "/panels/box-a/pot",
    "/labels",
    "/mix",
    "/mix?spot=probe:A1&onto=wood&bottles_C=14&cloudy=1",
    "/mix/pots?spot=panel:box-a&area_m2=2.5&cloth_gm2=300&plies=2&cloth_gm2=800&peel=1&fills=2&bottles_C=22",
    "/mix/pots?spot=probe:A1&amount_oz=500&card=invented-15min&upright=1&bottles_F=72",
    "/more",
    "/more/alarms",
    "/more/notices",
    "/more/settings",
    "/more/people",
    "/more/probes",
    "/more/probes/A1",
    f"/more/probes/S1/check?against=ice%20water&since={NOW - 10 * MINUTE}",
    "/more/probes/A1/check?against=sodium%20chloride",
    "/more/probes/S1/correct",
    "/more/probes/S1/device",
    "/help",
    "/help?find=blush",
    "/help/glossary",
    "/help/job",
    "/help/card-guide",
    "/not-kept",
    NOWHERE,
)
"""Of the invented shop of five panels, in the morning."""
NIGHT = ("/", "/tonight", "/tonight/plug-7", "/tonight/deck-2?hold=25&to=23:00", "/tonight/rib-1")
"""Of the invented shop on a winter evening."""
DOOR = ("/door", "/", "/more", "/panels/lid-4", "/door/me", "/door/keys", "/door/trail")
"""Of the shop behind its door; the first as somebody sees it who has not signed in."""
SET_UP = (
    "/",
    "/set-up/shop",
    "/set-up/ways",
    "/set-up/probes",
    "/set-up/probe?device={device}",
    "/set-up/write",
)
"""Of a shop that is being set up; the first is where its code is asked for."""
OUTSIDE = {("door", "/door"), ("set-up", "/")}
"""Seen by whoever has not been let in."""
ALL = (
    *(("morning", path) for path in PAGES),
    *(("evening", path) for path in NIGHT),
    *(("door", path) for path in DOOR),
    *(("set-up", path) for path in SET_UP),
)
NO_PAGES = {
    "/p": "leads to a panel's page by the letters of its label",
    "/p/{code}": "the same",
    "/worker.js": "a script",
    "/help/pictures/{name}": "a picture",
    "/panels/{panel_id}/photos/{digest}": "a picture",
    "/panels/{panel_id}/record.css": "a stylesheet",
    "/static/{version}/{name}": "scripts, styles, pictures",
    "/door/trail.csv": "a table to keep",
}
"""What else is served outside the API, and what it is."""
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}

REACH = """() => {
  const all = "a[href], button, input:not([type=hidden]), select, summary, textarea, [tabindex='0']";
  const shown = (one) => one.checkVisibility({ visibilityProperty: true }) && !one.disabled && one.tabIndex >= 0;
  const named = (one) => `${one.localName} ${one.id || one.name || one.getAttribute("href") || one.textContent.trim()}`;
  const first = (one) => (one.type === "radio" ? document.getElementsByName(one.name)[0] : one);
  // Of a group of radios one is come to, and the arrow keys walk within it. A page that is open replaces its parts.
  const reach = () => [...document.querySelectorAll(all)].filter((one) => shown(one) && first(one) === one);
  window.walked = [];
  addEventListener("keydown", (event) => {
    const one = document.activeElement;
    if (event.key !== "Tab" || !one || one === document.body) return;
    const seen = one.matches(".choice input") ? one.nextElementSibling : one;
    const box = seen.getBoundingClientRect();
    const style = getComputedStyle(seen);
    const met = document.elementFromPoint(box.left + box.width / 2, box.top + Math.min(box.height / 2, 24));
    window.walked.push({
      nth: reach().indexOf(first(one)), what: one.outerHTML.slice(0, 120), y: box.top + scrollY,
      main: Boolean(one.closest("main")),
      ring: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
      met: Boolean(met) && (one.contains(met) || seen.contains(met) || met.contains(one)),
    });
  }, true);
  document.activeElement?.blur();
  scrollTo(0, 0);
  return reach().map(named);
}"""
"""Names what Tab has to come to, in the order of the page, and notes at each Tab where focus stands: whether it is
ringed, and whether something lies over it (WCAG 2.2, 2.4.11)."""

SPACED = """() => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(`p { margin-bottom: 2em !important; }
    * { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important; }`);
  document.adoptedStyleSheets = [sheet];
}"""
"""WCAG 2.2, 1.4.12 Text Spacing."""

CUT = """() => [...document.querySelectorAll("body *")].filter((one) => {
  const style = getComputedStyle(one);
  if (one.closest("svg, .scroll, .unseen, .zones, .tile, select, input, noscript")) return false;
  if (!one.checkVisibility()) return false;
  const x = style.overflowX !== "visible" && one.scrollWidth > one.clientWidth + 1;
  const y = style.overflowY !== "visible" && one.scrollHeight > one.clientHeight + 1;
  return (x || y) && one.clientWidth > 2;
}).map((one) => one.outerHTML.slice(0, 160))"""
"""What hides a part of its own text."""

TARGETS = """() => [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, summary")]
  .filter((one) => one.checkVisibility({ visibilityProperty: true }) && one.tabIndex >= 0)
  .map((one) => {
    const box = (one.closest("label") ?? one).getBoundingClientRect();
    const inline = one.localName === "a" && getComputedStyle(one).display === "inline";
    const acts = one.matches(".do:not(.beside *), .wide, .plain:not(.door-row *), .act, .choice input");
    return { what: one.outerHTML.slice(0, 120), inline, acts, width: box.width, height: box.height };
  })"""


def lights(page: Page) -> tuple[str, ...]:
    """The lights a page has: paper has one."""
    return ("light", "dark", "sun") if page.evaluate("Boolean(window.coldshedTheme)") else ("paper",)


def show(page: Page, light: str) -> None:
    """In another light, as a tap on More does it."""
    if light != "paper":
        page.evaluate("(light) => { localStorage.theme = light; window.coldshedTheme.show(); }", light)


def axe(page: Page, what: str) -> list[str]:
    """What axe-core complains of, in words."""
    if not page.evaluate("Boolean(window.axe)"):
        page.evaluate(AXE_SCRIPT)
    found: dict[str, Any] = page.evaluate("(rules) => axe.run(document, rules)", RULES)
    return [
        f"{what}: {item['id']}: {node['html'][:160]} {node['failureSummary'][:300]}"
        for item in found["violations"]
        for node in item["nodes"]
    ]


UNTITLED = """() => {
  document.querySelector(".top .alarm")?.remove();
  document.querySelector("h1.unseen")?.classList.remove("unseen");
}"""
"""The page as it is without an alarm: its title stands in the header."""


def wide(page: Page, size: int, what: str) -> list[str]:
    """Whether the page scrolls sideways at that width, px; a chart is drawn anew a moment after a change."""
    page.set_viewport_size({"width": size, "height": 800 if size == 1280 else 664})
    try:
        until(lambda: page.evaluate("document.documentElement.scrollWidth <= innerWidth"), what)
    except AssertionError:
        return [f"{what}: {page.evaluate('document.documentElement.scrollWidth')} wide at {size} px"]
    return []


def walk(page: Page) -> list[str]:
    """Goes through the whole page with Tab alone; complaints about what is not reached, not seen, or out of order."""
    wanted: list[str] = page.evaluate(REACH)
    walked: list[dict[str, Any]] = []
    for _ in range(12):
        for _ in range(len(wanted) // 2 + 8):
            page.keyboard.press("Tab")
        walked = page.evaluate("window.walked")
        if {step["nth"] for step in walked} >= set(range(len(wanted))):
            break
    reached = [step for step in walked if step["nth"] >= 0]
    missed = [
        f"Tab does not come to {name}"
        for i, name in enumerate(wanted)
        if i not in {s["nth"] for s in reached}
    ]
    unseen = [f"focus is not seen: {step['what']}" for step in walked if not step["ring"]]
    under = [f"focus is under something: {step['what']}" for step in walked if not step["met"]]
    first: dict[int, dict[str, Any]] = {}
    for step in reached:
        first.setdefault(step["nth"], step)
    order = list(first)
    jumps = [] if order == sorted(order) else [f"out of the page's order: {order}"]
    steps = [step for step in first.values() if step["main"]]
    back = [f"focus goes back up to {b['what']}" for a, b in pairwise(steps) if b["y"] < a["y"] - 100]
    return [*missed, *dict.fromkeys(unseen), *dict.fromkeys(under), *jumps, *back]


def small(page: Page) -> list[str]:
    """What can be tapped and is too small: 72 px for what acts, 44 else, links within a sentence apart (our own rules).

    WCAG 2.2, 2.5.8 asks for 24.
    """
    return [
        f"{item['what']} is {item['width']:.0f} by {item['height']:.0f}"
        for item in page.evaluate(TARGETS)
        if not item["inline"] and min(item["width"], item["height"]) < (71.5 if item["acts"] else 43.5)
    ]


def pattern(route: str) -> re.Pattern[str]:
    """Matches the addresses of a route such as /panels/{panel_id}."""
    return re.compile(re.sub(r"\\\{[^}]+\\\}", "[^/?]+", re.escape(route)) + r"(\?.*)?")
