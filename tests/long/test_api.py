"""The same questions to the application, twenty-six times as many."""

from __future__ import annotations

from pathlib import Path

from tests.fuzz.asking import ask_all, asking


def test_fifty_thousand_requests_are_answered_as_described_and_to_nobody_who_may_not_ask(
    tmp_path: Path,
) -> None:
    with asking(tmp_path) as (asked, operations):
        ask_all(asked, operations, 520)
    assert asked.cases >= 50_000
