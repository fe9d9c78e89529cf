"""100 cuts of a slow link."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults.weak_link import assert_survived, cut_again_and_again


def test_a_hundred_cuts_lose_and_leave_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert_survived(cut_again_and_again(tmp_path, 100, monkeypatch))
