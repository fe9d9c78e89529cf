"""The table: one for a terminal, the same for the help, both from what was measured and nothing else.

`measured.json` beside this file is the last whole run; the two pages of the help are made from it, between their marks.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tests.bench.rows import Found, Row, Section, spell

COLUMNS = ("what", "coldshed", "beside it", "ratio", "goal", "rounds")
MEASURED = Path(__file__).with_name("measured.json")
NOT_MEASURED, MISSED = "not measured", "**missed**"

Cells = tuple[str, str, str, str, str, str]


@dataclass(frozen=True)
class Measured:
    """One run: the day (UTC), the machine, how busy it was, and of each section what was found, or why it was not."""

    date: str
    machine: Mapping[str, str]
    found: Mapping[str, Mapping[str, Found]]
    failed: Mapping[str, str]

    def save(self) -> None:
        MEASURED.write_text(json.dumps(asdict(self), indent=1) + "\n", encoding="utf-8")

    @classmethod
    def load(cls) -> Measured:
        kept: dict[str, Any] = json.loads(MEASURED.read_text(encoding="utf-8"))
        found = {
            section: {key: Found(**value) for key, value in rows.items()}
            for section, rows in kept["found"].items()
        }
        return cls(kept["date"], kept["machine"], found, kept["failed"])


def cells(section: Section, found: Mapping[str, Found]) -> list[Cells]:
    """All rows that the section declares, in its order; what was not found says so."""
    return [_cells(row, found.get(key)) for key, row in section.rows.items()]


def _cells(row: Row, found: Found | None) -> Cells:
    if found is None:
        return row.what, NOT_MEASURED, row.beside, "", row.goal, ""
    peer = "" if found.peer is None else f"{_with_unit(found.peer, row.unit)}, {row.beside}"
    ratio = "" if found.ratio is None else spell(found.ratio)
    goal = row.goal if row.met(found) else f"{row.goal}: {MISSED}"
    return row.what, _with_unit(found.ours, row.unit), peer, ratio, goal, str(found.rounds)


def _with_unit(value: float, unit: str) -> str:
    return spell(value) + (unit if unit in ("", "%") or unit.startswith("/") else f" {unit}")


def for_terminal(section: Section, found: Mapping[str, Found]) -> str:
    """With the heading of the columns."""
    rows: list[Sequence[str]] = [(section.title, *COLUMNS[1:]), *cells(section, found)]
    widths = (68, 14, 46, 8, 24, 6)
    return "\n".join(
        " ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )


def for_help(sections: Iterable[Section], measured: Measured) -> str:
    """Markdown: date, machine, and a heading and a table for each section."""
    lines = [f"Measured on {measured.date}.", "", "| on | |", "|---|---|"]
    lines += [f"| {name} | {value} |" for name, value in measured.machine.items()]
    for section in sections:
        lines += ["", f"## {section.title}", ""]
        if why := measured.failed.get(section.name):
            lines += [f"Not measured: {why}", ""]
        lines += [_line(COLUMNS), "|" + "---|" * len(COLUMNS)]
        lines += [_line(row) for row in cells(section, measured.found.get(section.name, {}))]
    return "\n".join(lines)


def _line(row: Sequence[str]) -> str:
    return "| " + " | ".join(cell.strip().replace("|", "/") for cell in row) + " |"


BEGIN, END = "[//]: # (made by python -m tests.bench)", "[//]: # (made until here)"
"""Marks that Markdown does not show."""


def between_marks(text: str, made: str) -> str:
    """A page with what was made put between its marks. Raises ValueError if it has none."""
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError("the page has no marks between which to put the table")
    return f"{before}{begin}\n\n{made}\n\n{end}{after}"
