"""What Chromium draws and prints: labels that a reader reads, sheets that fit A4 and Letter."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from pathlib import Path
from unicodedata import normalize

import numpy as np
import pytest
import zxingcpp
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from dashboard.label import codes
from tests.browser.conftest import PHONE
from tests.browser.every_page import RULES
from tests.browser.fake_shop import FakeShop, many, open_shop
from tests.browser.serving import Served, free_port

URL = "http://shed.lan:8137"
MM = 96 / 25.4
"""CSS px in a millimetre: CSS Values and Units 3, 5.2 (1in = 96px = 2.54cm)."""
POINT = 96 / 72
PATHS = ("/round/sheet", "/labels", "/panels/lid-4/label")


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FakeShop, str]]:
    """Fifty panels; its pages are only read here."""
    shop = open_shop(Path(tmp_path_factory.mktemp("paper")), port=free_port(), public_url=URL)
    many(shop, 45)
    server = Served(shop.app, shop.port)
    yield shop, server.url
    server.stop()
    shop.close()


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    context = chromium.new_context(viewport=PHONE, color_scheme="dark")
    yield context.new_page()
    context.close()


def grey(page: Page, picture: bytes) -> np.ndarray:
    """A PNG's pixels, (height, width), decoded by the browser on an empty page."""
    page.goto("about:blank")
    size, pixels = page.evaluate(
        """async (text) => {
          const blob = await (await fetch("data:image/png;base64," + text)).blob();
          const bitmap = await createImageBitmap(blob);
          const canvas = new OffscreenCanvas(bitmap.width, bitmap.height).getContext("2d");
          canvas.drawImage(bitmap, 0, 0);
          const data = canvas.getImageData(0, 0, bitmap.width, bitmap.height).data;
          const green = new Uint8Array(data.length / 4).map((_, i) => data[4 * i + 1]);
          const reader = new FileReader();
          reader.readAsDataURL(new Blob([green]));
          await new Promise((done) => { reader.onload = done; });
          return [[bitmap.height, bitmap.width], reader.result.split(",")[1]];
        }""",
        base64.b64encode(picture).decode(),
    )
    return np.frombuffer(base64.b64decode(pixels), dtype=np.uint8).reshape(size)


def test_the_code_on_a_label_is_read_from_the_picture_and_opens_its_panel(
    filled: tuple[FakeShop, str], page: Page
) -> None:
    """zxing-cpp, a reader of its own, not the library that drew it; in a dark room's browser, too."""
    shop, url = filled
    page.goto(f"{url}/panels/lid-4/label")
    picture = page.locator(".qr").screenshot()
    (found,) = zxingcpp.read_barcodes(grey(page, picture))
    code = codes(shop.logbook.events())["lid-4"]
    assert found.text == f"{URL}/p/{code}"
    page.goto(f"{url}/p/{code}")
    assert page.url == f"{url}/panels/lid-4"


def test_every_code_of_a_sheet_is_read_and_stands_beside_its_own_name(
    filled: tuple[FakeShop, str], page: Page
) -> None:
    shop, url = filled
    page.goto(f"{url}/labels?zone=shed")
    wanted = {
        panel.name: codes(shop.logbook.events())[panel.id]
        for panel in shop.logbook.panels().values()
        if panel.zone == "shed"
    }
    labels = page.locator(".label")
    assert labels.count() == len(wanted) == 20
    beside = dict(labels.evaluate_all(
        "all => all.map((one) => [one.querySelector('.panel').textContent, one.querySelector('.code').textContent])"
    ))  # fmt: skip
    assert beside == wanted
    links = labels.locator(".qr").evaluate_all("all => all.map((one) => one.getAttribute('aria-label'))")
    assert links == [f"{URL}/p/{code}" for code in beside.values()]
    page.set_viewport_size({"width": 800, "height": 1000})
    read = zxingcpp.read_barcodes(grey(page, page.screenshot(full_page=True)))
    assert {item.text for item in read} == set(links)


