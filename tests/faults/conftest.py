"""What several files of faults need."""

from __future__ import annotations

import pytest


@pytest.fixture
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy machine we may stand still for longer than a read may take; run() would try again."""
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", 60.0)
