"""How long each process of a small shop takes until its loop turns, and what it holds then: real ones, real files."""

from __future__ import annotations

import contextlib
import os
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import dashboard
from collector.heartbeat import Ear
from dashboard.cli.processes import START
from tests.bench.rows import Found, Row, Section, alone, compared, scaled, turns
from tests.bench.whole_house import family
from tests.services import free_port, running, victoria_metrics, wait_until

NAMES = ("collect", "watch", "serve", "forward", "notify")
ROUNDS = 3
SETTLE_S = 5.0
BARE = "a bare interpreter"
ROOT = Path(dashboard.__file__).resolve().parent.parent
BARELY = """
import os, signal, socket
socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM).sendto(b"READY=1", "\\0" + os.environ["NOTIFY_SOCKET"][1:])
signal.pause()
"""
ROWS = {
    "help": Row("coldshed --help", "ms", BARE, ours_at_most=150.0),
    **{f"{name} start": Row(f"{name}: until its loop turns", "s", BARE) for name in NAMES},
    **{f"{name} memory": Row(f"{name}: resident memory", "MB", BARE) for name in NAMES},
    "together": Row("all five together, shared pages counted once", "MB", at_most=250.0),
    "whole": Row("run, collect, watch and serve, what they share counted for each", "MB", at_most=250.0),
}
MORE = """
[forward]
url = "http://127.0.0.1:{server}"
bucket = "invented"
[notices]
[[notices.to]]
name = "Kim"
url_file = "kim.notice"
"""


def measure() -> dict[str, Found]:
    with tempfile.TemporaryDirectory() as name, running(victoria_metrics(Path(name) / "server")) as server:
        folder = Path(name)
        shop = (Path(dashboard.__file__).parent / "demo_shop" / "coldshed.toml").read_text(encoding="utf-8")
        shop = shop.replace("port = 8137", f"port = {(port := free_port())}")
        (folder / "coldshed.toml").write_text(shop + MORE.format(server=server.port), encoding="utf-8")
        (folder / "kim.notice").write_text("json://127.0.0.1:1/nobody\n", encoding="ascii")
        _round(folder)  # the first time files are made
        rounds = [_round(folder) for _ in range(ROUNDS)]
        (folder / "coldshed.toml").write_text(shop, encoding="utf-8")
        wholes = [_whole(folder, port) for _ in range(ROUNDS)]
    found = {
        "whole": alone(wholes),
        "together": alone([sum(one[name].share_MB for name in NAMES) for one in rounds]),
        "help": _help(),
    }
    for name in NAMES:
        found[f"{name} start"] = compared(
            [one[name].start_s for one in rounds], [one["bare"].start_s for one in rounds]
        )
        found[f"{name} memory"] = compared(
            [one[name].held_MB for one in rounds], [one["bare"].held_MB for one in rounds]
        )
    return found


@dataclass(frozen=True)
class Process:
    """Until its loop turned, what it holds, and its part of it where what several hold together is shared out."""

    start_s: float
    held_MB: float
    share_MB: float


def _round(folder: Path) -> dict[str, Process]:
    """All of them, started one after the other; memory when all have turned a few times."""
    with contextlib.ExitStack() as stack:
        started = {name: stack.enter_context(_started(name, folder)) for name in ("bare", *NAMES)}
        quiet = time.monotonic() + SETTLE_S
        wait_until(lambda: time.monotonic() >= quiet, "they have turned a few times", 2.0 * SETTLE_S)
        return {name: Process(taken, *_memory_MB(pid)) for name, (taken, pid) in started.items()}


def _whole(folder: Path, port: int) -> float:
    """MB of what `run` becomes and of what it starts, once all of them have turned a few times."""
    with _started("run", folder) as (_, pid):
        wait_until(lambda: _opens(port), "serve answers", 60)
        quiet = time.monotonic() + SETTLE_S
        wait_until(lambda: time.monotonic() >= quiet, "they have turned a few times", 2.0 * SETTLE_S)
        return sum(_memory_MB(one)[0] for one in family(pid).values())


def _opens(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 1).close()
    except OSError:
        return False
    return True


@contextlib.contextmanager
def _started(name: str, folder: Path) -> Iterator[tuple[float, int]]:
    ear = Ear()
    words = ["-c", BARELY] if name == "bare" else ["-c", START, name]
    begin = time.perf_counter()
    with (folder / f"{name}.log").open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, "-P", *words],
            cwd=folder,
            env=os.environ | {"PYTHONPATH": str(ROOT), "NOTIFY_SOCKET": ear.address},
            stdout=log,
            stderr=log,
        )
    try:
        try:
            wait_until(lambda: "READY=1" in ear.words(), f"{name} turns", 30)
        except AssertionError as error:
            raise AssertionError((folder / f"{name}.log").read_text(errors="replace")) from error
        yield time.perf_counter() - begin, process.pid
    finally:
        process.terminate()
        process.wait(30)
        ear.close()


def _memory_MB(pid: int) -> tuple[float, float]:
    """Resident and proportional set size, proc(5)."""
    said = Path(f"/proc/{pid}/smaps_rollup").read_text()
    kB = {name: int(re.findall(rf"^{name}:\s+(\d+) kB", said, re.MULTILINE)[0]) for name in ("Rss", "Pss")}
    return kB["Rss"] / 1024, kB["Pss"] / 1024


def _help() -> Found:
    def run(*words: str) -> None:
        subprocess.run(
            [sys.executable, "-P", "-c", *words],
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            stdout=subprocess.DEVNULL,
            check=True,
        )

    ours, bare = turns(11, lambda: run(START, "--help"), lambda: run("pass"), clock=time.perf_counter)
    return compared(scaled(1e3, ours), scaled(1e3, bare))


SECTION = Section("processes", "Processes of a small shop", ROWS, measure)
