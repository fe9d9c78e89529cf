"""Thirty days of 32 probes at 10 s, and 200 cuts of a broker's link."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.services import Server, mosquitto, running
from tests.soak.test_link_cuts import assert_recovers
from tests.soak.test_soak import assert_at_rest, live


def write_figures(text: str) -> None:
    sys.stdout.write(f"\n{text}\n")


def test_thirty_days_of_32_probes(tmp_path: Path) -> None:
    held = live(tmp_path, days=30, seconds=10)
    write_figures("\n".join(map(str, held)))
    assert_at_rest(held, days=30, seconds=10)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Server]:
    with running(mosquitto(tmp_path / "broker")) as server:
        yield server


def test_two_hundred_cuts_of_the_link(broker: Server, tmp_path: Path) -> None:
    held = assert_recovers(broker, tmp_path, cuts=200)
    write_figures(f"{held[0]}\n{held[-1]}")
