"""No text from outside begins a line of the log: OWASP ASVS 5.0.0, 16.4.1."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from dashboard.cli import log_lines, main

FORGED = "12:00:00 coldshed.door: Kim · signed in"
HOSTILE = [
    f"night.csv\n{FORGED}",
    f"a\r{FORGED}",
    f"a\u2028{FORGED}",
    f"a\x85{FORGED}",
    f"\x1b[2J\x1b[H{FORGED}",
]


def begun(monkeypatch: pytest.MonkeyPatch) -> logging.Logger:
    """As the commands leave it; what it writes to is what capsys reads."""
    monkeypatch.setattr(logging.root, "handlers", [])
    monkeypatch.setattr(logging.root, "level", logging.root.level)
    log_lines.begin()
    return logging.getLogger("coldshed.collect")


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_from_outside_stays_within_its_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    begun(monkeypatch).info("%s: %s: %d readings", "logger", name, 3)
    told = capsys.readouterr().err
    assert len(told.splitlines()) == 1
    assert told[:-1].isprintable()
    assert FORGED in told, "what was said is kept"


@pytest.mark.parametrize("name", HOSTILE)
def test_an_error_that_says_it_stays_behind_the_bar(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    log = begun(monkeypatch)
    try:
        raise ValueError(name)
    except ValueError:
        log.exception("it failed")
    first, *more = capsys.readouterr().err.splitlines()
    assert first.endswith("it failed")
    assert len(more) >= 4
    assert all(line.startswith("  | ") for line in more)


def test_letters_of_any_language_are_left_as_they_are() -> None:
    assert log_lines.escaped("Ærø, 船 4, 20 °C · \\n") == "Ærø, 船 4, 20 °C · \\n"


def test_every_command_logs_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    begun: list[bool] = []
    monkeypatch.setattr(log_lines, "begin", lambda: begun.append(True))
    assert main(["check", "settings", "--settings", str(tmp_path / "nowhere.toml")]) == 1
    assert begun == [True]
