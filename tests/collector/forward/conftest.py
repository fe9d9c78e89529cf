"""A store with a night in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.collector.forward.stage import by_24, commit, night


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "readings.db"
    commit(path, *by_24(night()))
    return path


@pytest.fixture
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy machine we may stand still for longer than a read or a request may take.

    run() tries again then; a test that calls send_some() itself would see the wrong error.
    """
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", 60.0)
    monkeypatch.setattr("collector.forward.link.TIMEOUT_MS", 60_000)
