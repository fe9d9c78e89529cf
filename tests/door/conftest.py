"""A shop behind its door for each test that asks."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.door.house import House, Opened, open_house


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Opened]:
    """Opens shops, and closes them in the end."""
    houses: list[House] = []

    def one(**more: object) -> House:
        houses.append(open_house(tmp_path / str(len(houses)), **more))  # type: ignore[arg-type]
        return houses[-1]

    yield one
    for house in houses:
        house.close()


@pytest.fixture
def house(opened: Opened) -> House:
    """With an account of each role."""
    return opened()
