"""The whole of collect, as a process of its own on a real pseudo-terminal: killed, stopped, started twice."""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import subprocess
import sys
import threading
import tty
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

import collector
from collector import app
from collector.app import SourceThread, collect
from collector.arrival import Arrival
from collector.clock import SteppedClock, SystemClock
from collector.reading import ProbeFacts, Quantity
from collector.settings import Settings
from collector.store.reader import Reader
from collector.store.schema import NotYet, StoreError
from tests.collector.shops import folder, probe, serial, shop, shop_text
from tests.services import wait_until

TEMPERATURE = Quantity.TEMPERATURE

PROGRAM = """
import logging, sys
from pathlib import Path
from collector.app import collect
from collector.clock import SystemClock
from collector.settings import load
from collector.supervise import Stop
logging.basicConfig(level=logging.INFO)
sys.exit(collect(load(Path(sys.argv[1])), SystemClock(), Stop().on_signals()))
"""


class Collector:
    """One `collect` process on a settings file, started and ended by the test."""

    def __init__(self, settings: Path) -> None:
        self.log = settings.with_suffix(".log")
        root = str(Path(collector.__file__).parent.parent)
        environment = os.environ | {"PYTHONPATH": root}
        with self.log.open("ab") as output:
            self.process = subprocess.Popen(
                [sys.executable, "-P", "-c", PROGRAM, str(settings)],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                env=environment,
            )

    def end(self, number: signal.Signals) -> int:
        self.process.send_signal(number)
        return self.process.wait(10)


