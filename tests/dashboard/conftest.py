"""An invented shop of five panels for each test that asks."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser.fake_shop import FakeShop, open_shop
from tests.dashboard.client import Client


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FakeShop]:
    """Real stores in a temporary folder, the clock at 06:10 of a winter morning."""
    opened = open_shop(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def client(shop: FakeShop) -> Client:
    return Client(shop.app)
