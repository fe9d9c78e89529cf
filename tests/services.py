"""Real servers for the tests, on free loopback ports, with their files in the test's own folder.

The programs are found on PATH or where `.ci/services` unpacks them; a missing one fails in plain words.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import signal
import socket
import subprocess
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

CACHE = Path(__file__).resolve().parent.parent / ".cache" / "services"
READY_S = 20.0


class MissingProgram(AssertionError):
    """A program the tests need is not on this machine."""


def find(program: str) -> str:
    """The program's path. Raises MissingProgram saying how to get it."""
    places = os.pathsep.join(
        [os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin", f"{CACHE}/usr/sbin", f"{CACHE}/usr/bin"]
    )
    found = shutil.which(program, path=places)
    if found is None:
        raise MissingProgram(f"{program} is not on this machine: run .ci/services once, then the tests again")
    return found


def free_port() -> int:
    """A loopback port that nothing listens on now.

    Not one of those that the system gives to outgoing connections: such a port may be gone before its server has
    started, or while it is started again.
    """
    low, high = map(int, Path("/proc/sys/net/ipv4/ip_local_port_range").read_text().split())
    ports = [*range(10_000, low), *range(high + 1, 65_536)] or range(10_000, 65_536)
    while True:
        port = secrets.choice(ports)
        with contextlib.suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return port


def wait_until(condition: Callable[[], bool], what: str, seconds: float = READY_S) -> None:
    """Returns once the condition holds; fails the test, naming what was awaited, after `seconds`."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, f"waited {seconds:g} s in vain: {what}"
        time.sleep(0.01)


class Server:
    """One program on one port: started, stopped, killed and started again by the test."""

    def __init__(
        self, folder: Path, command: list[str], port: int, environment: dict[str, str] | None = None
    ) -> None:
        self.folder = folder
        self.port = port
        self._command = command
        self._environment = environment or {}
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Returns once it takes connections."""
        self.begin()
        wait_until(self._ready, f"{self._command[0]} on port {self.port}; see {self._log}")

    def begin(self, within: Sequence[str] = ()) -> None:
        """Starts it and waits for nothing; within: words that put a command into a network of its own."""
        libraries = [str(path) for path in CACHE.glob("usr/lib/*-linux-*")]
        environment = os.environ | self._environment
        if self._command[0].startswith(str(CACHE)):
            environment["LD_LIBRARY_PATH"] = os.pathsep.join(libraries)
        command = [*within, *self._command]
        with self._log.open("ab") as output:
            self._process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=output, stderr=output, env=environment
            )

    @property
    def _log(self) -> Path:
        return self.folder / "server.log"

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def stop(self) -> None:
        """Asks it to end and waits for it."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """Ends it as a power cut would."""
        self._end(signal.SIGKILL)

    def signal(self, number: signal.Signals) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def _end(self, number: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(READY_S)
            self._process = None

    def _ready(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, self._log.read_text(errors="replace")
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1.0):
            return True
        return False


@contextlib.contextmanager
def running(server: Server) -> Iterator[Server]:
    """Started on entry, ended on exit whatever happened."""
    server.start()
    try:
        yield server
    finally:
        server.kill()


def mosquitto(folder: Path, *, more: str = "") -> Server:
    """A broker that keeps every message it acknowledged, also over a kill; `more` are more settings lines."""
    port = free_port()
    folder.mkdir(parents=True, exist_ok=True)
    settings = folder / "mosquitto.conf"
    settings.write_text(
        f"listener {port} 127.0.0.1\n"
        "allow_anonymous true\n"
        "user root\n"
        "persistence true\n"
        f"persistence_location {folder}/\n"
        "autosave_on_changes true\n"
        "autosave_interval 1\n"
        "max_queued_messages 0\n" + more
    )
    return Server(folder, [find("mosquitto"), "-c", str(settings)], port)


def victoria_metrics(folder: Path, **more: str) -> Server:
    """A time-series server that shows what was written after flush(), and keeps the last of repeats. `more`: further
    options by their names.
    """
    port = free_port()
    folder.mkdir(parents=True, exist_ok=True)
    options = {
        "httpListenAddr": f"127.0.0.1:{port}",
        "storageDataPath": str(folder / "data"),
        "retentionPeriod": "100y",
        "search.latencyOffset": "0s",
        "dedup.minScrapeInterval": "1ms",
        "loggerLevel": "WARN",
    } | more
    command = [find("victoria-metrics"), *(f"-{name}={value}" for name, value in options.items())]
    return Server(folder, command, port)


def influxdb(folder: Path, database: str = "coldshed", **more: str) -> InfluxServer:
    """A time-series server that answers InfluxQL, of the 1.x line: it takes lines under /write only. `more`: further
    settings by the names of its environment variables, without INFLUXDB_.
    """
    port, inner = free_port(), free_port()
    folder.mkdir(parents=True, exist_ok=True)
    options = {
        "BIND_ADDRESS": f"127.0.0.1:{inner}",
        "HTTP_BIND_ADDRESS": f"127.0.0.1:{port}",
        "META_DIR": str(folder / "meta"),
        "DATA_DIR": str(folder / "data"),
        "DATA_WAL_DIR": str(folder / "wal"),
        "MONITOR_STORE_ENABLED": "false",
        "REPORTING_DISABLED": "true",
        "HTTP_LOG_ENABLED": "false",
    } | more
    environment = {f"INFLUXDB_{name}": value for name, value in options.items()}
    return InfluxServer(folder, [find("influxd"), "run", "-config", "/dev/null"], port, environment, database)


class InfluxServer(Server):
    """With a database that is there once it has started."""

    def __init__(
        self, folder: Path, command: list[str], port: int, environment: dict[str, str], database: str
    ) -> None:
        super().__init__(folder, command, port, environment)
        self.database = database

    def start(self) -> None:
        super().start()
        query = urllib.parse.urlencode({"q": f'CREATE DATABASE "{self.database}"'})
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/query", query.encode(), 10) as answer:
            assert answer.status == 200


def flush(server: Server) -> None:
    """Makes victoria-metrics show what it has taken so far."""
    with urllib.request.urlopen(f"http://127.0.0.1:{server.port}/internal/force_flush", timeout=10) as answer:
        assert answer.status == 200
