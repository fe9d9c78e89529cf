"""Makes the icons that browsers install: dashboard/static/icon.svg drawn by Chromium at the sizes they ask for."""

from __future__ import annotations

import base64
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "dashboard" / "static"
MASKABLE = 0.8
"""How large the drawing stands in the icon that a device cuts to a shape of its own."""
ICONS = {"icon-192.png": (192, 1.0), "icon-512.png": (512, 1.0), "icon-maskable.png": (512, MASKABLE)}
"""By file its side, px, and how large the drawing stands in it."""
DRAW = """async ([svg, side, share]) => {
  const image = new Image();
  image.src = "data:image/svg+xml;base64," + svg;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = side;
  const context = canvas.getContext("2d");
  context.fillStyle = "#15191C";
  context.fillRect(0, 0, side, side);
  const margin = side * (1 - share) / 2;
  context.drawImage(image, margin, margin, side * share, side * share);
  return canvas.toDataURL("image/png").split(",")[1];
}"""


def draw(browser: Browser, side: int, share: float) -> bytes:
    """One icon as PNG."""
    page = browser.new_page()
    svg = base64.b64encode((STATIC / "icon.svg").read_bytes()).decode()
    made = base64.b64decode(page.evaluate(DRAW, [svg, side, share]))
    page.close()
    return made


def main() -> None:
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for name, (side, share) in ICONS.items():
            (STATIC / name).write_bytes(draw(browser, side, share))
        browser.close()


if __name__ == "__main__":
    main()
