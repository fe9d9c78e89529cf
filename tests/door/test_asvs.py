"""Every requirement of OWASP ASVS 5.0.0, level 1, has a named test of its mechanism, or a reason why it has none."""

from __future__ import annotations

import ast
import functools
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.door.least import TABLE

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
MAP = tomllib.loads((HERE / "asvs.toml").read_text(encoding="utf-8"))
LEVEL_1 = [
    "1.2.1",
    "1.2.2",
    "1.2.3",
    "1.2.4",
    "1.2.5",
    "1.3.1",
    "1.3.2",
    "1.5.1",
    "2.1.1",
    "2.2.1",
    "2.2.2",
    "2.3.1",
    "3.2.1",
    "3.2.2",
    "3.3.1",
    "3.4.1",
    "3.4.2",
    "3.5.1",
    "3.5.2",
    "3.5.3",
    "4.1.1",
    "4.4.1",
    "5.2.1",
    "5.2.2",
    "5.3.1",
    "5.3.2",
    "6.1.1",
    "6.2.1",
    "6.2.2",
    "6.2.3",
    "6.2.4",
    "6.2.5",
    "6.2.6",
    "6.2.7",
    "6.2.8",
    "6.3.1",
    "6.3.2",
    "6.4.1",
    "6.4.2",
    "7.2.1",
    "7.2.2",
    "7.2.3",
    "7.2.4",
    "7.4.1",
    "7.4.2",
    "8.1.1",
    "8.2.1",
    "8.2.2",
    "8.3.1",
    "9.1.1",
    "9.1.2",
    "9.1.3",
    "9.2.1",
    "10.4.1",
    "10.4.2",
    "10.4.3",
    "10.4.4",
    "10.4.5",
    "11.3.1",
    "11.3.2",
    "11.4.1",
    "12.1.1",
    "12.2.1",
    "12.2.2",
    "13.4.1",
    "14.2.1",
    "14.3.1",
    "15.1.1",
    "15.2.1",
    "15.3.1",
]
"""The rows of level 1 of OWASP/ASVS, 5.0/docs_en/OWASP_Application_Security_Verification_Standard_5.0.0_en.csv."""

LEVEL_2 = [
    "1.1.1",
    "1.1.2",
    "1.2.6",
    "1.2.7",
    "1.2.8",
    "1.2.9",
    "1.3.3",
    "1.3.4",
    "1.3.5",
    "1.3.6",
    "1.3.7",
    "1.3.8",
    "1.3.9",
    "1.3.10",
    "1.3.11",
    "1.4.1",
    "1.4.2",
    "1.4.3",
    "1.5.2",
    "2.1.2",
    "2.1.3",
    "2.2.3",
    "2.3.2",
    "2.3.3",
    "2.3.4",
    "2.4.1",
    "3.3.2",
    "3.3.3",
    "3.3.4",
    "3.4.3",
    "3.4.4",
    "3.4.5",
    "3.4.6",
    "3.5.4",
    "3.5.5",
    "3.7.1",
    "3.7.2",
    "4.1.2",
    "4.1.3",
    "4.2.1",
    "4.3.1",
    "4.3.2",
    "4.4.2",
    "4.4.3",
    "4.4.4",
    "5.1.1",
    "5.2.3",
    "5.4.1",
    "5.4.2",
    "5.4.3",
    "6.1.2",
    "6.1.3",
    "6.2.9",
    "6.2.10",
    "6.2.11",
    "6.2.12",
    "6.3.3",
    "6.3.4",
    "6.4.3",
    "6.4.4",
    "6.5.1",
    "6.5.2",
    "6.5.3",
    "6.5.4",
    "6.5.5",
    "6.6.1",
    "6.6.2",
    "6.6.3",
    "6.8.1",
    "6.8.2",
    "6.8.3",
    "6.8.4",
    "7.1.1",
    "7.1.2",
    "7.1.3",
    "7.3.1",
    "7.3.2",
    "7.4.3",
    "7.4.4",
    "7.4.5",
    "7.5.1",
    "7.5.2",
    "7.6.1",
    "7.6.2",
    "8.1.2",
    "8.2.3",
    "8.4.1",
    "9.2.2",
    "9.2.3",
    "9.2.4",
    "10.1.1",
    "10.1.2",
    "10.2.1",
    "10.2.2",
    "10.3.1",
    "10.3.2",
    "10.3.3",
    "10.3.4",
    "10.4.6",
    "10.4.7",
    "10.4.8",
    "10.4.9",
    "10.4.10",
    "10.4.11",
    "10.5.1",
    "10.5.2",
    "10.5.3",
    "10.5.4",
    "10.5.5",
    "10.6.1",
    "10.6.2",
    "10.7.1",
    "10.7.2",
    "10.7.3",
    "11.1.1",
    "11.1.2",
    "11.2.1",
    "11.2.2",
    "11.2.3",
    "11.3.3",
    "11.4.2",
    "11.4.3",
    "11.4.4",
    "11.5.1",
    "11.6.1",
    "12.1.2",
    "12.1.3",
    "12.3.1",
    "12.3.2",
    "12.3.3",
    "12.3.4",
    "13.1.1",
    "13.2.1",
    "13.2.2",
    "13.2.3",
    "13.2.4",
    "13.2.5",
    "13.3.1",
    "13.3.2",
    "13.4.2",
    "13.4.3",
    "13.4.4",
    "13.4.5",
    "14.1.1",
    "14.1.2",
    "14.2.2",
    "14.2.3",
    "14.2.4",
    "14.3.2",
    "14.3.3",
    "15.1.2",
    "15.1.3",
    "15.2.2",
    "15.2.3",
    "15.3.2",
    "15.3.3",
    "15.3.4",
    "15.3.5",
    "15.3.6",
    "15.3.7",
    "16.1.1",
    "16.2.1",
    "16.2.2",
    "16.2.3",
    "16.2.4",
    "16.2.5",
    "16.3.1",
    "16.3.2",
    "16.3.3",
    "16.3.4",
    "16.4.1",
    "16.4.2",
    "16.4.3",
    "16.5.1",
    "16.5.2",
    "16.5.3",
    "17.1.1",
    "17.2.1",
    "17.2.2",
    "17.2.3",
    "17.2.4",
    "17.3.1",
    "17.3.2",
]
"""What level 2 adds: the rows of the same file."""
MAP_2 = tomllib.loads((HERE / "asvs_2.toml").read_text(encoding="utf-8"))


