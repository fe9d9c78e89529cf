"""A real Chromium against a real server over an invented shop. Nothing here waits for a duration."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect, sync_playwright

from tests.browser.fake_shop import FakeShop, open_shop
from tests.browser.serving import DEADLINE_S, Served, free_port

expect.set_options(timeout=DEADLINE_S * 1000)
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
PHONE, DESK = {"width": 390, "height": 664}, {"width": 1280, "height": 800}


@pytest.fixture(scope="package")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="package")
def chromium(playwright: Playwright) -> Iterator[Browser]:
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.fail("no Chromium on this machine: install it, or leave tests/browser out of the run")
    browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
    yield browser
    browser.close()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FakeShop]:
    opened = open_shop(tmp_path, port=free_port(), heard=True, told=("Kim", "Robin"))
    yield opened
    opened.close()


@pytest.fixture
def served(shop: FakeShop) -> Iterator[Served]:
    server = Served(shop.app, shop.port)
    yield server
    server.stop()


@dataclass
class Visit:
    """One visitor: opens pages and keeps what the browser complained of."""

    context: BrowserContext
    url: str
    complaints: list[str] = field(default_factory=list)

    def open(self, path: str) -> Page:
        page = self.context.new_page()
        page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        page.goto(self.url + path)
        return page


@pytest.fixture
def visit(chromium: Browser, served: Served, request: pytest.FixtureRequest) -> Iterator[Visit]:
    """A phone in light by default; `indirect` takes (viewport, theme)."""
    viewport, theme = getattr(request, "param", (PHONE, "light"))
    scheme = "dark" if theme == "dark" else "light"
    context = chromium.new_context(viewport=viewport, color_scheme=scheme)
    if theme == "sun":
        context.add_init_script("localStorage.setItem('theme', 'sun')")
    yield Visit(context, served.url)
    context.close()


def counted(page: Page) -> list[str]:
    """Labels of what a thumb taps from now on, on every page that this one comes to."""
    taps: list[str] = []
    page.expose_function("tapped", lambda text: taps.append(text))  # noqa: PLW0108 (a bound method of a list has no dict)
    # A tap that came before the scripts is clicked again by first.js: that one is no thumb's.
    page.add_init_script(
        "addEventListener('click', (e) => e.isTrusted && window.tapped(e.target.textContent.trim()), true)"
    )
    return taps


def news(page: Page) -> bool:
    """True, once what the browser has to tell by now was heard; also while one page gives way to another."""
    page.context.cookies()
    return True
