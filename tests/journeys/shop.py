"""A whole invented shop of real processes, started by the console command on free loopback ports.

Everything is asked from outside, as a person or a probe would: command line, HTTP, files, /proc.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import dashboard
from collector.reading import Quantity
from collector.store.reader import Reader
from collector.store.schema import NotYet
from tests.services import free_port

DEADLINE_S = 60.0
START = "import sys; from dashboard.cli import main; sys.exit(main(sys.argv[1:]))"
PROCESSES = ("collect", "watch", "serve")
HOUR_MS = 3_600_000


def wait_until(condition: Callable[[], bool], what: str, deadline_s: float = DEADLINE_S) -> None:
    """Returns once the condition holds; fails the test, naming what was awaited, after the deadline.

    It looks twenty times a second: here a look costs the processes under test something.
    """
    end = time.monotonic() + deadline_s
    while not condition():
        assert time.monotonic() < end, f"waited {deadline_s:g} s in vain: {what}"
        time.sleep(0.05)


def now_ms() -> int:
    """The machine's time, UTC ms."""
    return time.time_ns() // 1_000_000


class Process:
    """One command in a process group of its own, so that Ctrl-C and the clean-up reach its children too.

    within   words before it that put it somewhere, such as into a network of its own
    """

    def __init__(self, words: list[str], log: Path, within: Sequence[str] = ()) -> None:
        root = str(Path(dashboard.__file__).parent.parent)
        self.log = log
        with log.open("ab") as output:
            self._process = subprocess.Popen(
                [*within, sys.executable, "-P", "-c", START, *words],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                env={**os.environ, "PYTHONPATH": root},
                start_new_session=True,
            )

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def ended(self) -> bool:
        return self._process.poll() is not None

    def said(self) -> str:
        return self.log.read_text(errors="replace")

    def kill(self) -> None:
        """Ends this process alone, as a crash would."""
        self._process.kill()
        self._process.wait(DEADLINE_S)

    def signal(self, number: signal.Signals) -> None:
        self._process.send_signal(number)

    def interrupt(self) -> None:
        """Ctrl-C: a terminal sends it to the whole group."""
        os.killpg(self.pid, signal.SIGINT)

    def wait(self, deadline_s: float = DEADLINE_S) -> int:
        return self._process.wait(deadline_s)

    def group(self) -> set[int]:
        """Ids of the processes that are left of it."""
        return {pid for pid, (_, _, group) in processes().items() if group == self.pid}

    def children(self) -> dict[str, int]:
        """Name of the command to process id."""
        found = {}
        for pid, (_, parent, _) in processes().items():
            if parent == self.pid and (name := _command(pid)):
                found[name] = pid
        return found

    def clean_up(self) -> None:
        """Ends it and whatever is left of its group."""
        if not self.ended:
            self._process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(12)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.pid, signal.SIGKILL)
        self._process.wait(DEADLINE_S)


def processes() -> dict[int, tuple[str, int, int]]:
    """Processes that run, by id: state, parent, group. Those that have ended and wait to be counted are left out."""
    found = {}
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            text = (entry / "stat").read_text()
        except OSError:  # it has ended meanwhile
            continue
        state, parent, group = text[text.rindex(")") + 2 :].split()[:3]
        if state not in "ZX":
            found[int(entry.name)] = (state, int(parent), int(group))
    return found


def _command(pid: int) -> str | None:
    """The coldshed command that the process runs; None if it runs something else."""
    try:
        words = Path(f"/proc/{pid}/cmdline").read_text().split("\0")
    except OSError:
        return None
    return words[words.index(START) + 1] if START in words else None


class Shop:
    """A folder with settings, and the processes over it."""

    def __init__(self, folder: Path, tables: str) -> None:
        self.folder = folder
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.settings = folder / "coldshed.toml"
        self.readings = folder / "data" / "readings.db"
        self._started: list[Process] = []
        folder.mkdir(parents=True, exist_ok=True)
        head = 'site = "invented-shed"\ntime_zone = "Europe/Oslo"\n'
        self.settings.write_text(f"{head}{tables}\n[serve]\nport = {self.port}\n")

    def start(self, command: str = "run", *words: str) -> Process:
        """Starts `coldshed COMMAND`; its log lies beside the settings."""
        log = self.folder / f"{command}.log"
        process = Process([command, "--settings", str(self.settings), *words], log)
        self._started.append(process)
        return process

    def do(self, *words: str) -> str:
        """Runs `coldshed WORDS` to its end; it must succeed. Returns what it printed."""
        command = self.start(*words[:1], *words[1:])
        code = command.wait()
        assert code == 0, f"coldshed {' '.join(words)} ended with {code}: {command.said()}"
        return command.said()

    def ready(self) -> None:
        """Returns once serve answers."""
        wait_until(self.answers, f"serve on {self.url}; see the logs in {self.folder}")

    def answers(self) -> bool:
        with contextlib.suppress(OSError):
            return bool(self.get("/api/health")["serve"] == "running")
        return False

    def get(self, path: str) -> Any:
        """The JSON at `path`."""
        return self._ask(urllib.request.Request(self.url + path))

    def log(self, kind: str, **entry: Any) -> dict[str, Any]:
        """Logs an entry as the pages do; returns serve's answer, which means that it is kept."""
        return self.post("/api/events", {"id": secrets.token_hex(12), "kind": kind, **entry})

    def register(self, name: str, surface: str, air: str | None = None) -> str:
        """A new panel; returns its id."""
        body = {"id": secrets.token_hex(12), "name": name, "zone": "shed", "substrate": "wood"}
        return str(self.post("/api/panels", body | {"surface_probe": surface, "air_probe": air})["panel"])

    def coat(self, panel: str, mixed_at: int, applied: bool = True, card: str = "invented-25min") -> None:
        """A coat mixed at UTC ms; on the panel at once, or still in the pot."""
        body = {"card": card, "applied_at": mixed_at if applied else None}
        self.log("coat mixed", panel=panel, at=mixed_at, body=body)

    def post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        headers = {"Content-Type": "application/json", "Origin": self.url}
        answer: dict[str, Any] = self._ask(
            urllib.request.Request(self.url + path, json.dumps(body).encode(), headers, method="POST")
        )
        return answer

    def _ask(self, request: urllib.request.Request) -> Any:
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        with opener.open(request, timeout=10) as answer:
            return json.load(answer)

    def stored(self, probe: str, quantity: Quantity = Quantity.TEMPERATURE) -> list[tuple[int, float]]:
        """The committed rows of one series: UTC ms, SI value."""
        with self._reader() as reader:
            if reader is None:
                return []
            at, value, _ = reader.samples(probe, quantity, 0, 2**60)
            return list(zip(at.tolist(), value.tolist(), strict=True))

    def refused(self, source: str, kind: str) -> int:
        """How often something was refused."""
        with self._reader() as reader:
            tallies = reader.tallies() if reader else []
        return sum(tally.n for tally in tallies if (tally.source, tally.kind) == (source, kind))

    def conflicts(self) -> int:
        with self._reader() as reader:
            return reader.conflicts() if reader else 0

    @contextlib.contextmanager
    def _reader(self) -> Iterator[Reader | None]:
        try:
            reader = Reader.open(self.readings)
        except NotYet:
            yield None
            return
        try:
            yield reader
        finally:
            reader.close()

    def close(self) -> None:
        for process in self._started:
            process.clean_up()


@contextlib.contextmanager
def opened(folder: Path, tables: str) -> Iterator[Shop]:
    """A shop whose processes all end with the block, whatever happened in it."""
    shop = Shop(folder, tables)
    try:
        yield shop
    finally:
        shop.close()
