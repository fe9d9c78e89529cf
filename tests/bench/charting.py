"""What a panel's chart of a week at ten seconds costs: bytes, the server's time, a browser's until it is drawn."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from httpx import Response
from playwright.sync_api import BrowserContext, Page, sync_playwright

from tests.bench.rows import Found, Row, Section, alone
from tests.browser.conftest import FLAGS, PHONE
from tests.browser.serving import Served, free_port
from tests.dashboard.client import Client
from tests.dashboard.week_shop import WeekShop, week_shop

CHART, PAGE = "/api/panels/lid-4/chart", "/panels/lid-4"
VISITS = 7
CORES = {0, 1}

DRAWN = """() => {
  const drawn = performance.getEntriesByName("chart drawn")[0].startTime;
  const asked = performance.getEntriesByType("resource").find((entry) => entry.name.includes("/chart")).startTime;
  return [drawn, drawn - asked];
}"""


ROWS = {
    "bytes": Row("first load, compressed", "kB", at_most=60.0),
    "tail_bytes": Row("what is new a minute later, compressed", "kB"),
    "cold": Row("server, nothing rolled up yet", "ms"),
    "warm": Row("server, asked again", "ms"),
    "tail": Row("server, what is new a minute later", "ms"),
    "page": Row("server, the page around it", "ms"),
    "first": Row("browser, first visit ever, until it is drawn", "s"),
    "drawn": Row("browser, a later visit, until it is drawn", "s", at_most=1.0),
    "asked": Row("  of it from asking for the data", "s"),
}


def measure() -> dict[str, Found]:
    """One panel, its two probes, three series of a week."""
    folder = Path(tempfile.mkdtemp())
    try:
        port = free_port()
        with week_shop(folder, port) as shop:
            return dict([*_server(shop), *_browser(shop, port)])
    finally:
        shutil.rmtree(folder)


def _server(shop: WeekShop) -> Iterator[tuple[str, Found]]:
    client = Client(shop.app)
    cold_ms, first = _timed(lambda: client.get(CHART))
    warm_ms = [_timed(lambda: client.get(CHART))[0] for _ in range(21)]
    page_ms = [_timed(lambda: client.get(PAGE))[0] for _ in range(21)]
    have = ",".join(block["id"] for block in first.json()["blocks"])
    shop.later(60_000)
    tail_ms, tail = _timed(lambda: client.get(f"{CHART}?have={have}"))
    yield "bytes", alone([first.num_bytes_downloaded / 1000.0])
    yield "tail_bytes", alone([tail.num_bytes_downloaded / 1000.0])
    yield "cold", alone([cold_ms])
    yield "warm", alone(warm_ms)
    yield "tail", alone([tail_ms])
    yield "page", alone(page_ms)


def _timed(ask: Callable[[], Response]) -> tuple[float, Response]:
    begin = time.perf_counter()
    answer = ask()
    return 1e3 * (time.perf_counter() - begin), answer


def _browser(shop: WeekShop, port: int) -> Iterator[tuple[str, Found]]:
    """A phone-sized headless Chromium on two cores, with the server on them; two visits put Plotly into its cache."""
    cores, served = os.sched_getaffinity(0), Served(shop.app, port)
    profile = tempfile.mkdtemp()
    os.sched_setaffinity(0, cores & CORES or cores)
    try:
        with sync_playwright() as playwright:
            path = shutil.which("chromium") or shutil.which("chromium-browser")
            context = playwright.chromium.launch_persistent_context(
                profile, executable_path=path, args=FLAGS, viewport=PHONE
            )
            found = [_visit(context, served.url) for _ in range(2 + VISITS)]
            context.close()
    finally:
        os.sched_setaffinity(0, cores)
        served.stop()
        shutil.rmtree(profile)
    kept = found[2:]
    yield "first", alone([found[0][0] / 1000.0])
    yield "drawn", alone([drawn / 1000.0 for drawn, _ in kept])
    yield "asked", alone([asked / 1000.0 for _, asked in kept])


def _visit(context: BrowserContext, url: str) -> tuple[float, float]:
    """ms from navigation, and from asking for the data, until the chart is drawn."""
    page: Page = context.new_page()
    page.goto(url + PAGE)
    page.wait_for_selector("#chart[data-drawn]")
    from_start, from_asking = page.evaluate(DRAWN)
    page.close()
    return float(from_start), float(from_asking)


SECTION = Section("chart", "A panel's chart: a week at 10 s", ROWS, measure)