def test_every_requirement_of_level_1_is_answered_for() -> None:
    assert len(LEVEL_1) == 70, "as many as the standard has"
    assert list(MAP) == LEVEL_1


def test_every_requirement_of_level_2_is_answered_for() -> None:
    assert len(LEVEL_2) == 183, "as many as the standard adds"
    told = [
        *MAP_2["met"],
        *MAP_2["deviation"],
        *(number for group in MAP_2["not"] for number in group["numbers"]),
    ]
    assert len(told) == len(set(told))
    assert set(told) == set(LEVEL_2)
    assert all(
        len(text) > 9 for entry in (*MAP_2["met"].values(), *MAP_2["deviation"].values()) for text in entry
    )


def is_there(test: str) -> bool:
    """Whether there is a test of that name."""
    file, _, name = test.partition("::")
    path = ROOT / file
    return path.is_file() and bool(
        re.search(rf"^def {re.escape(name)}\(", path.read_text(encoding="utf-8"), re.MULTILINE)
    )


def test_what_is_met_of_level_2_is_shown_by_a_test_that_is_there() -> None:
    assert [entry for entry in MAP_2["met"].items() if not is_there(entry[1][1])] == []


@pytest.mark.parametrize("number", MAP)
def test_a_requirement_has_a_test_that_is_there_or_a_reason(number: str) -> None:
    entry = MAP[number]
    assert set(entry) in ({"about", "test"}, {"about", "not"}, {"about", "test", "deviation"})
    assert all(len(text) > 9 for text in entry.values())
    if "test" in entry:
        assert is_there(entry["test"]), f"{entry['test']} is not there"


@functools.cache
def calls() -> tuple[tuple[str, ast.Call], ...]:
    """Every call of the product, by the whole name of what it calls."""
    return tuple(_calls())


def _calls() -> Iterator[tuple[str, ast.Call]]:
    for package in ("collector", "model", "dashboard"):
        for path in sorted((ROOT / package).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call):
                    yield ast.unparse(node.func), node


def test_no_shell_and_no_evaluation_of_text() -> None:
    """ASVS 1.2.5, 1.3.2."""
    evil = re.compile(r"(eval|exec|os\.system|os\.popen|pickle\.\w+|marshal\.loads|subprocess\.getoutput)")
    seen = 0
    for name, call in calls():
        seen += 1
        assert not evil.fullmatch(name), name
        assert not any(keyword.arg == "shell" for keyword in call.keywords), name
    assert seen > 5000


def test_no_broken_hash_is_used() -> None:
    """ASVS 11.4.1."""
    used = {name for name, _ in calls() if re.fullmatch(r"(hashlib|hmac)\.\w+", name)}
    assert "hashlib.sha256" in used
    sound = {"sha256", "file_digest", "blake2b"}  # blake2b: RFC 7693
    assert used <= {f"hashlib.{name}" for name in sound} | {"hmac.compare_digest"}, used


def fields_for_passwords() -> list[str]:
    """The inputs of all templates whose name says that they take one."""
    found = []
    for path in sorted((ROOT / "dashboard" / "templates").glob("*.html")):
        found += re.findall(r"<input [^>]*>", path.read_text(encoding="utf-8"))
    return [field for field in found if re.search(r'name="(\w*password\w*|\w*pin)"', field)]


def test_fields_for_passwords_mask_and_allow_pasting() -> None:
    """ASVS 6.2.6, 6.2.7."""
    fields = fields_for_passwords()
    assert len(fields) >= 3
    for field in fields:
        assert 'type="password"' in field, field
        assert 'autocomplete="off"' not in field or 'name="pin"' in field, field
    for path in (ROOT / "dashboard" / "static").glob("*.js"):
        assert not re.search(r"onpaste|[\"']paste[\"']", path.read_text(encoding="utf-8")), path


def test_there_are_no_hints_and_no_secret_questions() -> None:
    """ASVS 6.4.2: what is kept of an account has no place for one."""
    schema = (ROOT / "dashboard" / "door" / "store.py").read_text(encoding="utf-8")
    assert "password" in schema
    assert not re.search(r"question|answer|hint|e-?mail", schema, re.IGNORECASE)


def test_no_secret_is_taken_from_an_address() -> None:
    """ASVS 14.2.1: no path has a place for one; query strings are not looked at by the door."""
    assert not [path for path in TABLE if re.search(r"\{\w*(password|token|pin|secret|session)\w*\}", path)]
    for path in sorted((ROOT / "dashboard" / "door").glob("*.py")):
        assert "query" not in path.read_text(encoding="utf-8"), path


def test_how_soon_a_known_fault_is_mended_is_written_down() -> None:
    """ASVS 15.1.1, 15.2.1."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert re.search(r"known to be used[^.]*\s7 days[^.]*any other[^.]*\s30 days", text, re.DOTALL)
    assert ".ci/audit" in (ROOT / ".ci" / "test").read_text(encoding="utf-8")
