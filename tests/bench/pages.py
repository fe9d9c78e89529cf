"""What the pages cost: bytes of the first view, the server's time and memory, fifty tabs that are open at once."""

from __future__ import annotations

import http.client
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from playwright.sync_api import sync_playwright

from tests.bench.line import Line
from tests.bench.shop_server import OPEN
from tests.browser.conftest import FLAGS, PHONE
from tests.services import free_port, wait_until

VIEWS, TABS, ASKED = 1000, 50, 300
LINKED = re.compile(rb'(?:src|href)="(/static/[^"]+)"')
PATHS = ("/", "/panels/lid-4", "/tonight", "/more/alarms", "/round/sheet")


class Connection:
    """One to a shop's server that stays open, as a browser's does."""

    def __init__(self, port: int) -> None:
        self.url = f"http://127.0.0.1:{port}"
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)

    def get(self, path: str, **headers: str) -> tuple[bytes, http.client.HTTPResponse]:
        self._connection.request("GET", path, headers={"Accept-Encoding": "gzip", **headers})
        answer = self._connection.getresponse()
        return answer.read(), answer


class Served(Connection):
    """A shop's server and a connection to it."""

    def __init__(self, process: subprocess.Popen[bytes], port: int) -> None:
        super().__init__(port)
        self.pid = process.pid

    def rss_MB(self) -> float:
        """Resident memory."""
        status = Path(f"/proc/{self.pid}/status").read_text()
        return int(re.findall(r"VmRSS:\s+(\d+) kB", status)[0]) / 1024


@contextmanager
def served() -> Iterator[Served]:
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        process = subprocess.Popen([sys.executable, "-P", "-m", "tests.bench.shop_server", folder, str(port)])

        def answers() -> bool:
            try:
                return Served(process, port).get("/")[1].status == 200
            except OSError:
                return False

        try:
            wait_until(answers, "the shop is served", 120)
            yield Served(process, port)
        finally:
            process.terminate()
            process.wait(30)


def times_ms(run: Callable[[], object], count: int = ASKED) -> list[float]:
    found = []
    for _ in range(count):
        begin = time.perf_counter()
        run()
        found.append(1000 * (time.perf_counter() - begin))
    return sorted(found)


def serving() -> list[Line]:
    """All from one server: bytes, times, and memory before and after a thousand views."""
    with served() as shop:
        page, answer = shop.get("/")
        plain = shop.get("/", **{"Accept-Encoding": "identity"})[0]
        linked = {name.decode() for name in LINKED.findall(plain)}
        total = len(page) + sum(len(shop.get(name)[0]) for name in linked)
        lines = [
            Line(f"bytes of the first view, {OPEN} panels", total / 1000, "kB", 60),
            Line("  of them the page itself", len(page) / 1000, "kB"),
        ]
        for path in PATHS:
            found = times_ms(lambda path=path: shop.get(path))
            lines.append(Line(f"server and socket, {path}, median", median(found), "ms", 30))
            lines.append(Line("  99 of 100", found[int(0.99 * len(found))], "ms"))
        tag = answer.headers["ETag"]
        found = times_ms(lambda: shop.get("/", **{"If-None-Match": tag}))
        lines.append(Line("  /, if nothing changed", median(found), "ms"))
        before = shop.rss_MB()
        for number in range(VIEWS):
            shop.get(PATHS[number % 2])
        lines.append(Line(f"memory after {VIEWS} views more", shop.rss_MB() - before, "MB", 5))
        lines.append(Line("  of", before, "MB"))
        return lines


def tabs() -> list[Line]:
    """Fifty tabs of a real browser on the round; then one more, and the server beside them."""
    with served() as shop, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        context = browser.new_context(viewport=PHONE)
        for _ in range(TABS):
            context.new_page().goto(shop.url)
        found = times_ms(lambda: shop.get("/"))
        last = times_ms(lambda: context.new_page().goto(shop.url), 5)
        browser.close()
        return [
            Line(f"server and socket, /, beside {TABS} tabs, median", median(found), "ms", 30),
            Line("  99 of 100", found[int(0.99 * len(found))], "ms"),
            Line("one tab more, until it is loaded", median(last), "ms", 1000),
        ]


PARTS = (serving, tabs)


def main() -> None:
    for part in PARTS:
        for line in part():
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
