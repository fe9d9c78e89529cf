"""A line between a client and a server that is slow, and is cut in the middle of what it carries."""

from __future__ import annotations

import contextlib
import select
import socket
import threading
from pathlib import Path
from random import Random
from typing import Any

from collector.sources import mqtt
from tests.collector import shops
from tests.collector.failing import (
    DECODE,
    SENML,
    Collector,
    Faults,
    assert_stored,
    conflicts,
    send,
    stored,
    subscribed,
)
from tests.services import mosquitto, running, wait_until

SLOW_S = 0.02
PIECE = 700


class WeakLink:
    """Passes pieces on after a delay; cut_soon() ends every connection after a few hundred bytes more."""

    def __init__(self, server: int, seed: int) -> None:
        self._server = server
        self._random = Random(seed)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.cuts = 0
        self._left: int | None = None
        self._slow = True
        self._ended = threading.Event()
        self._threads = [threading.Thread(target=self._accept, daemon=True)]

    def cut_soon(self) -> None:
        self._left = self._random.randrange(1, 600)

    def heal(self) -> None:
        """From here on quick, and never cut."""
        self._left, self._slow = None, False

    def __enter__(self) -> WeakLink:
        self._threads[0].start()
        return self

    def __exit__(self, *error: object) -> None:
        self._ended.set()
        for thread in self._threads:
            thread.join(20)
        self._listener.close()

    def _accept(self) -> None:
        while not self._ended.is_set():
            if not select.select([self._listener], [], [], 0.05)[0]:
                continue
            client, _ = self._listener.accept()
            carrier = threading.Thread(target=self._carry, args=(client,), daemon=True)
            self._threads.append(carrier)
            carrier.start()

    def _carry(self, client: socket.socket) -> None:
        with contextlib.ExitStack() as closing, contextlib.suppress(OSError):
            closing.enter_context(client)
            server = closing.enter_context(socket.create_connection(("127.0.0.1", self._server)))
            other = {client: server, server: client}
            while not self._ended.is_set():
                for end in select.select(list(other), [], [], 0.05)[0]:
                    if not self._pass_on(end, other[end]):
                        return

    def _pass_on(self, start: socket.socket, end: socket.socket) -> bool:
        """One piece, or what is left of it; False if the connection ends with it."""
        piece = start.recv(PIECE)
        if self._slow:
            self._ended.wait(SLOW_S)
        left = self._left
        if left is None or len(piece) < left:
            self._left = None if left is None else left - len(piece)
            end.sendall(piece)
            return bool(piece)
        end.sendall(piece[:left])
        self._left = None
        self.cuts += 1
        return False


def cut_again_and_again(folder: Path, cuts: int, monkeypatch: Any) -> Faults:
    """A collector behind such a line, while messages come; what it stored, and that it left nothing open."""
    monkeypatch.setattr(
        mqtt, "REST_S", 0.2
    )  # it rests for half a minute when cuts follow each other so closely
    faults = Faults()
    with running(mosquitto(folder / "broker")) as broker, WeakLink(broker.port, seed=1) as link:
        settings = shops.shop(folder, SENML.format(link.port) + DECODE, shops.probe("S1", "broker"))
        collector = Collector(settings, Random(1), faults)
        collector.spare()
        try:
            subscribed(broker, settings, faults)
            wait_until(lambda: len(stored(settings)) == 1, "the first reading")
            open_before = open_files()
            for cut in range(cuts):
                link.cut_soon()
                send(broker, faults, 20)
                wait_until(lambda cut=cut: link.cuts > cut, "the link is cut", 60)
            link.heal()
            wait_until(lambda: len(stored(settings)) >= faults.sent, "all of it", 60)
            wait_until(lambda: open_files() <= open_before, "no connection is left open")
        finally:
            collector.end()
        faults.stored, faults.conflicts = stored(settings), conflicts(settings)
    return faults


def open_files() -> int:
    """Sockets of this process: the collector's, the link's and the broker's are the same after each cut."""
    return sum(1 for file in Path("/proc/self/fd").iterdir() if _is_socket(file))


def _is_socket(file: Path) -> bool:
    with contextlib.suppress(OSError):  # closed meanwhile
        return str(file.readlink()).startswith("socket:")
    return False


def assert_survived(faults: Faults) -> None:
    """Nothing is missing, doubled or acknowledged too early."""
    assert faults.early == [], faults
    assert_stored(faults)
