"""Every row of the list of faults has a test named after it, or says which test shows it or what it waits for."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
ROWS = tomllib.loads((HERE / "rows.toml").read_text(encoding="utf-8"))
LAST = 70


def test_no_row_is_without_an_answer() -> None:
    source = "".join(path.read_text(encoding="utf-8") for path in HERE.glob("test_*.py"))
    named = {
        f"b{number}"
        for name in re.findall(r"def test_((?:b\d\d_)+)", source)
        for number in re.findall(r"\d\d", name)
    }
    assert {f"b{number:02}" for number in range(1, LAST + 1)} - named - set(ROWS) == set()


def test_every_test_that_a_row_names_exists() -> None:
    for row, answer in ROWS.items():
        assert set(answer) <= {"test", "later"}, row
        if "test" in answer:
            path, name = answer["test"].split("::")
            assert f"def {name}(" in (ROOT / path).read_text(encoding="utf-8"), row