class Device:
    """A probe on the far end of a pseudo-terminal: numbered values, one after the other, for ever."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self.master, False)
        self.number = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send)
        self._thread.start()

    def _send(self) -> None:
        while not self._stop.wait(0.002):
            with contextlib.suppress(OSError):  # nobody reads: the line is lost, as on a real wire
                os.write(self.master, b"S1 T=%d.%04d\n" % divmod(self.number, 10_000))
                self.number += 1

    def end(self) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self.master)


@pytest.fixture
def device() -> Iterator[Device]:
    device = Device()
    yield device
    device.end()


@pytest.fixture
def settings_file(tmp_path: Path, device: Device) -> Path:
    path = tmp_path / "coldshed.toml"
    path.write_text(
        shop_text([serial(device.port), folder(), probe("S1", "usb", interval_s=0.01), probe("L1", "logger")])
    )
    return path


def stored(settings: Path, probe: str = "S1") -> list[tuple[int, float]]:
    try:
        reader = Reader.open(settings.parent / "data" / "readings.db")
    except NotYet:
        return []
    try:
        at, value, _ = reader.samples(probe, TEMPERATURE, 0, 2**60)
        return list(zip(at.tolist(), value.tolist(), strict=True))
    finally:
        reader.close()


def test_what_was_committed_survives_a_kill_at_any_moment_and_nothing_is_doubled(settings_file: Path) -> None:
    random = Random(1)
    seen: list[tuple[int, float]] = []
    for _ in range(6):
        running = Collector(settings_file)
        try:
            more = len(seen) + random.randrange(5, 200)
            wait_until(lambda more=more: len(stored(settings_file)) >= more, "new readings are committed")
            seen = stored(settings_file)
        finally:
            running.end(signal.SIGKILL)
        kept = stored(settings_file)
        assert kept[: len(seen)] == seen
        values = [value for _, value in kept]
        assert len(set(values)) == len(values)
    reader = Reader.open(settings_file.parent / "data" / "readings.db")
    assert reader._connection.pragma("integrity_check") == "ok"
    reader.close()


def test_a_file_being_imported_when_the_process_is_killed_is_there_once_after_the_next_start(
    settings_file: Path,
) -> None:
    inbox = settings_file.parent / "inbox"
    inbox.mkdir()
    rows = "".join(f"2026-11-24 {i // 60:02d}:{i % 60:02d},12.{i:04d},\n" for i in range(1440))
    (inbox / "night.csv").write_text("time,panel,air\n" + rows)
    running = Collector(settings_file)
    try:
        wait_until(lambda: len(stored(settings_file)) > 5, "it runs")
    finally:
        running.end(signal.SIGKILL)
    running = Collector(settings_file)
    try:
        wait_until((inbox / "done" / "night.csv").exists, "the file is done")
    finally:
        assert running.end(signal.SIGTERM) == 0
    assert [value for _, value in stored(settings_file, "L1")] == [float(f"12.{i:04d}") for i in range(1440)]


def test_a_second_collector_refuses_in_words_and_the_first_goes_on(settings_file: Path) -> None:
    first = Collector(settings_file)
    try:
        wait_until(lambda: len(stored(settings_file)) > 5, "the first collects")
        second = Collector(settings_file)
        assert second.process.wait(20) == app.NOT_STARTED
        assert (
            "readings.db is being written by another process: collect runs already" in first.log.read_text()
        )
        before = len(stored(settings_file))
        wait_until(lambda: len(stored(settings_file)) > before, "the first still collects")
    finally:
        assert first.end(signal.SIGTERM) == app.ENDED


def test_states_are_told_once_for_each_change(settings_file: Path, device: Device) -> None:
    running = Collector(settings_file)
    try:
        wait_until(lambda: len(stored(settings_file)) > 5, "it collects")
    finally:
        running.end(signal.SIGTERM)
    log = running.log.read_text()
    assert log.count("source usb: connected") == 1
    assert log.count("source logger: connected") == 1


def test_the_probes_are_described_for_everyone_else(tmp_path: Path) -> None:
    settings = shop(tmp_path, folder(), probe("L1", "logger", zone="warm room", place="air"))
    assert collect(settings, SteppedClock(0), lambda: True) == app.ENDED
    reader = Reader.open(settings.readings_db)
    assert reader.probes() == [ProbeFacts("L1", "warm room", "air", 10.0, 0.8)]
    reader.close()


def test_a_newer_file_is_refused_and_left_as_it_is(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    settings = shop(tmp_path)
    collect(settings, SteppedClock(0), lambda: True)
    import apsw

    connection = apsw.Connection(str(settings.readings_db))
    connection.pragma("user_version", 99)
    connection.close()
    assert collect(settings, SteppedClock(0), lambda: True) == app.NOT_STARTED
    assert "update this one" in caplog.text
    with pytest.raises(StoreError, match="newer"):
        Reader.open(settings.readings_db)


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / "data").write_text("a file where the folder should be")
    assert collect(shop(tmp_path), SystemClock(), lambda: True) == app.NOT_STARTED
    assert "collect does not start" in caplog.text


def test_a_source_that_fails_by_its_own_fault_is_told_and_started_again(
    caplog: pytest.LogCaptureFixture,
) -> None:
    class Faulty:
        id = "faulty"
        state = "connected"
        runs = 0

        def run(self, put: object, stop: object) -> None:
            self.runs += 1
            if self.runs == 1:
                raise ZeroDivisionError("a bug")

    faulty, stop = Faulty(), threading.Event()
    thread = SourceThread(faulty)
    thread.start(lambda arrival: None, stop.is_set)
    wait_until(lambda: thread.change() == "failed: a bug", "the fault is told")
    wait_until(lambda: faulty.runs > 1, "it was started again")
    stop.set()
    wait_until(lambda: not thread.alive, "it has ended")
    assert "a bug" in caplog.text
    assert thread.change() == "connected"
    assert thread.change() is None


def test_a_source_that_does_not_end_does_not_keep_collect_from_ending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    released = threading.Event()

    class Deaf:
        id = "logger"
        state = "connected"

        def run(self, put: object, stop: object) -> None:
            put(Arrival("logger", b"time,panel,air\n2026-11-24 21:00,12.5,\n", 1_795_600_000_000, live=False))
            released.wait()

    def deaf(item: object, settings: Settings, clock: object) -> Deaf:
        return Deaf()

    monkeypatch.setattr(app, "source_for", deaf)
    monkeypatch.setattr(app, "SOURCES_END_S", 0.05)
    caplog.set_level(logging.INFO)
    settings = shop(tmp_path, folder(), probe("L1", "logger"))
    file = settings.readings_db
    try:
        assert collect(settings, SystemClock(), lambda: bool(file.exists() and stored_in(file))) == app.ENDED
    finally:
        released.set()
    assert stored_in(file) == 1


def stored_in(file: Path) -> int:
    try:
        reader = Reader.open(file)
    except NotYet:
        return 0
    try:
        return len(reader.samples("L1", TEMPERATURE, 0, 2**60)[0])
    finally:
        reader.close()
