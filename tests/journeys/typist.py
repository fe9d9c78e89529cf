"""Somebody at a terminal: a command on a real pseudo-terminal, what it shows, and what is typed."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import dashboard
from tests.journeys.shop import DEADLINE_S, START


class Typist:
    """One command in a folder, in a process group of its own."""

    def __init__(self, folder: Path, *words: str) -> None:
        self._master, slave = os.openpty()
        root = str(Path(dashboard.__file__).parent.parent)
        self._process = subprocess.Popen(
            # As a shell at a terminal does: Ctrl-C counts, also where these tests run in the background.
            ["env", "--default-signal=INT", sys.executable, "-P", "-c", START, *words],
            stdin=slave, stdout=slave, stderr=slave, cwd=folder, start_new_session=True,
            env={**os.environ, "PYTHONPATH": root, "TERM": "dumb"},
        )  # fmt: skip
        os.close(slave)
        self.seen = ""
        self._read = 0

    def reads(self, text: str) -> None:
        """Returns once the text is shown, after all that was read before."""
        end = time.monotonic() + DEADLINE_S
        while (at := self.seen.find(text, self._read)) < 0:
            assert time.monotonic() < end, f"waited in vain for {text!r}; shown is:\n{self.seen}"
            self._take(0.1)
        self._read = at + len(text)

    def types(self, text: str = "") -> None:
        os.write(self._master, f"{text}\n".encode())

    def answers(self, *pairs: tuple[str, str]) -> None:
        """For each question what is typed."""
        for question, answer in pairs:
            self.reads(question)
            self.types(answer)

    def interrupts(self) -> None:
        """Ctrl-C: a terminal sends it to the whole group."""
        os.killpg(self._process.pid, signal.SIGINT)

    def ends(self) -> int:
        """Its exit code."""
        end = time.monotonic() + DEADLINE_S
        while self._process.poll() is None:
            assert time.monotonic() < end, f"it does not end; shown is:\n{self.seen}"
            self._take(0.1)
        self._take(0.0)
        return self._process.returncode

    def close(self) -> None:
        """Ends it and whatever is left of its group."""
        if self._process.poll() is None:
            self._process.terminate()
            try:
                self.ends()
            finally:
                if self._process.poll() is None:
                    os.killpg(self._process.pid, signal.SIGKILL)
                    self._process.wait(DEADLINE_S)
        os.close(self._master)

    def _take(self, seconds: float) -> None:
        if select.select([self._master], [], [], seconds)[0]:
            try:
                self.seen += os.read(self._master, 65536).decode("utf-8", "replace").replace("\r\n", "\n")
            except OSError:  # the last one who had the other end open has gone
                time.sleep(seconds)
