"""A cable to a server that can be pulled: a TCP relay on a free loopback port."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
from collections.abc import Iterator

from tests.services import free_port

RESET = struct.pack("ii", 1, 0)
"""SO_LINGER of zero seconds: closing then resets the connection instead of ending it in order."""


class Link:
    """Relays connections to `target` until they are cut; takes new ones at once."""

    def __init__(self, target: int) -> None:
        self.port = free_port()
        self.made = 0
        self._target = target
        self._open: list[tuple[socket.socket, socket.socket]] = []
        self._lock = threading.Lock()
        self._listening = socket.create_server(("127.0.0.1", self.port))
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self, reset: bool = False) -> int:
        """Ends every connection, in order or by a reset; returns how many there were."""
        with self._lock:
            pairs, self._open = self._open, []
            for pair in pairs:
                for end in pair:
                    _cut(end, reset)
        return len(pairs)

    @property
    def connections(self) -> int:
        with self._lock:
            return len(self._open)

    def close(self) -> None:
        self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        self.cut()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:  # closed
                return
            far = socket.create_connection(("127.0.0.1", self._target))
            with self._lock:
                self._open.append((near, far))
                self.made += 1
            for here, there in ((near, far), (far, near)):
                threading.Thread(target=self._relay, args=(here, there), daemon=True).start()

    def _relay(self, here: socket.socket, there: socket.socket) -> None:
        """One direction; each closes the socket it reads from."""
        with contextlib.suppress(OSError):  # reset, or closed by the other direction
            while data := here.recv(65_536):
                there.sendall(data)
        with self._lock:
            ended_by_peer = any(here in pair for pair in self._open)
            self._open = [pair for pair in self._open if here not in pair]
            here.close()
            if ended_by_peer:
                _cut(there, reset=False)


def _cut(end: socket.socket, reset: bool) -> None:
    """Wakes the thread that reads from it; for a reset nothing is said on the line before it is closed."""
    if reset:
        end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
    with contextlib.suppress(OSError):  # the other side was quicker
        end.shutdown(socket.SHUT_RD if reset else socket.SHUT_RDWR)


@contextlib.contextmanager
def linked(target: int) -> Iterator[Link]:
    """Closed with the block."""
    link = Link(target)
    try:
        yield link
    finally:
        link.close()
