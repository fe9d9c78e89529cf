"""One night and its record for all tests of this folder that only look at them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from dashboard.record.document import document
from dashboard.record.results import Results
from dashboard.record.used import Used
from dashboard.record.work_out import work_out
from tests.dashboard.record.night import Shop, lived_through


@pytest.fixture(scope="package")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """lived_through(); nobody may log to it."""
    shop = lived_through(tmp_path_factory.mktemp("night"))
    yield shop
    shop.close()


@pytest.fixture(scope="package")
def used(night: Shop) -> Used:
    """What its record rests on."""
    return night.used()


@pytest.fixture(scope="package")
def results(used: Used) -> Results:
    """What that comes to."""
    return work_out(used)


@pytest.fixture(scope="package")
def made(used: Used, results: Results) -> dict[str, Any]:
    """Its record."""
    return document(used, results)
