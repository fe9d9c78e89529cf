"""Every store that readings are read from, behind the same few words; servers are real ones, on loopback."""

from __future__ import annotations

import itertools
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from collector.clock import Clock
from collector.store.reads import Reads
from collector.store.time_series.asking import Asking
from collector.store.time_series.export_api import ExportApi
from collector.store.time_series.influxql import InfluxQL
from collector.store.time_series.rows import Engine
from collector.store.time_series.sites import Sites
from tests.collector.store.suite.memory_engine import MemoryEngine
from tests.services import Server, flush, influxdb, running, victoria_metrics

_numbers = itertools.count(1)


class Backend(Protocol):
    """Where lines are written to, and the engine that reads them. rounds: by what share of a value it alters it."""

    engine: Engine
    rounds: float

    def write(self, lines: Sequence[str]) -> None: ...


@dataclass
class Influx:
    """A server that answers InfluxQL; each test's sites have names of their own on it."""

    server: Server
    engine: Engine
    rounds: float = 0.0

    def write(self, lines: Sequence[str]) -> None:
        _post(f"http://127.0.0.1:{self.server.port}/write?db=coldshed&precision=ms", lines)


@dataclass
class Victoria:
    """Made to show at once what it took. It keeps decimals, not the bits of a double."""

    server: Server
    engine: Engine
    rounds: float = 1e-12

    def write(self, lines: Sequence[str]) -> None:
        _post(f"http://127.0.0.1:{self.server.port}/api/v2/write?bucket=coldshed&precision=ms", lines)
        flush(self.server)


@dataclass
class Memory:
    engine: MemoryEngine = field(default_factory=MemoryEngine)
    rounds: float = 0.0

    def write(self, lines: Sequence[str]) -> None:
        self.engine.write(lines)


def _post(url: str, lines: Sequence[str]) -> None:
    body = "\n".join(lines).encode()
    with urllib.request.urlopen(urllib.request.Request(url, body, method="POST"), timeout=20) as answer:
        assert answer.status == 204


@contextmanager
def backend(kind: str, folder: Path) -> Iterator[Backend]:
    """ "influxdb" or "victoria-metrics", started in the folder."""
    if kind == "influxdb":
        with running(influxdb(folder)) as server:
            yield Influx(server, InfluxQL(Asking(f"http://127.0.0.1:{server.port}"), "coldshed"))
    else:
        with running(victoria_metrics(folder)) as server:
            yield Victoria(server, ExportApi(Asking(f"http://127.0.0.1:{server.port}")))


class Steady:
    """Seconds that a test lets go by; every look is a second after the one before."""

    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        self.at += 1.0
        return self.at


@dataclass
class Served:
    """One dashboard's store over a backend."""

    backend: Backend
    names: Sequence[str]
    clock: Clock
    steady: Callable[[], float] = field(default_factory=Steady)

    def __post_init__(self) -> None:
        self.store = Sites(self.backend.engine, self.names, self.clock, self.steady)

    def open(self) -> Reads:
        return self.store.open()


def fresh_names(n: int) -> list[str]:
    """Names of sites that no other test has used on the same server; one holds all that must be escaped."""
    return [f"hall {number}, a=b {next(_numbers)}" for number in range(n)]
