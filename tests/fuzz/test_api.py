"""Whatever is asked, the application answers as it says it does, and to nobody who may not ask: FAULTS A, row 16."""

from __future__ import annotations

from pathlib import Path

from tests.fuzz.asking import ask_all, asking

EXAMPLES = 20
"""tests/long asks 26 times as many."""


def test_two_thousand_requests_are_answered_as_described_and_to_nobody_who_may_not_ask(
    tmp_path: Path,
) -> None:
    with asking(tmp_path) as (asked, operations):
        ask_all(asked, operations, EXAMPLES)
    assert len(operations) > 80
    assert asked.cases >= 2000
