"""What the pages cost: bytes of the first view, the server's time and memory, fifty tabs that are open at once."""

from __future__ import annotations

import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.bench.asking import Connection, server
from tests.bench.rows import Found, Row, Section, alone, compared, each, scaled, turns
from tests.bench.shop_server import OPEN
from tests.browser.conftest import FLAGS, PHONE

VIEWS, TABS, ROUNDS = 1000, 50, 9
ASKED = 20
"""Requests in one turn."""
LINKED = re.compile(rb'(?:src|href)="(/static/[^"]+)"')
BARE, ROUTE = "bare ASGI app, as many bytes", "empty FastAPI route"
PATHS = {"/": "morning round", "/panels/lid-4": "a panel", "/tonight": "tonight", "/more/alarms": "alarms",
         "/round/sheet": "the sheet to print"}  # fmt: skip
ANSWERS = {"/api/panels/lid-4": "one panel", "/api/round": "the round"}
CHART = "/api/panels/plug-7/chart"
"""Asked 150 times a second it would be as quick as a line that was rolled up before; it carries the cursor's words."""
ROWS = {
    "first": Row(f"bytes of the first view, {OPEN} panels, pictures and scripts too", "kB", at_most=60.0),
    "page": Row("  of them the page itself", "kB"),
    **{path: Row(f"page: {name}", "ms", BARE, ours_at_most=30.0) for path, name in PATHS.items()},
    "same": Row("page: morning round, nothing changed", "ms", BARE),
    **{path: Row(f"JSON: {name}", "ms", BARE) for path, name in ANSWERS.items()},
    CHART: Row("JSON: a night's chart", "ms", BARE, ours_at_most=6.7),
    "small": Row("JSON: is it alive, one client", "/s", ROUTE, at_least=0.7),
    "memory": Row("memory of serve after 1,000 more views", "MB more", at_most=5.0),
    "tabs": Row(f"page: morning round beside {TABS} open tabs", "ms", at_most=30.0),
    "tab": Row("  one tab more, until it is loaded", "ms", at_most=1000.0),
}


def resident_MB(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(re.findall(r"VmRSS:\s+(\d+) kB", status)[0]) / 1024


def several(connection: Connection, path: str, status: int = 200, **headers: str) -> Callable[[], None]:
    def ask() -> None:
        for _ in range(ASKED):
            assert connection.get(path, **headers)[1].status == status, path

    return ask


def measure() -> dict[str, Found]:
    """All from one server, and the peers from one other."""
    with (
        tempfile.TemporaryDirectory() as folder,
        server("tests.bench.shop_server", folder) as (port, pid),
        server("tests.bench.bare_server") as (bare_port, _),
        closing(Connection(port)) as ours,
        closing(Connection(bare_port)) as bare,
    ):
        found = [*_bytes(ours), *_beside(ours, bare)]
        before = resident_MB(pid)
        for number in range(VIEWS):
            ours.get(list(PATHS)[number % 2])
        return dict([*found, ("memory", alone([resident_MB(pid) - before])), *tabs(port)])


def _bytes(ours: Connection) -> Iterator[tuple[str, Found]]:
    page = len(ours.get("/")[0])
    linked = {name.decode() for name in LINKED.findall(ours.get("/", accept_encoding="identity")[0])}
    total = page + sum(len(ours.get(name)[0]) for name in linked)
    yield "first", alone([total / 1000])
    yield "page", alone([page / 1000])


def _beside(ours: Connection, bare: Connection) -> Iterator[tuple[str, Found]]:
    for path in [*PATHS, *ANSWERS, CHART]:
        size = len(ours.get(path)[0])
        yield path, _paired(several(ours, path), several(bare, f"/bytes/{size}"))
    tag = re.findall(rb"(?i)\r\netag: *([^\r]+)", ours.get("/")[1].raw)[0].decode()
    unchanged = several(ours, "/", 304, if_none_match=tag)
    yield "same", _paired(unchanged, several(bare, "/bytes/0"))
    mine, peers = turns(ROUNDS, several(ours, "/api/health"), several(bare, "/"), clock=time.perf_counter)
    yield "small", compared(each(ASKED, mine), each(ASKED, peers))


def _paired(ours: Callable[[], None], bare: Callable[[], None]) -> Found:
    mine, peers = turns(ROUNDS, ours, bare, clock=time.perf_counter)
    return compared(scaled(1e3 / ASKED, mine), scaled(1e3 / ASKED, peers))


def tabs(port: int) -> Iterator[tuple[str, Found]]:
    """Fifty tabs of a real browser on the round; then one more, and the server beside them."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        context, url = browser.new_context(viewport=PHONE), f"http://127.0.0.1:{port}"
        for _ in range(TABS):
            context.new_page().goto(url)
        with closing(
            Connection(port)
        ) as connection:  # a new one: the server ends a connection that is idle for long
            (beside,) = turns(ROUNDS, several(connection, "/"), clock=time.perf_counter)
        (last,) = turns(5, lambda: context.new_page().goto(url), clock=time.perf_counter)
        browser.close()
    yield "tabs", alone(scaled(1e3 / ASKED, beside))
    yield "tab", alone(scaled(1e3, last))


SECTION = Section("pages", "Pages and answers", ROWS, measure)
