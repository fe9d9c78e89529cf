"""The round and the panel's page as three kinds of colour blindness see them, simulated by Chromium itself."""

from __future__ import annotations

import base64
from itertools import combinations

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import Visit
from tests.colour import difference, linear, seen
from tests.dashboard.test_tokens import APART, FROM_THE_STRIP

KINDS = {"skiff-deck-2": "act", "lid-4": "care", "box-a": "go"}
READ = """async ([png, places]) => {
  const image = new Image();
  image.src = "data:image/png;base64," + png;
  await image.decode();
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [image.width, image.height];
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0);
  return places.map(([x, y]) => [...context.getImageData(x, y, 1, 1).data].slice(0, 3));
}"""
PATTERNS = "all => all.map((one) => one.innerHTML.replace(/ class=.[a-z]+./, ''))"
"""How the legend draws each line, without its colour."""


def colours(page: Page, reader: Page, places: list[tuple[float, float]]) -> list[str]:
    """What a picture of the page shows there, as "#rrggbb"."""
    picture = base64.b64encode(page.screenshot()).decode()
    return ["#" + bytes(rgb).hex() for rgb in reader.evaluate(READ, [picture, places])]


def corner(page: Page, place: str) -> tuple[float, float]:
    """Within the fill of a strip's tile, beside its mark; and far within its text's ground."""
    box = page.locator(place).bounding_box()
    assert box
    return (box["x"] + 6, box["y"] + 6)


@pytest.mark.parametrize("deficiency", ["protanopia", "deuteranopia", "tritanopia"])
def test_kinds_of_strips_stay_apart(visit: Visit, deficiency: str) -> None:
    """Chromium's simulation is another implementation than that of tests/colour.py."""
    page = visit.open("/")
    session = visit.context.new_cdp_session(page)
    session.send("Emulation.setEmulatedVisionDeficiency", {"type": deficiency})
    reader = visit.context.new_page()
    places = [corner(page, f"#strip-{panel} .fresh .tile") for panel in KINDS]
    button = page.locator("#strip-box-a .do").bounding_box()
    assert button
    places.append((button["x"] + 8, button["y"] + 8))
    *fills, ground = (seen(linear(found)) for found in colours(page, reader, places))
    for one, other in combinations(fills, 2):
        assert difference(one, other) >= APART
    for fill in fills:
        assert difference(fill, ground) >= FROM_THE_STRIP
    plain = colours(page, reader, [places[2]])
    session.send("Emulation.setEmulatedVisionDeficiency", {"type": "none"})
    assert colours(page, reader, [places[2]]) != plain, "the picture was one as with a deficiency"
    page.goto(visit.url + "/panels/plug-7")
    page.wait_for_selector("#chart .main-svg")
    session.send("Emulation.setEmulatedVisionDeficiency", {"type": deficiency})
    names = page.locator(".legend li").all_inner_texts()
    patterns = page.eval_on_selector_all(".legend .swatch", PATTERNS)
    assert len(set(patterns)) == len(set(names)), "each line differs by pattern or width, whatever its colour"
