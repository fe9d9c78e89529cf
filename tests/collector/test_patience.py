"""Waits between attempts grow up to a cap, begin anew after a success, and end at once when told to stop."""

from __future__ import annotations

import time

import pytest

from collector import patience
from collector.patience import GrowingWait, rest


def test_waits_double_up_to_the_cap_and_begin_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    waited: list[float] = []
    monkeypatch.setattr(patience, "rest", lambda seconds, stop: waited.append(seconds))
    wait = GrowingWait(first=1.0, longest=5.0)
    for _ in range(5):
        wait.pause(lambda: False)
    wait.reset()
    wait.pause(lambda: False)
    assert waited == [1.0, 2.0, 4.0, 5.0, 5.0, 1.0]


def test_a_rest_ends_when_told_to_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    naps: list[float] = []
    monkeypatch.setattr(time, "sleep", naps.append)
    rest(3600.0, lambda: len(naps) == 3)
    assert len(naps) == 3