def test_a_code_is_25_mm_wide_on_paper_with_four_modules_of_white_around_it(
    filled: tuple[FakeShop, str], page: Page
) -> None:
    """ISO/IEC 18004: four modules of quiet zone; 25 mm are our own rule."""
    page.goto(f"{filled[1]}/panels/lid-4/label")
    page.emulate_media(media="print")
    box, inner = page.evaluate(
        """() => {
          const svg = document.querySelector(".qr");
          const dark = svg.querySelectorAll("path")[1].getBBox();
          const { width, height } = svg.getBoundingClientRect();
          return [[width, height, svg.viewBox.baseVal.width], [dark.x, dark.y, dark.width, dark.height]];
        }"""
    )
    width, height, modules = box
    x, y, across, down = inner
    assert (x, y, across, down) == (4, 4, modules - 8, modules - 8)
    assert width == pytest.approx(height)
    assert width * across / modules >= 25 * MM


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_round_sheet_of_fifty_panels_prints_with_heads_and_page_numbers_on_every_sheet(
    filled: tuple[FakeShop, str], page: Page, paper: str
) -> None:
    """Read back by pypdf from what Chromium printed."""
    page.goto(f"{filled[1]}/round/sheet")
    pdf = PdfReader(io.BytesIO(page.pdf(format=paper)))
    width, height = (round(float(side)) for side in pdf.pages[0].mediabox[2:])
    assert (width, height) == {"A4": (596, 843), "Letter": (612, 792)}[paper]
    texts = [" ".join(sheet.extract_text().split()) for sheet in pdf.pages]
    assert 4 <= len(texts) <= 7
    for number, text in enumerate(texts, start=1):
        assert f"Page {number} of {len(texts)}" in text
        assert "Done Panel What to do Good until" in text
        assert "Round sheet · Invented shed · 11 Jan 2026, 06:10" in text
    told = " ".join(texts)
    names = re.findall(r"Hull \d+ · 2 coats|Lid 4 · 2 coats|Rib 1 · 1 coat|Box A · 3 coats", told)
    assert len(set(names)) == len(names) == 48
    assert "An estimate, not an approval" in texts[0]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_label_is_split_between_sheets(filled: tuple[FakeShop, str], page: Page, paper: str) -> None:
    """Its name, its code and all of its QR on one: the first and the last thing of each label are on the same sheet."""
    shop, url = filled
    page.goto(f"{url}/labels")
    pdf = PdfReader(io.BytesIO(page.pdf(format=paper)))
    texts = [" ".join(normalize("NFKC", sheet.extract_text()).split()) for sheet in pdf.pages]
    told = codes(shop.logbook.events())
    for panel in shop.logbook.panels().values():
        (on,) = [text for text in texts if told[panel.id] in text]
        assert panel.name in on
    for number, text in enumerate(texts, start=1):
        assert f"Page {number} of {len(texts)}" in text
    page.emulate_media(media="print")
    assert page.locator(".label").first.evaluate("one => getComputedStyle(one).breakInside") == "avoid"


@pytest.mark.parametrize("path", PATHS)
def test_paper_is_light_in_a_dark_room_large_enough_to_read_and_keeps_its_width(
    filled: tuple[FakeShop, str], page: Page, path: str
) -> None:
    """10 pt at least, black on white whatever the device prefers; A4 less its margins, at 96 px an inch."""
    page.goto(filled[1] + path)
    page.set_viewport_size({"width": round(186 * MM), "height": 1000})
    page.emulate_media(media="print", color_scheme="dark")
    seen = page.evaluate(
        """() => {
          const found = [];
          const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
          while (walk.nextNode()) {
            const of = walk.currentNode.parentElement;
            if (!walk.currentNode.textContent.trim() || !of.checkVisibility()) continue;
            const style = getComputedStyle(of);
            found.push([parseFloat(style.fontSize), style.color]);
          }
          return found;
        }"""
    )
    assert len(seen) >= 3
    assert min(size for size, _ in seen) >= 10 * POINT - 0.01
    assert {colour for _, colour in seen} == {"rgb(0, 0, 0)"}
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("document.documentElement.scrollWidth") <= round(186 * MM)
    assert page.locator("nav").is_hidden()
    assert page.locator("script").count() == 0


def test_paper_breaks_no_rule_and_reflows_on_a_small_phone(filled: tuple[FakeShop, str], page: Page) -> None:
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    for path in PATHS:
        page.set_viewport_size({"width": 320, "height": 568})
        page.goto(filled[1] + path)
        assert page.evaluate("document.documentElement.scrollWidth") == 320, path
        found = Axe().run(page, options=RULES)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
    assert complaints == []


def test_of_fifty_panels_those_that_wait_take_56_px_and_what_acts_stands_first(
    filled: tuple[FakeShop, str], page: Page
) -> None:
    page.goto(filled[1])
    heights = page.eval_on_selector_all(".strip.folded", "all => all.map((one) => one.offsetHeight)")
    assert len(heights) == 40
    assert set(heights) == {56}
    folded = page.eval_on_selector_all(".strip", "all => all.map((one) => one.classList.contains('folded'))")
    assert folded == sorted(folded)
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]


def test_a_zone_is_one_tap_kept_in_the_address_and_kept_by_the_open_page(
    filled: tuple[FakeShop, str], page: Page
) -> None:
    page.goto(filled[1])
    row = page.locator(".zones a")
    assert row.all_text_contents() == ["All", "hall", "shed"]
    assert all(
        box["height"] >= 56
        for box in row.evaluate_all("a => a.map((x) => x.getBoundingClientRect().toJSON())")
    )
    row.nth(1).click()
    page.wait_for_url("**/?zone=hall")
    assert page.locator(".strip").count() == 30
    page.evaluate("window.coldshed.poll()")
    assert page.locator(".strip").count() == 30
    assert page.locator(".zones [aria-current]").text_content() == "hall"
    assert page.evaluate("[Object.keys(localStorage), document.cookie]") == [["told-at"], ""]
    page.locator(".tabs a").first.click()
    page.wait_for_url(f"{filled[1]}/")
    assert page.locator(".strip").count() == 50
