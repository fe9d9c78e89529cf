"""Rows B59 and B70: a process that hangs is ended and another takes its place; one that is only slow is left alone."""

from __future__ import annotations

import logging
import os
import signal
import threading
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from collector.app import SourceThread
from collector.arrival import Arrival
from collector.supervise import Stop, Supervisor, python_command
from dashboard.cli.processes import commands
from tests.collector.shops import probe, serial, shop_text
from tests.journeys.senders import Wire
from tests.journeys.shop import Shop
from tests.services import wait_until

HANGS_S = 3.0
"""Here; 45 s outside of tests, so that with a start the whole is within the 60 s of promise A15."""
NAMES = ["collect", "watch", "serve"]


class Running:
    """A supervisor in a thread, with everything that it started and every child that it found to turn."""

    def __init__(self, children: dict[str, list[str]], hangs_s: float = HANGS_S) -> None:
        self.started: list[tuple[str, int]] = []
        self.supervisor = Supervisor(
            children, on_start=lambda name, pid: self.started.append((name, pid)), hangs_s=hangs_s
        )
        self._stop = Stop()
        self._thread = threading.Thread(target=self.supervisor.run, args=(self._stop,))
        self._thread.start()

    def turning(self) -> set[str]:
        return {child.name for child in self.supervisor._children if child.turns}

    def pid(self, name: str) -> int:
        return dict(self.started)[name]

    def close(self) -> None:
        self._stop.set()
        self._thread.join(30)


def test_b59_each_process_that_is_stopped_is_replaced_by_one_that_works(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """SIGSTOP to collect and watch, which health tells at once, then to serve; SIGTERM would not reach them."""
    house = Shop(tmp_path, "")
    shop = Running(commands(NAMES, house.settings, None))
    try:
        wait_until(lambda: shop.turning() == set(NAMES), "all three turn")
        first = {name: shop.pid(name) for name in NAMES}
        for name in ("collect", "watch"):
            os.kill(first[name], signal.SIGSTOP)
        wait_until(lambda: doing_of(house) == ["stopped", "stopped"], "health is red", HANGS_S)
        os.kill(first["serve"], signal.SIGSTOP)
        wait_until(lambda: all(shop.pid(name) != first[name] for name in NAMES), "three others are there")
        wait_until(lambda: shop.turning() == set(NAMES), "all three turn again")
        wait_until(lambda: doing_of(house)[0] == "running", "health is green")
    finally:
        shop.close()
    assert {r.args[0] for r in caplog.records if "hangs" in r.msg and r.args} == set(NAMES)


def doing_of(house: Shop) -> list[str]:
    """What serve says of collect and watch."""
    health = house.get("/api/health")
    return [health["collect"], health["watch"]]


DEADLOCKED = """
import sys, threading
from pathlib import Path
from collector.store.writer import Writer
from dashboard.cli import main

mark = Path(sys.argv.pop(1))
if not mark.exists():
    mark.touch()
    held = threading.Lock()
    held.acquire()
    Writer.commit = lambda *words: held.acquire()
sys.exit(main(sys.argv[1:]))
"""


def test_b59_a_deadlock_in_the_pipeline_is_ended_though_every_source_still_turns(tmp_path: Path) -> None:
    """The first collect never comes back from its first commit; the second stores what comes."""
    with Wire() as wire:
        settings = tmp_path / "coldshed.toml"
        text = shop_text([serial(wire.port), probe("S1", "usb")])
        settings.write_text(text, encoding="utf-8")
        words = [str(tmp_path / "first"), "collect", "--settings", str(settings), "--supervised"]
        shop = Running({"collect": python_command(DEADLOCKED, words)})
        stored = Shop(tmp_path, "")
        settings.write_text(text, encoding="utf-8")
        try:
            wait_until(lambda: len(stored.stored("S1")) > 3, "readings are stored by another collect")
        finally:
            shop.close()
    assert len(shop.started) > 1


def test_b59_a_source_that_hangs_is_named_and_the_others_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its thread neither ends nor asks whether to stop. One that waits for a full pipeline does not hang."""
    freed = threading.Event()

    class Hangs:
        id = "usb"
        state = "connected"

        def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
            freed.wait(20)

    class Waits(Hangs):
        def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
            put(Arrival("usb", b"", 0))

    monkeypatch.setattr("collector.app.HANGS_S", 0.0)
    waiting = threading.Event()

    def full(arrival: Arrival) -> None:
        waiting.set()
        freed.wait(20)

    hanging, patient = SourceThread(Hangs()), SourceThread(Waits())
    try:
        for thread in (hanging, patient):
            thread.start(full, freed.is_set)
        assert waiting.wait(20)
        assert not hanging.turns
        assert hanging.state.startswith("failed: hangs")
        assert patient.turns
        assert patient.state == "connected"
    finally:
        freed.set()
    wait_until(lambda: not (hanging.alive or patient.alive), "both have ended")


def test_b70_a_throttled_collect_stores_every_line_and_is_not_taken_for_one_that_hangs(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A hot or starved processor: collect gets to run only now and then, for as long as one more line takes it."""
    caplog.set_level(logging.INFO)
    with Wire(every_s=0.05) as wire:
        settings = tmp_path / "coldshed.toml"
        text = shop_text([serial(wire.port), probe("S1", "usb")])
        settings.write_text(text, encoding="utf-8")
        shop = Running(commands(["collect"], settings, None), hangs_s=20.0)
        stored = Shop(tmp_path, "")
        settings.write_text(text, encoding="utf-8")
        try:
            wait_until(lambda: bool(stored.stored("S1")), "the first readings")
            for _ in range(5):
                count, sent = len(stored.stored("S1")), wire.sent
                os.kill(shop.pid("collect"), signal.SIGSTOP)
                wait_until(lambda sent=sent: wire.sent > sent + 8, "more lines wait in the port")
                os.kill(shop.pid("collect"), signal.SIGCONT)
                wait_until(lambda count=count: len(stored.stored("S1")) > count + 5, "they are stored")
        finally:
            shop.close()
    values = [value for _, value in stored.stored("S1")]
    steps = [round((later - earlier) * 10_000) for earlier, later in pairwise(values)]
    assert set(steps) == {1}, "a line is missing"
    assert len(shop.started) == 1
