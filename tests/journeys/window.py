"""One real Chromium in a thread of its own: its driver allows one user in a thread, and other tests have theirs."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import pytest
from playwright.sync_api import Browser, Page, Playwright, sync_playwright

from tests.journeys.shop import DEADLINE_S, wait_until

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
PHONE = {"width": 390, "height": 664}
T = TypeVar("T")


class Chromium:
    """The browser; open() gives one page each time."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(1, "chromium")
        self._playwright: Playwright = self.call(lambda: sync_playwright().start())
        path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        if path is None:
            pytest.fail("no Chromium on this machine: install it, or leave tests/journeys out of the run")
        self._browser: Browser = self.call(
            lambda: self._playwright.chromium.launch(executable_path=path, args=FLAGS)
        )

    def call(self, act: Callable[[], T]) -> T:
        """Runs it in the browser's thread."""
        return self._thread.submit(act).result(2 * DEADLINE_S)

    def open(self, url: str) -> Window:
        return Window(self, self.call(lambda: self._browser.new_page(viewport=PHONE)), url)

    def close(self) -> None:
        self.call(self._browser.close)
        self.call(self._playwright.stop)
        self._thread.shutdown()


class Window:
    """A page that is left open: what a person sees on it, never reloaded by the test."""

    def __init__(self, chromium: Chromium, page: Page, url: str) -> None:
        self._chromium = chromium
        self._page = page
        self.complaints: list[str] = []
        self.do(self._listen)
        self.go(url)

    def _listen(self, page: Page) -> None:
        page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))

    def do(self, act: Callable[[Page], T]) -> T:
        return self._chromium.call(lambda: act(self._page))

    def go(self, url: str) -> None:
        self.do(lambda page: page.goto(url))

    def headline(self, panel: str) -> str:
        """What the panel's strip says to the eye; empty if there is no such strip yet."""
        return self._seen(f"#strip-{panel} .headline")

    def why(self, panel: str) -> str:
        return self._seen(f"#strip-{panel} .why")

    def lost(self) -> str:
        """What the header says while the server does not answer."""
        return self._seen("#lost")

    def text(self) -> str:
        return self.do(lambda page: page.locator("body").inner_text())

    def _seen(self, selector: str) -> str:
        def look(page: Page) -> str:
            found = [item for item in page.locator(selector).all() if item.is_visible()]
            return found[0].inner_text() if found else ""

        return self.do(look).replace("\u00a0", " ")

    def says(self, panel: str, beginning: str, deadline_s: float = DEADLINE_S) -> str:
        """Returns the panel's headline once it begins so."""
        found = [""]

        def so() -> bool:
            found[0] = self.headline(panel)
            return found[0].startswith(beginning)

        try:
            wait_until(so, f"{panel}: {beginning}", deadline_s)
        except AssertionError as error:
            raise AssertionError(f"{error}; the page says {found[0]!r}: {self.why(panel)!r}") from None
        return found[0]

    def close(self) -> None:
        self.do(lambda page: page.close())
