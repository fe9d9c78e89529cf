"""From an empty folder to a watched panel, as somebody who has just plugged a board in: at a terminal, in a browser."""

from __future__ import annotations

import json
import re
import stat
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from collector import settings as settings_file
from tests.journeys.shop import DEADLINE_S, Process, wait_until
from tests.journeys.typist import Typist
from tests.journeys.window import Chromium
from tests.line_sender import line_sender
from tests.services import free_port

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@contextmanager
def typing(folder: Path, *words: str) -> Iterator[Typist]:
    typist = Typist(folder, *words)
    try:
        yield typist
    finally:
        typist.close()


def test_at_a_terminal_from_an_empty_folder_to_probes_that_are_watched(tmp_path: Path) -> None:
    """Left with Ctrl-C in the middle and taken up again; a wrong answer is asked again; no colours, no cursor games."""
    port = free_port()
    with line_sender("S1 T=54.2 BAT=3.1", "A1 T=53.0 RH=81.2", every_s=0.2) as wire:
        with typing(tmp_path, "run") as first:
            first.answers(
                ("Where? [1]", ""), ("Name of the shop [shed]", "a/b"), ("no / + #", "garage"), ("Time zone", "Oslo"),
                ("no time zone is called 'Oslo'", ""), ("What sends readings?", "9"), ("allowed: 1 to", "3"),
                ("Path of the port", wire), ("heard", ""),
            )  # fmt: skip
            first.reads("What next")
            first.interrupts()
            assert first.ends() == 1
            assert "'coldshed set-up' goes on here" in first.seen
        assert not (tmp_path / "coldshed.toml").exists()
        with typing(tmp_path, "set-up", "--port", str(port)) as again:
            again.reads("Going on where you left")
            name(again, "S1", "What is T?", "a reading too?", place="")
            name(again, "A1", "What is T?", "What is RH?", place="")
            again.answers(("What next", "w"), ("Write", ""), ("Start watching now?", ""))
            wait_until(
                lambda: heard(port) == {"A1", "S1"}, "the house runs from the file, and both are heard"
            )
            again.interrupts()
            assert again.ends() == 0
            assert "\x1b" not in first.seen + again.seen
    loaded = settings_file.load(tmp_path / "coldshed.toml")
    assert [(probe.id, probe.place) for probe in loaded.probe] == [("S1", "surface"), ("A1", "air")]
    assert loaded.serve.port == port
    assert stat.S_IMODE((tmp_path / "coldshed.toml.good").stat().st_mode) == 0o600
    with typing(tmp_path, "check", "settings") as check:
        assert check.ends() == 0


def name(typist: Typist, device: str, *asked: str, place: str) -> None:
    """Names a device by its number in the list, taking what is proposed; 54 and 53 are proposed as degF."""
    typist.reads("What next")
    number = re.findall(rf"^  (\d)  {device}, usb", typist.seen, re.MULTILINE)[-1]
    typist.types(number)
    typist.answers(("Is it a probe", ""), *((question, "") for question in asked))
    typist.answers(("Name of the probe", ""), ("Zone", ""), ("Where it is", place), ("Sends every", ""))


def heard(port: int) -> set[str]:
    """The probes of which the running house has readings."""
    try:
        return {one["id"] for one in ask(port, "/api/probes")["probes"] if one.get("values")}
    except OSError:
        return set()


def ask(port: int, path: str) -> Any:
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with opener.open(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
        return json.load(answer)


def test_in_a_browser_from_an_empty_folder_to_a_watched_panel(tmp_path: Path, chromium: Chromium) -> None:
    """One code, shown once; a probe is warmed and found; the pages open by themselves; every step in both widths."""
    port = free_port()
    settings = tmp_path / "coldshed.toml"
    warmed = lambda number: f"S1 T={15 - 0.03 * abs(number % 200 - 100):.2f}"  # noqa: E731
    with line_sender(warmed, "A1 T=11.5 RH=81.2", every_s=0.1) as wire:
        process = Process(
            ["set-up", "--browser", "--port", str(port), "--settings", str(settings)], tmp_path / "log"
        )
        try:
            wait_until(lambda: "/#" in process.said(), "the address and its code")
            found = re.search(r"http://127.0.0.1:\d+/#\S+", process.said())
            assert found is not None
            page = chromium.open(found[0])
            page.do(lambda tab: set_up(tab, wire))
            expected = [text for text in page.complaints if "409" in text or "REFUSED" in text]
            assert page.complaints == expected, (
                "what was refused on purpose, and the moment between set-up and house"
            )
            page.complaints.clear()
            page.do(first_panel)
            page.go(f"http://127.0.0.1:{port}/")
            page.says("lid-1", "Check the hour, then mix", 2 * DEADLINE_S)
            page.close()
            assert page.complaints == []
        finally:
            process.clean_up()
    assert [probe.id for probe in settings_file.load(settings).probe] == ["S1", "A1"]
    assert sorted(item.name for item in tmp_path.glob("coldshed.toml*")) == [
        "coldshed.toml",
        "coldshed.toml.good",
    ]


def set_up(page: Page, wire: str) -> None:
    """All four steps, each looked at."""
    looked_at(page)
    page.get_by_role("button", name="Open").click()
    page.wait_for_url("**/set-up/shop")
    page.get_by_label("Name of the shop").fill("garage")
    page.get_by_label("Time zone").fill("Europe/Osl")
    page.get_by_role("button", name="Go on").click()
    expect(page.locator(".problem")).to_contain_text("did you mean 'Europe/Oslo'?")
    looked_at(page)
    page.get_by_label("Time zone").fill("Europe/Oslo")
    page.get_by_role("button", name="Go on").click()
    page.wait_for_url("**/set-up/ways")
    page.get_by_text("Another port").click()
    page.get_by_label("Path of the port").fill(wire)
    page.locator("details[open]").get_by_role("button", name="Listen").click()
    expect(page.locator(".way-state")).to_contain_text("heard")
    looked_at(page)
    page.get_by_role("link", name="Go on").click()
    page.wait_for_url("**/set-up/probes")
    expect(page.locator(".in-hand")).to_contain_text("S1", timeout=25_000)
    looked_at(page)
    page.get_by_role("link", name="Name it S1").click()
    page.wait_for_url("**/set-up/probe?*")
    expect(page.get_by_label("Temperature 1")).to_be_checked()
    looked_at(page)
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("**/set-up/probes")
    page.get_by_role("link", name="Name it A1").click()
    expect(page.get_by_label("In the air")).to_be_checked()
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("**/set-up/probes")
    page.get_by_role("link", name="Go on").click()
    page.wait_for_url("**/set-up/write")
    looked_at(page)
    page.get_by_role("button", name="Write it and begin").click()
    page.wait_for_selector(".tabs a[href='/mix']")


def first_panel(page: Page) -> None:
    """In the house, which has just started."""
    page.get_by_role("link", name="Register a panel").click()
    page.get_by_label("Name", exact=True).fill("Lid 1")
    page.get_by_label("Probe on the panel").select_option("S1")
    page.get_by_role("button", name="Register it").click()
    page.wait_for_url("**/panels/lid-1*")


def looked_at(page: Page) -> None:
    """No sideways scroll on a desk nor on a phone, and nothing that axe can see there."""
    for width, height in ((1280, 800), (390, 664)):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth === innerWidth"), page.url
    found = Axe().run(page, options=RULES)
    assert found.violations_count == 0, f"{page.url}: {found.generate_report()}"
