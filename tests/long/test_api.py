"""The same questions to the application, many times as many: ten minutes of one core, and more as its logbook grows."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.fuzz.asking import ask_as_everybody

EXAMPLES = 450


# A long logbook is shown whole in the report of a request: that costs time and is no fault.
@pytest.mark.filterwarnings("ignore:Generating overly large repr:hypothesis.errors.HypothesisWarning")
def test_fifty_thousand_requests_are_answered_as_described_and_nobody_does_what_they_may_not(
    tmp_path: Path,
) -> None:
    asked = ask_as_everybody(tmp_path, EXAMPLES)
    told = f"{asked.cases} requests, {asked.failed} answered 5xx, {len(asked.unauthorised)} not theirs"
    sys.stdout.write(f"\n{told}\n")
    assert asked.wrong == {}
    assert asked.unauthorised == []
    assert asked.failed == 0
    assert asked.cases >= 50_000
