"""Keeps the processes of `coldshed run` alive, and lets a process notice that its supervisor is gone.

A child is started with the reading end of a pipe as its standard input; the supervisor holds the writing end
and never writes. When the supervisor ends, however it ends, the child reads end-of-file and stops by itself,
so a killed `run` leaves nothing behind that would keep the files locked.
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

from collector.patience import rest

log = logging.getLogger("coldshed.run")

FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
STEADY_S = 60.0
"""A child that has run this long starts again without a wait when it ends."""


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


@dataclass
class Supervisor:
    """Starts each command and starts it again when it ends, after a wait that grows to half a minute.

    commands  name -> command line
    on_start  told (name, process id) after each start
    """

    commands: Mapping[str, Sequence[str]]
    on_start: Callable[[str, int], None] = lambda name, pid: None
    grace_s: float = 8.0
    _children: list[_Child] = field(default_factory=list, init=False)

    def run(self, stop: Stop) -> int:
        """Until `stop`; then ends every child (SIGTERM, and after the grace SIGKILL). Returns 0."""
        hold, give = os.pipe()
        os.set_inheritable(hold, True)
        try:
            self._children = [_Child(name, command) for name, command in self.commands.items()]
            while not stop():
                for child in self._children:
                    self._tend(child, hold)
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
                return
            steady = now - child.started >= STEADY_S
            child.wait = FIRST_WAIT_S if steady else min(child.wait * 2, LONGEST_WAIT_S)
            child.due = now + child.wait
            child.process = None
            log.warning(
                "%s ended with %s; starting it again in %.1f s", child.name, _ending(code), child.wait
            )
        if now >= child.due:
            child.process = subprocess.Popen(child.command, stdin=hold)
            child.started = now
            self.on_start(child.name, child.process.pid)

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


def _ending(code: int) -> str:
    return f"signal {signal.Signals(-code).name}" if code < 0 else f"exit code {code}"
