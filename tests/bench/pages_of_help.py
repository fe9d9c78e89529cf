"""The pages of the help that are made from the last whole run, between their marks."""

from __future__ import annotations

from pathlib import Path

from tests.bench import many_halls
from tests.bench.sections import SECTIONS
from tests.bench.table import Measured, between_marks, for_help

HELP = Path(__file__).resolve().parent.parent.parent / "dashboard" / "help"


def made(measured: Measured) -> dict[Path, str]:
    """What has to stand between the marks of each page."""
    return {
        HELP / "benchmarks.md": for_help(SECTIONS, measured),
        HELP / "many_halls.md": many_halls.for_help(measured),
    }


def write(measured: Measured) -> None:
    for path, text in made(measured).items():
        path.write_text(between_marks(path.read_text(encoding="utf-8"), text), encoding="utf-8")
