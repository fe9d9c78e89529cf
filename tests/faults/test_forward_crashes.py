"""The forwarder dies at each of its steps, before it and after it: all arrives, once, and a dashboard counts it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest

from collector.clock import SteppedClock
from collector.forward.link import Link
from collector.forward.state import ForwardState
from collector.store.time_series.asking import Asking
from collector.store.time_series.influxql import InfluxQL
from collector.store.time_series.sites import Sites
from tests.collector.forward.stage import (
    NOW,
    SITE,
    Ticking,
    by_24,
    commit,
    expected,
    forwarder,
    last_batch,
    night,
    selected,
    told,
)
from tests.services import influxdb, running

STEPS = ((Link, "write"), (Link, "ask"), (ForwardState, "save"), (ForwardState, "next_tick"))
"""What it does that lasts: on the server, or in forward.db."""
TURNS = 6
"""Of the forwarder in one life, half a minute each: so that it also asks for what it sent, and holds it for safe."""


class Died(BaseException):
    """The process is gone; nothing is put in order."""


class Fate:
    """Counts steps and ends the process at one of them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.left = 0
        self.after = False
        for kind, name in STEPS:
            monkeypatch.setattr(kind, name, self._told(getattr(kind, name)))

    def _told(self, step: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*args: Any, **more: Any) -> Any:
            self.left -= 1
            if self.left == 0 and not self.after:
                raise Died
            found = step(*args, **more)
            if self.left == 0:
                raise Died
            return found

        return counted


def test_b51_a_forwarder_that_dies_at_any_of_its_steps_loses_and_doubles_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """One life after another over one store, which grows by a batch in each; InfluxDB takes what they send."""
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", 60.0)
    store, seconds, fate = tmp_path / "readings.db", Ticking(), Fate(monkeypatch)
    batches, deaths, lives = iter(by_24(night())), 0, 0
    with running(influxdb(tmp_path / "server")) as server:
        for step, fate.after in itertools.product(range(1, 20), (False, True)):
            commit(store, next(batches))
            lives += 1
            fate.left = step
            deaths += not lived(store, server.port, seconds)
        commit(store, *batches)
        fate.left = 0
        assert lived(store, server.port, seconds)
        assert deaths > lives / 2, "else it was not seen to die"
        assert selected(server, "reading", "value") == expected(night(), "value")
        assert told(store).acknowledged == last_batch(store)
        engine = InfluxQL(Asking(f"http://127.0.0.1:{server.port}"), "coldshed")
        with closing(Sites(engine, [SITE], SteppedClock(NOW)).open()) as seen:
            [site] = seen.sites()
            assert (site.missing, site.behind, seen.last_batch()) == (0, 0, last_batch(store))


def lived(store: Path, port: int, seconds: Ticking) -> bool:
    """One life; whether it came to its end in peace."""
    sender = forwarder(store, port, monotonic=seconds, server="influxdb-1")
    try:
        for _ in range(TURNS):
            sender.send_some()
            seconds.at += 30.0
    except Died:
        return False
    finally:
        with suppress(Died):
            sender.close()
    return True
