"""Tells whoever started this process that it works, and hears it from a child that was started here.

The words and the socket are those of sd_notify(3), so that systemd and `coldshed run` are told in the same way: one
datagram each to the unix socket that NOTIFY_SOCKET names, where a leading @ stands for the abstract namespace.
READY=1 is said with the first turn of the process's loop, WATCHDOG=1 with later ones, STOPPING=1 when it ends, and
WATCHDOG_USEC=n when a turn is about to take longer than usual, or no longer does.
"""

from __future__ import annotations

import logging
import os
import socket
import time
from collections.abc import Callable

AGAIN_S = 1.0
"""A loop may turn a hundred times a second; that it does is told once."""

log = logging.getLogger("coldshed.run")


class Heartbeat:
    """Call turned() wherever the loop that does the work has really come round, and nowhere else."""

    def __init__(
        self, address: str | None, monotonic: Callable[[], float] = time.monotonic, patience_s: float = 0.0
    ) -> None:
        """`address` as in NOTIFY_SOCKET, None if nobody listens; `patience_s` is how long they wait for a turn."""
        self._patience_s = patience_s
        self._address = "\0" + address[1:] if address and address.startswith("@") else address
        self._monotonic = monotonic
        self._said = ""
        self._at = 0.0
        self._unheard = False

    @classmethod
    def of_environment(cls) -> Heartbeat:
        """To whoever started this process, if they listen."""
        patience_us = os.environ.get("WATCHDOG_USEC", "")
        patience_s = int(patience_us) / 1e6 if patience_us.isdecimal() else 0.0
        return cls(os.environ.get("NOTIFY_SOCKET"), patience_s=patience_s)

    def turned(self) -> None:
        """The loop came round: READY=1 the first time, then WATCHDOG=1, at most once a second."""
        now = self._monotonic()
        if not self._said:
            self._say("READY=1")
        elif now - self._at >= AGAIN_S and self._said != "STOPPING=1":
            self._say("WATCHDOG=1")
        else:
            return
        self._at = now

    def allow(self, longer_s: float) -> None:
        """From now on a turn may take so much longer than usual; 0 takes that back."""
        if self._patience_s:
            self._send(f"WATCHDOG_USEC={round((self._patience_s + longer_s) * 1e6)}")

    def stopping(self) -> None:
        """The loop ends because it was asked to."""
        if self._said != "STOPPING=1":
            self._say("STOPPING=1")

    def _say(self, word: str) -> None:
        self._said = word
        self._send(word)

    def _send(self, word: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
                out.setblocking(False)  # a listener that does not listen must not stop our work
                out.sendto(word.encode(), self._address)
        except OSError as error:
            if not self._unheard:
                log.warning("whoever started this process cannot be told %s: %s", word, error)
            self._unheard = True


class Ear:
    """Hears one child: give it `address` as its NOTIFY_SOCKET."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        self._socket.bind(
            ""
        )  # Linux finds a free name in the abstract namespace, unix(7): no file to tidy up

    @property
    def address(self) -> str:
        name: bytes = self._socket.getsockname()
        return "@" + name[1:].decode("ascii")

    def words(self) -> list[str]:
        """What was said since the last look."""
        found: list[str] = []
        while True:
            try:
                found += self._socket.recv(4096).decode("utf-8", errors="replace").splitlines()
            except BlockingIOError:
                return found

    def close(self) -> None:
        self._socket.close()
