"""The three rooms keep their direction: the contracts hold, and a planted violation is caught."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    """import-linter as CI runs it, on the packages in `folder`."""
    code = (
        "import sys; sys.path.insert(0, '.');"
        "from importlinter.cli import lint_imports_command; lint_imports_command()"
    )
    return subprocess.run(
        [sys.executable, "-P", "-c", code, "--no-cache"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    for package in ("collector", "model", "dashboard"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_hold(copy: Path) -> None:
    """Nothing points backwards in the tree as it is."""
    result = lint(copy)
    assert result.returncode == 0, result.stdout


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("model/units.py", "import collector.reading"),
        ("model/units.py", "import scipy.integrate"),
        ("collector/reading.py", "import model.units"),
        ("collector/store/writer.py", "import collector.sources"),
        ("dashboard/assess.py", "import collector.pipeline"),
    ],
)
def test_a_planted_violation_is_caught(copy: Path, module: str, line: str) -> None:
    """One import against the direction, and the linter is red."""
    path = copy / module
    path.write_text(
        path.read_text(encoding="utf-8").replace("from __future__ import annotations\n", f"{line}\n", 1)
    )
    result = lint(copy)
    assert result.returncode == 1, result.stdout
    assert "BROKEN" in result.stdout


def test_the_model_imports_only_arithmetic() -> None:
    """model/ knows no clock, no files, no network, no logging and no randomness."""
    import ast

    allowed = {
        "__future__",
        "numpy",
        "math",
        "dataclasses",
        "enum",
        "typing",
        "collections",
        "model",
        "statistics",
        "difflib",
        "itertools",
        "bisect",
        "functools",
    }
    found = set()
    for path in (ROOT / "model").glob("**/*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {(path.name, alias.name.split(".")[0]) for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                found.add((path.name, (node.module or "").split(".")[0]))
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                assert (node.value.id, node.attr) != ("np", "random"), path
    assert {entry for entry in found if entry[1] not in allowed} == set()
