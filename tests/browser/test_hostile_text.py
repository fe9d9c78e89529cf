"""Stored hostile text stays text wherever it is shown, in a real browser: OWASP ASVS 5.0.0, 1.2.1, 3.2.2."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import quote
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, Page

from dashboard.display import View
from dashboard.record.gather import Archive
from dashboard.record.render import html
from dashboard.record.work_out import work_out
from dashboard.watch_store import WatchReader
from tests.browser.conftest import PHONE
from tests.browser.every_page import DOOR, NIGHT, NOWHERE, PAGES, SET_UP
from tests.browser.hostile import PROBE, SHORT, hostile_evening, hostile_house, hostile_set_up
from tests.browser.sites import Site
from tests.door.house import House

CHECK = "/check?against=sodium%20chloride"
OF_PROBE = [f"/more/probes/{quote(PROBE, safe='')}{more}" for more in ("", CHECK, "/correct", "/device")]
TELLS_NOTHING = (
    "/help",
    "/panels/new",
    "/more/settings",
    "/not-kept",
    "/more",
    "/door/me",
    "/mix/pots",
    NOWHERE,
)
"""Pages that show no text of others, or need not."""
LOOK = """() => ({
  broken: window.broken, images: document.querySelectorAll("img[src=x], [onerror]").length,
  scripts: [...document.scripts].filter((one) => !one.src && one.type !== "application/json").length,
  shown: document.documentElement.textContent.includes("{{7*7}}") ||
    [...document.querySelectorAll("input, option")].some((one) => one.value.includes("{{7*7}}")),
})"""


@pytest.fixture(scope="module")
def stack() -> Iterator[ExitStack]:
    with ExitStack() as opened:
        yield opened


@pytest.fixture(scope="module")
def house(stack: ExitStack, tmp_path_factory: pytest.TempPathFactory) -> tuple[House, Site]:
    return hostile_house(stack, tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="module")
def page(chromium: Browser) -> Iterator[tuple[Page, list[str]]]:
    """And what ran, was asked, or was forbidden by the page's own policy."""
    context = chromium.new_context(viewport=PHONE)
    made, complaints = context.new_page(), list[str]()
    made.on("pageerror", lambda error: complaints.append(str(error)))
    made.on("dialog", lambda dialog: complaints.append(dialog.message))
    made.on("console", lambda said: complaints.extend([said.text] * ("Content Security" in said.text)))
    yield made, complaints
    context.close()


def looked(page: tuple[Page, list[str]], site: Site, paths: list[str]) -> set[str]:
    """Opens each; nothing of it may run. Gives those that showed the hostile text, as text."""
    shown, wrong = set[str](), list[str]()
    made, complaints = page
    if site.cookie is not None:
        made.context.add_cookies([{"name": site.cookie[0], "value": site.cookie[1], "url": site.url}])
    for path in paths:
        answer = made.goto(site.url + path, wait_until="domcontentloaded")
        found = made.evaluate(LOOK)
        assert answer is not None
        if answer.status != (404 if path == NOWHERE else 200) or complaints:
            wrong.append(f"{path}: {answer.status} {complaints}")
        if (found.pop("broken", None), found["images"], found["scripts"]) != (None, 0, 0):
            wrong.append(f"{path}: {found}")
        if found["shown"]:
            shown.add(path)
    assert not wrong, "\n".join(wrong)
    return shown


def test_on_every_page_of_a_shop(page: tuple[Page, list[str]], house: tuple[House, Site]) -> None:
    """Panels, zones, probes, topics, logger cells, notes, reasons, lots, serials, people, tokens."""
    paths = [*PAGES, *OF_PROBE, *(path for path in DOOR if path not in (*PAGES, "/door"))]
    shown = looked(page, house[1], paths)
    assert {path for path in paths if path not in shown and not path.startswith(TELLS_NOTHING)} == set()


def test_on_the_pages_of_the_evening(
    page: tuple[Page, list[str]], stack: ExitStack, tmp_path_factory: pytest.TempPathFactory
) -> None:
    site = hostile_evening(stack, tmp_path_factory.mktemp("evening"))
    assert looked(page, site, list(NIGHT)) == set(NIGHT)


def test_on_the_pages_that_set_a_shop_up(
    page: tuple[Page, list[str]], stack: ExitStack, tmp_path_factory: pytest.TempPathFactory
) -> None:
    site = hostile_set_up(stack, tmp_path_factory.mktemp("set-up"))
    paths = [path.format(device=quote(site.device)) for path in SET_UP]
    shown = looked(page, site, paths)
    assert {path for path in paths if path not in shown} <= {"/"}


def test_in_a_record_that_is_kept_as_a_file(
    page: tuple[Page, list[str]], house: tuple[House, Site], tmp_path: Path
) -> None:
    shop = house[0].shop
    said = WatchReader(shop.folder / "watch.db", shop.logbook).said
    archive = Archive(
        shop.folder / "readings.db", shop.logbook, lambda card: None, said, SHORT, "Europe/Oslo"
    )
    used = archive.used("lid-4", shop.clock.now())
    view = View(ZoneInfo(used.time_zone), used.unit, used.at)
    file = tmp_path / "record.html"
    file.write_text(html(used, work_out(used), "0" * 64, view), encoding="utf-8")
    assert looked(page, Site(shop.app, "file://"), [str(file)]) == {str(file)}
