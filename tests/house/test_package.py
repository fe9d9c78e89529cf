"""The tests run on the built package, and the sources stay readable."""

from __future__ import annotations

import subprocess
import sysconfig
from pathlib import Path

import collector
import dashboard
import model

ROOT = Path(__file__).parents[2]
COMMANDS = (
    *("demo", "run", "collect", "watch", "serve", "forward", "notify", "alarm"),
    *("listen", "assess", "import", "export", "panel", "round", "labels", "record", "decide", "mix", "check"),
)


def test_the_tests_import_the_installed_package_not_this_folder() -> None:
    """A file forgotten in the package would otherwise be found here and missed by users."""
    site = Path(sysconfig.get_paths()["purelib"]).resolve()
    for package in (collector, model, dashboard):
        assert package.__file__ is not None
        assert site in Path(package.__file__).resolve().parents, "install it first: .ci/setup test"


def test_no_source_file_is_longer_than_400_lines() -> None:
    """Two nouns live in a file that long."""
    long = {
        str(path.relative_to(ROOT)): lines
        for package in ("collector", "model", "dashboard")
        for path in (ROOT / package).glob("**/*.py")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 400
    }
    assert long == {}


def test_help_names_every_command() -> None:
    """The program starts by its console script and says what it can do."""
    script = Path(sysconfig.get_paths()["scripts"]) / "coldshed"
    result = subprocess.run([script, "--help"], capture_output=True, text=True, timeout=60, check=True)
    for command in COMMANDS:
        assert f"\n    {command} " in result.stdout
