"""A set-up that has begun in a folder, and what tests ask of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.first_run.session import SetUp
from collector.steady_clock import SteadyClock, this_machine
from tests.services import wait_until


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[SetUp]:
    session = set_up(tmp_path)
    yield session
    session.close()


def set_up(folder: Path) -> SetUp:
    return SetUp(folder / "coldshed.toml", SteadyClock(this_machine()))


def hear(session: SetUp, *names: str) -> None:
    """Waits until devices of these names have been heard twice."""
    wait_until(
        lambda: {*names} <= {one.name for one in session.devices() if one.every_s is not None},
        f"{names} heard",
    )


def named(session: SetUp, name: str):  # a device
    return next(device for device in session.devices() if device.name == name)


def one_probe(session: SetUp, port: str) -> None:
    session.name("garage", "Europe/Oslo")
    session.listen_serial(port)
    hear(session, "S1")
    session.mean(named(session, "S1"), "T", "temperature", "degC")
    session.assign(named(session, "S1"), "S1", "shed", "surface", 10)
