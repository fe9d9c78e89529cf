"""Makes the pictures of README and help from the running demo, and tells whether they are older than what they show."""

from __future__ import annotations

import hashlib
import signal
import subprocess
import sysconfig
import tempfile
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.small_png import small_png
from tests.services import free_port, wait_until

ROOT = Path(__file__).parents[2]
HELP = ROOT / "dashboard" / "help"
MADE_FROM = HELP / "round.made_from"
PICTURES = {
    "round": ("/", "text=Plug 7"),
    "panel": ("/panels/{skiff}", "#chart .main-svg"),
    "mix": ("/mix?spot=panel:{skiff}", ".ribbon"),
    "tonight": ("/tonight", "text=oldest hour"),
    "thumb": ("/panels/{skiff}/thumb", ".words"),
}
"""By its name where each is taken, and what has to be there first."""
LARGEST = 60_000
"""Bytes of one picture at most: they are part of the package."""
SHOWN = (
    *("dashboard/templates", "dashboard/static", "dashboard/demo_shop", "dashboard/cli/demo.py"),
    *("dashboard/words", "dashboard/display.py", "dashboard/strips.py", "collector/sources/cold_night.py"),
)
"""What the pictures depend on. A change in any of them asks for new ones: .ci/picture."""
FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


def digest() -> str:
    """SHA-256 over the names and contents of everything that the pictures show."""
    total = hashlib.sha256()
    for name in SHOWN:
        path = ROOT / name
        for file in sorted(path.rglob("*")) if path.is_dir() else [path]:
            if file.is_file() and "__pycache__" not in file.parts:
                total.update(f"{file.relative_to(ROOT)}\0".encode() + file.read_bytes() + b"\0")
    return total.hexdigest()


def take() -> None:
    """Starts the demo, waits for its five panels, and writes the pictures and what they were made from."""
    port = free_port()
    script = Path(sysconfig.get_paths()["scripts"]) / "coldshed"
    with tempfile.TemporaryDirectory() as folder:
        command = [script, "demo", "--folder", f"{folder}/shop", "--port", str(port), "--start", "06:05"]
        demo = subprocess.Popen(command)
        try:
            wait_until(lambda: _panels(port) == 5, "the demo shows its five panels", 180)
            _photograph(port)
        finally:
            demo.send_signal(signal.SIGINT)
            demo.wait(30)
    MADE_FROM.write_text(digest() + "\n", encoding="ascii")


def _panels(port: int) -> int:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/round", timeout=5) as answer:
            return answer.read().count(b'"headline"')
    except OSError:
        return 0


def _photograph(port: int) -> None:
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        context = browser.new_context(
            viewport={"width": 390, "height": 664}, device_scale_factor=2, color_scheme="light"
        )
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{port}/")
        skiff = page.locator(".strip", has_text="Skiff").first.get_attribute("data-strip")
        for name, (path, there) in PICTURES.items():
            page.goto(f"http://127.0.0.1:{port}{path.format(skiff=skiff)}")
            page.wait_for_selector(there)
            (HELP / f"{name}.png").write_bytes(small_png(page.screenshot()))
        browser.close()
