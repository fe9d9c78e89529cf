"""The same questions to the application, many times as many: ten minutes of one core, and more as its logbook grows."""

from __future__ import annotations

from pathlib import Path

from tests.fuzz.asking import ask_as_everybody


def test_fifty_thousand_requests_are_answered_as_described_and_nobody_does_what_they_may_not(
    tmp_path: Path,
) -> None:
    asked = ask_as_everybody(tmp_path, 450)
    assert asked.wrong == {}
    assert asked.unauthorised == []
    assert asked.failed == 0
    assert asked.cases >= 50_000
