"""A client that costs next to nothing, so that it is the server that is measured; servers in their own processes."""

from __future__ import annotations

import contextlib
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass

from tests.services import free_port, wait_until

LENGTH = re.compile(rb"\r\ncontent-length: *(\d+)", re.IGNORECASE)


@dataclass(frozen=True)
class Head:
    """What an answer says of itself."""

    status: int
    raw: bytes


class Connection:
    """To a shop's server; stays open, as a browser's does, or is opened again; one request at a time."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._socket = self._opened()

    def _opened(self) -> socket.socket:
        opened = socket.create_connection(("127.0.0.1", self._port), 60)
        opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return opened

    def get(self, path: str, **headers: str) -> tuple[bytes, Head]:
        """The answer, packed where it can be. Raises ConnectionError if the server hangs up."""
        headers = {"accept_encoding": "gzip"} | headers
        more = "".join(f"{name.replace('_', '-')}: {value}\r\n" for name, value in headers.items())
        asked = f"GET {path} HTTP/1.1\r\nhost: 127.0.0.1:{self._port}\r\n{more}\r\n".encode()
        try:
            return self._answer(asked)
        except (
            ConnectionError
        ):  # the server ends a connection that was idle for seconds, as on a busy machine
            self._socket.close()
            self._socket = self._opened()
            return self._answer(asked)

    def _answer(self, asked: bytes) -> tuple[bytes, Head]:
        self._socket.sendall(asked)
        data = b""
        while b"\r\n\r\n" not in data:
            data += self._more()
        head, _, body = data.partition(b"\r\n\r\n")
        status = int(head[9:12])
        said = LENGTH.search(head)
        if said is None and status != 304:
            raise ValueError(f"an answer does not say how long it is: {head[:200]!r}")
        length = int(said[1]) if said and status != 304 else 0
        while len(body) < length:
            body += self._more()
        return body, Head(status, head)

    def close(self) -> None:
        self._socket.close()

    def _more(self) -> bytes:
        data = self._socket.recv(262_144)
        if not data:
            raise ConnectionError("the server hung up")
        return data


@contextlib.contextmanager
def server(module: str, *arguments: str, path: str = "/") -> Iterator[tuple[int, int]]:
    """Port and process id of `python -m module *arguments PORT`, once it answers."""
    port = free_port()
    process = subprocess.Popen([sys.executable, "-P", "-m", module, *arguments, str(port)])

    def answers() -> bool:
        with contextlib.suppress(OSError), contextlib.closing(Connection(port)) as connection:
            return connection.get(path)[1].status == 200
        return False

    try:
        wait_until(answers, f"{module} answers", 120)
        yield port, process.pid
    finally:
        process.terminate()
        process.wait(30)
