"""Keeps the processes of `coldshed run` alive, also one that hangs, and lets a process notice that its supervisor is
gone.

A child is started with the reading end of a pipe as its standard input; the supervisor holds the writing end
and never writes. When the supervisor ends, however it ends, the child reads end-of-file and stops by itself,
so a killed `run` leaves nothing behind that would keep the files locked.

Each child is told where to say that its loop still turns (see heartbeat). One that has stopped saying so is killed,
which loses nothing that was committed, and started again.
"""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import FrameType

from collector.heartbeat import Ear
from collector.patience import rest

log = logging.getLogger("coldshed.run")

FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
STEADY_S = 60.0
"""A child that has run this long starts again without a wait when it ends."""
HANGS_S = 45.0
"""A child whose loop has not turned for so long is killed. Reading in a logger's largest file takes part of that."""
STARTS_S = 120.0
"""A child may take this long until its loop turns for the first time."""
LONG_START_S = {"collect": 900.0}
"""Bringing a large file of readings to a new version must not be cut short: it would begin anew, for ever."""
SLEPT_S = 5.0
"""We look ten times a second; after a longer pause it was we who slept (Ctrl-Z), and the children may have, too."""


class Stop:
    """Set once, by a signal or by a supervisor that went away; asked and waited for by everybody.

    A plain flag, looked at again and again: an Event takes a lock to be set, and a signal that comes while the main
    thread holds that lock, or a second one while the first is handled, would wait for it for ever.
    """

    def __init__(self) -> None:
        self._set = False

    def __call__(self) -> bool:
        return self._set

    def set(self) -> None:
        self._set = True

    def wait(self, seconds: float) -> bool:
        """Waits at most `seconds` real seconds; True if it was set."""
        rest(seconds, self)
        return self._set

    def on_signals(self) -> Stop:
        """SIGTERM and SIGINT set it. Call from the main thread."""

        def handle(number: int, frame: FrameType | None) -> None:
            self._set = True

        signal.signal(signal.SIGTERM, handle)
        signal.signal(signal.SIGINT, handle)
        return self

    def when_supervisor_ends(self, descriptor: int = 0) -> Stop:
        """End-of-file on `descriptor` sets it; for children started by a Supervisor only."""

        def watch() -> None:
            while os.read(descriptor, 64):
                pass
            self._set = True

        threading.Thread(target=watch, name="supervisor-pipe", daemon=True).start()
        return self


def python_command(code: str, arguments: Sequence[str]) -> list[str]:
    """A command line that runs `code` in this interpreter, blind to the folder it happens to start in."""
    return [sys.executable, "-P", "-c", code, *arguments]


@dataclass
class _Child:
    name: str
    command: Sequence[str]
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    due: float = 0.0
    wait: float = FIRST_WAIT_S
    ear: Ear | None = None
    heard: float = 0.0
    turns: bool = False
    hangs_s: float = HANGS_S


@dataclass
class Supervisor:
    """Starts each command and starts it again when it ends or hangs, after a wait that grows to half a minute.

    commands  name -> command line
    on_start  told (name, process id) after each start
    turned    called each time we have looked after all of them
    """

    commands: Mapping[str, Sequence[str]]
    on_start: Callable[[str, int], None] = lambda name, pid: None
    turned: Callable[[], None] = lambda: None
    grace_s: float = 8.0
    hangs_s: float = HANGS_S
    _children: list[_Child] = field(default_factory=list, init=False)

    def run(self, stop: Stop) -> int:
        """Until `stop`; then ends every child (SIGTERM, and after the grace SIGKILL). Returns 0."""
        hold, give = os.pipe()
        os.set_inheritable(hold, True)
        try:
            self._children = [_Child(name, command) for name, command in self.commands.items()]
            looked = time.monotonic()
            while not stop():
                if time.monotonic() - looked > SLEPT_S:
                    self._forgive()
                for child in self._children:
                    self._tend(child, hold)
                looked = time.monotonic()
                self.turned()
                stop.wait(0.1)
        finally:
            self._end_all()
            os.close(hold)
            os.close(give)
        return 0

    def _tend(self, child: _Child, hold: int) -> None:
        now = time.monotonic()
        if child.process is not None:
            code = child.process.poll()
            if code is None:
                self._listen(child, child.process, now)
                return
            steady = now - child.started >= STEADY_S
            child.wait = FIRST_WAIT_S if steady else min(child.wait * 2, LONGEST_WAIT_S)
            child.due = now + child.wait
            child.process = None
            log.warning(
                "%s ended with %s; starting it again in %.1f s", child.name, _ending(code), child.wait
            )
        if now >= child.due:
            self._start(child, hold, now)

    def _start(self, child: _Child, hold: int, now: float) -> None:
        if child.ear is not None:
            child.ear.close()
        child.ear = Ear()
        child.hangs_s = self.hangs_s
        told = {"NOTIFY_SOCKET": child.ear.address, "WATCHDOG_USEC": f"{self.hangs_s * 1e6:.0f}"}
        child.process = subprocess.Popen(child.command, stdin=hold, env=os.environ | told)
        child.started = child.heard = now
        child.turns = False
        self.on_start(child.name, child.process.pid)

    def _listen(self, child: _Child, process: subprocess.Popen[bytes], now: float) -> None:
        """Kills the child if it has not said for too long that its loop turns."""
        if child.ear is not None and (words := child.ear.words()):
            child.heard, child.turns = now, True
            for word in words:
                if word.startswith("WATCHDOG_USEC="):
                    child.hangs_s = int(word.partition("=")[2]) / 1e6
            return
        silent = now - child.heard
        if silent > (child.hangs_s if child.turns else LONG_START_S.get(child.name, STARTS_S)):
            log.warning("%s hangs: its loop has not turned for %.0f s; it is killed", child.name, silent)
            process.kill()
            child.heard = now

    def _forgive(self) -> None:
        for child in self._children:
            child.heard = time.monotonic()

    def _end_all(self) -> None:
        alive = [child.process for child in self._children if child.process is not None]
        for process in alive:
            process.terminate()
        end = time.monotonic() + self.grace_s
        for process in alive:
            try:
                process.wait(max(0.0, end - time.monotonic()))
            except subprocess.TimeoutExpired:
                log.warning("process %d did not stop within %.0f s and is killed", process.pid, self.grace_s)
                process.kill()
                process.wait()
        for child in self._children:
            if child.ear is not None:
                child.ear.close()


def _ending(code: int) -> str:
    return f"signal {signal.Signals(-code).name}" if code < 0 else f"exit code {code}"
