"""One Chromium for all journeys."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.journeys.window import Chromium


@pytest.fixture(scope="package")
def chromium() -> Iterator[Chromium]:
    browser = Chromium()
    yield browser
    browser.close()
