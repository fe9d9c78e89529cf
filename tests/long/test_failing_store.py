"""10,000 commits that fail while messages come in."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.collector.failing import assert_kept, fail_while_messages_come


def test_ten_thousand_failed_commits_lose_nothing_acknowledged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    faults = fail_while_messages_come(tmp_path, 10_000, seed=2, monkeypatch=monkeypatch)
    sys.stdout.write(f"{faults.injected} failed commits, {faults.deaths} deaths, {faults.sent} sent\n")
    assert_kept(faults)
