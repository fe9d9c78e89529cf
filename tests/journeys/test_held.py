"""What each process of a shop holds in memory: only what it works with.

Libraries are counted, not bytes: bytes depend on the machine, and tests.bench measures them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.collector.shops import LINES, probe
from tests.journeys.shop import Process, Shop, opened, wait_until

TABLES = (
    '[[source]]\nid = "night"\nkind = "simulated"\nscene = "cold_night"\nseed = 7\n'
    + LINES
    + probe("S1", "night")
)
PAGES = {"fastapi", "starlette", "uvicorn", "jinja2", "asyncio", "segno", "markdown_it", "plotly"}
DOOR = {"argon2", "zxcvbn"}
NETWORK = {"ssl", "http.client", "urllib.request", "paho", "influxdb_client", "apprise"}
NOT_NEEDED = {
    "collect": PAGES | DOOR | NETWORK | {"model", "dashboard.app"},
    "watch": PAGES | DOOR | NETWORK | {"serial", "dashboard.app", "collector.app"},
    "serve": DOOR | {"plotly", "paho", "serial", "influxdb_client", "apprise", "collector.app"},
}
"""Of a shop with no accounts, whose probes, alarms and readings go over no network. Plotly is sent, not asked."""
IMPORTED = re.compile(r"^import time: *\d+ \| *\d+ \| *(\S+)$", re.MULTILINE)
LIBRARIES = ("numpy", "pydantic_core", "apsw", "_ssl", "_hashlib", "_asyncio")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with opened(tmp_path / "shop", TABLES) as shop:
        yield shop


def imported(process: Process) -> set[str]:
    """Every module and every package of one, as the interpreter itself told (python -X importtime)."""
    names = IMPORTED.findall(process.said())
    return {
        ".".join(parts[:n]) for name in names for parts in [name.split(".")] for n in range(1, len(parts) + 1)
    }


def test_each_process_imports_only_what_it_works_with(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPROFILEIMPORTTIME", "1")
    started = {name: shop.start(name) for name in NOT_NEEDED}
    shop.ready()
    wait_until((shop.folder / "data" / "watch.db").exists, "watch works")
    wait_until(lambda: bool(shop.stored("S1")), "collect works")
    for name, process in started.items():
        found = imported(process)
        assert "collector.settings" in found, f"{name} told nothing"
        assert found & NOT_NEEDED[name] == set(), name


def test_once_all_run_the_process_that_looks_after_them_holds_no_library(shop: Shop) -> None:
    run = shop.start("run")
    wait_until(lambda: set(run.children()) == set(NOT_NEEDED), "all are started")
    held = Path(f"/proc/{run.pid}/maps").read_text()
    assert "libc.so" in held
    assert [name for name in LIBRARIES if f"/{name}" in held] == []
