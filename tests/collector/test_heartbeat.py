"""What systemd would hear of each process, on a real datagram socket; and a child of ours that hangs.

The words, and the @ of the abstract namespace, are those of sd_notify(3).
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import collector
from collector.app import LongWork
from collector.arrival import Arrival, Outcome
from collector.heartbeat import AGAIN_S, Ear, Heartbeat
from dashboard.cli.processes import START
from tests.collector.shops import shop_text
from tests.services import free_port, wait_until


class Manager:
    """A service manager's socket, in the file system as systemd's is."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self._socket.setblocking(False)
        self.heard: list[str] = []

    def listen(self) -> list[str]:
        """All that was said so far."""
        try:
            while True:
                self.heard.append(self._socket.recv(4096).decode())
        except BlockingIOError:
            return self.heard

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    made = Manager(tmp_path / "notify")
    yield made
    made.close()


def test_ready_comes_first_then_at_most_one_word_a_second_and_the_last_is_stopping(manager: Manager) -> None:
    now = [0.0]
    beat = Heartbeat(str(manager.path), monotonic=lambda: now[0])
    beat.turned()
    beat.turned()
    now[0] += AGAIN_S
    beat.turned()
    beat.turned()
    beat.stopping()
    beat.stopping()
    now[0] += AGAIN_S
    beat.turned()
    assert manager.listen() == ["READY=1", "WATCHDOG=1", "STOPPING=1"]


def test_a_name_in_the_abstract_namespace_is_written_with_an_at() -> None:
    ear = Ear()
    try:
        assert ear.address.startswith("@")
        Heartbeat(ear.address).turned()
        assert ear.words() == ["READY=1"]
        assert ear.words() == []
    finally:
        ear.close()


def test_nobody_listening_is_told_once_and_stops_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    beat = Heartbeat(str(tmp_path / "nobody"))
    for _ in range(3):
        beat.turned()
        beat.stopping()
    Heartbeat(None).turned()
    assert [record.levelname for record in caplog.records] == ["WARNING"]


def test_a_turn_that_will_take_longer_is_announced_and_taken_back(manager: Manager) -> None:
    """WATCHDOG_USEC, sd_notify(3). Two large files at once: patience for both until the outcome of each is known."""
    outcomes: list[Outcome] = []
    work = LongWork(Heartbeat(str(manager.path), patience_s=45.0))
    small = Arrival("logger", b"x" * 1000, 0)
    assert work.told_of(small) is small
    large = [work.told_of(Arrival("logger", b"x" * 1_000_000, 0, outcome=outcomes.append)) for _ in range(2)]
    for arrival in large:
        assert arrival.outcome is not None
        arrival.outcome(Outcome(1, ()))
    assert len(outcomes) == 2
    told = [int(word.removeprefix("WATCHDOG_USEC=")) / 1e6 for word in manager.listen()]
    assert told == [65.0, 85.0, 65.0, 45.0]


SHOP = """
[[source]]
id = "sim"
kind = "simulated"
[source.decode]
kind = "text_line"
field = [{ key = "T", quantity = "temperature", unit = "degC" }]
"""


def test_each_process_says_when_it_works_that_it_goes_on_working_and_that_it_stops(tmp_path: Path) -> None:
    """As under units of Type=notify, all four over one shop; none waits to be ready for another's first file."""
    forward = '[forward]\nurl = "http://127.0.0.1:1"\nbucket = "shed"\n'
    text = shop_text([SHOP, f"[serve]\nport = {free_port()}\n", forward])
    (tmp_path / "coldshed.toml").write_text(text, encoding="utf-8")
    root = str(Path(collector.__file__).parent.parent)
    managers = {name: Manager(tmp_path / name) for name in ("collect", "watch", "serve", "forward")}
    processes = [
        subprocess.Popen(
            [sys.executable, "-P", "-c", START, name],
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": root, "NOTIFY_SOCKET": str(manager.path)},
        )
        for name, manager in managers.items()
    ]
    try:
        for name, manager in managers.items():
            wait_until(lambda manager=manager: len(manager.listen()) >= 2, f"{name} says that it turns")
            assert manager.heard[:2] == ["READY=1", "WATCHDOG=1"], name
        for process in processes:
            process.terminate()
        assert [process.wait(20) for process in processes] == [0, 0, 0, 0]
    finally:
        for process in processes:
            process.kill()
            process.wait()
    for name, manager in managers.items():
        assert manager.listen()[-1] == "STOPPING=1", name
        manager.close()
