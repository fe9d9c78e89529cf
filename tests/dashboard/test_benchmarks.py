"""The benchmarks of the help were made by the command and by nobody's hand."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench import air, growth, many_halls, pages_of_help
from tests.bench.__main__ import measure
from tests.bench.rows import Found, Row, Section, compared, spell, turns
from tests.bench.sections import SECTIONS
from tests.bench.table import BEGIN, COLUMNS, END, Measured, between_marks, cells, for_help

MEASURED = Measured.load()


@pytest.mark.parametrize("path", pages_of_help.made(MEASURED), ids=lambda path: path.name)
def test_what_stands_between_a_pages_marks_is_what_the_command_would_print(path: Path) -> None:
    """A row or a column that the code has no more, a figure changed by hand: all make it another text."""
    text = path.read_text(encoding="utf-8")
    assert between_marks(text, pages_of_help.made(MEASURED)[path]) == text, (
        "run python -m tests.bench --write, or --render if only words have changed"
    )


def test_the_last_run_measured_every_row_that_the_code_declares_and_says_when_and_on_what() -> None:
    for section in SECTIONS:
        if section.name not in MEASURED.failed:
            assert MEASURED.found[section.name].keys() == section.rows.keys(), section.name
    assert set(MEASURED.found) | set(MEASURED.failed) == {section.name for section in SECTIONS}
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", MEASURED.date)
    assert MEASURED.machine.keys() >= {"processor", "memory", "system", "programs"}


def test_every_section_of_the_page_is_one_of_the_codes_with_its_columns() -> None:
    text = (pages_of_help.HELP / "benchmarks.md").read_text(encoding="utf-8")
    inside = text.partition(BEGIN)[2].partition(END)[0]
    assert re.findall(r"^## (.*)$", inside, re.MULTILINE) == [section.title for section in SECTIONS]
    assert inside.count("| " + " | ".join(COLUMNS) + " |") == len(SECTIONS)
    assert (
        inside.count("\n| ") == sum(len(section.rows) + 1 for section in SECTIONS) + len(MEASURED.machine) + 1
    )


def test_the_command_prints_the_rows_of_a_section_and_tells_its_progress_beside_them() -> None:
    """The real command, on the section that takes least."""
    root = pages_of_help.HELP.parent.parent
    done = subprocess.run(
        [sys.executable, "-P", "-m", "tests.bench", "--only", "air"],
        env=os.environ | {"PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    lines = done.stdout.splitlines()
    assert lines[0].split() == ["Moist", "air", *" ".join(COLUMNS[1:]).split()]
    for row, line in zip(air.ROWS.values(), lines[1:], strict=False):
        assert line.startswith(row.what)
        assert row.beside in line
        assert "not measured" not in line
    assert "1 of 1: air" in done.stderr


def test_a_section_that_cannot_be_measured_is_told_and_stops_nothing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lost = Section("no such section", "Lost", ROWS, dict)
    measured = measure([lost])
    assert measured.failed == {"no such section": "it ended with 2"}
    told = capsys.readouterr()
    assert told.out.count("not measured") == len(ROWS)
    assert "not measured: it ended with 2" in told.err


ROWS = {
    "quick": Row("quick", "ms", "a peer", at_most=0.5),
    "slow": Row("slow", "/s", at_least=10.0),
    "lost": Row("lost", "MB", at_most=1.0),
    "own": Row("own", "ms", "a peer", ours_at_most=2.0),
}


def test_a_goal_that_was_missed_and_a_row_that_was_not_measured_say_so() -> None:
    found = {
        "quick": Found(1.0, 4.0, 0.25, 3),
        "slow": Found(9.0),
        "own": Found(2.5, 0.5, 5.0, 3),
    }
    section = Section("some", "Some", ROWS, lambda: found)
    assert cells(section, found) == [
        ("quick", "1.00 ms", "4.00 ms, a peer", "0.250", "at most 0.5", "3"),
        ("slow", "9.00/s", "", "", "at least 10: **missed**", "1"),
        ("lost", "not measured", "", "", "at most 1", ""),
        ("own", "2.50 ms", "0.500 ms, a peer", "5.00", "ours at most 2: **missed**", "3"),
    ]
    measured = Measured("2026-01-01", {"processor": "invented"}, {}, {"some": "it took more than 5 s"})
    assert "Not measured: it took more than 5 s" in for_help([section], measured)
    with pytest.raises(ValueError, match="lost"):
        section.found()


def test_a_ratio_is_of_turns_that_were_taken_together() -> None:
    """Both three times as slow in the second turn, as beside another program: the ratio stays."""
    assert compared([2.0, 6.0, 2.0], [1.0, 3.0, 1.0]).ratio == 2.0


def test_turns_alternate_and_the_first_is_not_counted() -> None:
    order: list[str] = []
    taken = turns(2, lambda: order.append("ours"), lambda: order.append("peer"))
    assert order == ["ours", "peer", "peer", "ours", "ours", "peer"]
    assert [len(seconds) for seconds in taken] == [2, 2]


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (1234.5, "1,230"),
        (0.0625, "0.0625"),
        (99.96, "100"),
        (4.1e-7, "4.1e-07"),
        (0.0, "0"),
        (460_000.0, "460,000"),
    ],
)
def test_figures_have_three_digits_that_count(value: float, told: str) -> None:
    assert spell(value) == told


def test_the_paper_describes_the_halls_that_its_table_is_worked_out_for() -> None:
    text = (pages_of_help.HELP / "many_halls.md").read_text(encoding="utf-8")
    assert (many_halls.PROBES_IN_ONE, many_halls.PANELS_IN_ONE) == (10, 5)
    assert "has ten probes that speak every ten seconds" in text
    assert "Five panels are open in it" in text
    messages, readings = many_halls.MESSAGES_A_S, many_halls.READINGS_A_S
    assert (
        f"{messages:,.0f} messages with {readings:,.0f} readings a second, {many_halls.PANELS:,} panels"
        in text
    )
    assert "A thousand halls with ten thousand probes" in text
    seen = f"{growth.PANELS:,} panels, {growth.PROBES:,} probes and {growth.DAYS} days"
    assert f"It was seen to be so up to {seen}" in text
    assert many_halls.HALLS == 1_000


def test_the_papers_figures_are_those_of_the_table_and_what_was_not_measured_is_not_worked_out() -> None:
    """By hand: 50 µs for each of 1,000 messages a second is 5 % of a core in all, 0.005 % in each of 1,000 halls."""
    measured = Measured("2026-01-01", {}, {"taking-in": {"mqtt_cpu": Found(50.0, 25.0, 2.0, 5)}}, {})
    told = many_halls.for_help(measured)
    assert "| 50.0 µs of a core | 0.00500 % of a core in each hall |" in told
    assert told.count("| not measured | not measured |") == len(many_halls.STEPS) - 1
