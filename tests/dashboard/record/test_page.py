"""The record on paper: Chromium prints it on A4 and Letter; what must stand on it is there, and nothing runs."""

from __future__ import annotations

import io
import re
import shutil
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, sync_playwright
from pypdf import PdfReader

from dashboard.display import View
from dashboard.record.chart import chart
from dashboard.record.render import html, margins
from dashboard.record.results import Results
from dashboard.record.used import Used
from dashboard.record.work_out import work_out
from dashboard.words import CAUTIONS, RECORD
from model.resin_card import Milestone
from tests.browser.conftest import FLAGS
from tests.dashboard.record.night import START, ZONE, Shop

MM = 72 / 25.4
SIZES = {"A4": (210 * MM, 297 * MM), "Letter": (612.0, 792.0)}
"""Points; ISO 216 and ANSI/ASME Y14.1."""


@pytest.fixture(scope="module")
def page(used: Used, results: Results, made: dict[str, Any]) -> str:
    return html(used, results, made["sha256"], View(ZoneInfo(ZONE), "degC", used.at))


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.fail("no Chromium on this machine: install it, or leave this file out of the run")
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_it_prints_on_paper_with_its_digest_and_page_numbers_on_every_sheet(
    size: str, page: str, made: dict[str, Any], chromium: Browser
) -> None:
    sheet = chromium.new_page()
    sheet.set_content(page)
    printed = PdfReader(io.BytesIO(sheet.pdf(format=size, print_background=False)))
    sheet.close()
    count = len(printed.pages)
    assert 3 <= count <= 8
    for number, one in enumerate(printed.pages, start=1):
        width, height = float(one.mediabox.width), float(one.mediabox.height)
        assert (width, height) == pytest.approx(SIZES[size], abs=1.0)
        text = one.extract_text()
        assert f"Page {number} of {count}" in text
        assert f"SHA-256 {made['sha256'][:16]}" in text
        assert "Record of Lid 4" in text
    first = " ".join(unicodedata.normalize("NFKC", printed.pages[0].extract_text()).split())
    for must in ("What was not measured", "2 h of 25 h without the panel", "Not signed off.", "Deviation: Sanded",
                 "Signature", "Kim"):  # fmt: skip
        assert must in first, must


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_no_coat_is_split_no_letter_is_smaller_than_10_pt_and_black_alone_is_enough(
    size: str, page: str, chromium: Browser
) -> None:
    sheet = chromium.new_page()
    sheet.set_content(page)
    sheet.emulate_media(media="print", color_scheme="dark")
    smallest = sheet.evaluate(
        "Math.min(...[...document.querySelectorAll('main *, header *')].filter(e => e.childNodes.length"
        " && [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert smallest * 0.75 >= 10.0, "px to pt"
    colours = sheet.evaluate(
        "[...new Set([...document.querySelectorAll('body, main *')].map(e => getComputedStyle(e).color))]"
    )
    assert colours == ["rgb(0, 0, 0)"], "also where the device is dark"
    assert sheet.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    printed = PdfReader(io.BytesIO(sheet.pdf(format=size, print_background=False)))
    sheet.close()
    for number in (1, 2):
        on = [one.extract_text() for one in printed.pages if f"Coat {number}: " in one.extract_text()]
        assert len(on) == 1
        assert "Thumb tests" in on[0], "the last row of a coat stands on the sheet of its first"


def test_a_table_that_runs_on_has_its_heads_on_every_sheet_and_splits_no_row(
    page: str, chromium: Browser
) -> None:
    """The entries twelve times over, each row of two lines."""
    sheet = chromium.new_page()
    sheet.set_content(page)
    sheet.evaluate(
        """() => {
          const head = [...document.querySelectorAll("th")].find((one) => one.textContent === "Entry");
          const body = head.closest("table").tBodies[0], rows = [...body.rows];
          for (let n = 0; n < 12; n++) for (const row of rows) body.append(row.cloneNode(true));
          [...body.rows].forEach((row, n) => { row.cells[1].innerHTML = `begin-${n}-<br>end-${n}-`; });
        }"""
    )
    printed = PdfReader(io.BytesIO(sheet.pdf(format="A4", print_background=False)))
    sheet.close()
    texts = [" ".join(one.extract_text().split()) for one in printed.pages]
    running = [text for text in texts if "begin-" in text]
    assert len(running) >= 3
    for text in running:
        assert "No. When Entry Who" in text
        assert re.findall(r"begin-(\d+)-", text) == re.findall(r"end-(\d+)-", text)


def test_it_has_no_script_no_style_attribute_and_nothing_from_elsewhere(page: str) -> None:
    assert "<script" not in page
    assert not re.search(r"<[^>]+\sstyle=", page)
    assert not re.search(r"<[^>]+\son[a-z]+=", page)
    assert not re.search(r'(src|href)="(?!#)', page)


def test_what_nobody_measured_is_bold_and_what_was_taken_back_is_struck_through(page: str) -> None:
    plain = page.replace("\u00a0", " ")
    assert "<strong>2 h of 25 h without the panel&#39;s temperature.</strong>" in plain
    assert "<strong>2026-11-26 01:40 to 2026-11-26 03:40: 2 h</strong>" in plain
    assert re.search(r"<s>Sanded 14:50</s> taken back 2026-11-26 14:59 by Ola: wrong panel", plain)
    assert "<strong>Pots not weighed: 1 of 2.</strong>" in plain


def test_lots_probes_their_calibration_and_all_cautions_stand_on_it(page: str) -> None:
    plain = page.replace("\u00a0", " ")
    for must in ("resin R-17, hardener H-03", "ice water and shop reference 1", "next check 2027-", "0.2 °C either way",
                 "74 Shore D", "sands to dust", "E 57.0 kJ/mol"):  # fmt: skip
        assert must in plain, must
    assert CAUTIONS["estimate"] in plain.replace("&#39;", "'")


def test_degF_changes_every_temperature_and_converts_differences_without_offset(
    used: Used, results: Results, made: dict[str, Any]
) -> None:
    """20 degC is 68 degF; a margin of 3 K is 5.4 degF. What was said then stays in the words of then."""
    text = html(used, results, made["sha256"], View(ZoneInfo(ZONE), "degF", used.at)).replace("\u00a0", " ")
    assert "Equivalent age at 68.0 °F" in text
    assert "under 5.4 °F while tacky" in text
    said = text[text.index("<h2>Decisions") : text.index("<h2>Entries")]
    assert "Panel 19.8 °C, rising; margin 5.2 °C." in said
    assert "°C" not in re.sub(r"tile at [\d.]+ °C", "", text.replace(said, ""))


def test_a_name_cannot_break_out_of_the_page_or_its_margin_boxes() -> None:
    """CSS Syntax 3: a string ends at a quote or a newline, a style element at </style>."""
    text = margins('x"; } body { display: none } </style><script>\n', "0" * 64)
    inside = text.split('content: "', 1)[1].split('"; font', 1)[0]
    assert not set('"<>{}\n') & set(inside)


def test_every_milestone_has_a_name_on_paper() -> None:
    assert {f"name_{milestone.value}" for milestone in Milestone} <= RECORD.keys()


def test_days_whose_readings_were_given_up_to_make_room_are_named(used: Used, results: Results) -> None:
    """Not told from hours that nobody measured otherwise."""
    text = html(
        replace(used, removed=("2026-11-25",)), results, "0" * 64, View(ZoneInfo(ZONE), "degC", used.at)
    )
    assert "<strong>Readings of 2026-11-25 (UTC) were removed since" in text
    assert "were removed" not in html(used, results, "0" * 64, View(ZoneInfo(ZONE), "degC", used.at))


def test_a_life_without_a_reading_has_no_chart_and_says_so(tmp_path_factory: pytest.TempPathFactory) -> None:
    shop = Shop(tmp_path_factory.mktemp("unread"))
    try:
        shop.log(
            "panel registered",
            0,
            name="Lid 4",
            zone="shed",
            surface_probe="S1",
            air_probe="A1",
            substrate="wood",
        )
        shop.log("coat mixed", 0, card="own-25min", applied_at=None, kind="laminate")
        shop.clock.at += 3_600_000
        days = [(START // 86_400_000 + number,) for number in (-1, 0, 1)]
        shop.readings.connection.executemany("INSERT INTO removed(day) VALUES (?)", days)
        used = shop.used()
        results = work_out(used)
        text = html(used, results, "0" * 64, shop.view())
    finally:
        shop.close()
    assert chart(results, [10.0], [], shop.view(), "x") == ""
    assert "Coat 1: nothing can be said of it (no readings in its life)." in text
    assert results.missing_h == pytest.approx(1.0)
    assert used.removed == ("2026-11-25",), "only a day of its life"
