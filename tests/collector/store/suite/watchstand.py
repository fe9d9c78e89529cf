"""A dashboard over two sites whose server shows lines when a test says so."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.store.reads import Reads
from collector.store.site_state import SiteState
from tests.collector.store.suite.backends import Memory, Served
from tests.collector.store.suite.site import T0, TEMPERATURE, Site


class Watchstand:
    """A dashboard over a server in memory; `clock` is the dashboard's own, `seconds` its steady one."""

    def __init__(self, folder: Path, names: tuple[str, ...] = ("north", "south")) -> None:
        self.memory = Memory()
        self.engine = self.memory.engine
        self.clock = SteppedClock(T0)
        self.seconds = 1000.0
        self.goes_with_the_sites = True
        self.sites = [Site(name, folder / name, self.memory.write) for name in names]
        self.served = Served(self.memory, names, self.clock, lambda: self.seconds)

    def later(self, seconds: float) -> None:
        self.seconds += seconds
        if self.goes_with_the_sites:
            self.clock.at = max(self.clock.at, *(site.clock.at for site in self.sites), 0)
        self.clock.at += round(1000 * seconds)

    def look(self, after: float = 2.0) -> Reads:
        self.later(after)
        return self.served.open()

    def state(self, name: str = "north", after: float = 2.0) -> SiteState:
        with closing(self.look(after)) as reader:
            return next(site for site in reader.sites() if site.name == name)


@pytest.fixture
def stand(tmp_path: Path) -> Iterator[Watchstand]:
    one = Watchstand(tmp_path)
    yield one
    for site in one.sites:
        site.close()


def values(reader: Reads) -> list[float]:
    return [float(value) for value in reader.samples("north:S1", TEMPERATURE, 0, 2**60)[1]]
