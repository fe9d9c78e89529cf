"""What installing takes: a fresh environment, the locked requirements fetched anew, and the package itself."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.rows import Found, Row, Section, alone, compared

ROOT = Path(__file__).resolve().parent.parent.parent
OURS = ("collector", "dashboard", "model", "firmware_notes")
BARE = "an empty environment"
ROWS = {
    "time": Row("everything installed into a new environment", "s", BARE),
    "size": Row("what it takes up on the disk", "MB", BARE),
    "own": Row("  of it coldshed itself", "MB"),
}


def measure() -> dict[str, Found]:
    """Raises AssertionError, with what pip said, where the packages cannot be fetched."""
    with tempfile.TemporaryDirectory() as folder:
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-m", "venv", f"{folder}/bare"], check=True)
        bare_s, begin = time.perf_counter() - begin, time.perf_counter()
        more = {
            "COLDSHED_VENV": f"{folder}/whole",
            "PYTHON": sys.executable,
            "PYTHONPATH": "",
            "PIP_NO_CACHE_DIR": "1",
        }
        setup = [_copy(Path(folder)) / ".ci" / "setup"]
        done = subprocess.run(setup, env=os.environ | more, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        whole_s = time.perf_counter() - begin
        whole = Path(folder) / "whole"
        own = [size_MB(path) for name in OURS for path in whole.glob(f"lib/*/site-packages/{name}")]
        return {
            "time": compared([whole_s], [bare_s]),
            "size": compared([size_MB(whole)], [size_MB(Path(folder) / "bare")]),
            "own": alone([sum(own)]),
        }


def _copy(folder: Path) -> Path:
    """What is committed here, because building a package leaves traces beside it."""
    tree = folder / "tree"
    tree.mkdir()
    archive = subprocess.run(
        ["git", "-C", str(ROOT), "archive", "HEAD"], check=True, capture_output=True
    ).stdout
    subprocess.run(["tar", "-x", "-C", str(tree)], input=archive, check=True)
    return tree


def size_MB(folder: Path) -> float:
    return sum(path.lstat().st_size for path in folder.rglob("*")) / 1e6


SECTION = Section("install", "Installing", ROWS, measure)
