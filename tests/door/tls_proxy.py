"""A small proxy with TLS, of the kind that a shop may put before serve: one request for each connection."""

from __future__ import annotations

import socket
import ssl
import threading
from pathlib import Path
from types import TracebackType

from tests.browser.serving import DEADLINE_S, free_port


class TlsProxy:
    """Passes on the host name, and adds whose request it is to X-Forwarded-For, as help/door.md asks of a proxy."""

    def __init__(self, certificate: tuple[Path, Path], behind: int) -> None:
        self.port = free_port()
        self._behind = behind
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(*certificate)
        self._context = context
        self._listens = socket.create_server(("127.0.0.1", self.port))
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> TlsProxy:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        self._listens.shutdown(socket.SHUT_RDWR)
        self._listens.close()
        self._thread.join(DEADLINE_S)

    def _run(self) -> None:
        while True:
            try:
                plain, peer = self._listens.accept()
            except OSError:  # it was closed
                return
            with plain:
                plain.settimeout(DEADLINE_S)
                try:
                    with self._context.wrap_socket(plain, server_side=True) as secure:
                        self._answer(secure, peer[0])
                except OSError:  # no TLS, or an older one than allowed: the client is told by its own library
                    continue

    def _answer(self, secure: ssl.SSLSocket, peer: str) -> None:
        head = b""
        while b"\r\n\r\n" not in head:
            part = secure.recv(65536)
            if not part:
                return
            head += part
        head, _, body = head.partition(b"\r\n\r\n")
        lines = head.split(b"\r\n")
        forwarded = [
            line.partition(b":")[2].strip() for line in lines if line.lower().startswith(b"x-forwarded-for:")
        ]
        kept = [line for line in lines if not line.lower().startswith((b"x-forwarded-for:", b"connection:"))]
        told = b", ".join([*forwarded, peer.encode()])
        length = next((int(line[15:]) for line in lines if line.lower().startswith(b"content-length:")), 0)
        while len(body) < length:
            body += secure.recv(65536)
        with socket.create_connection(("127.0.0.1", self._behind), DEADLINE_S) as inner:
            more = [b"X-Forwarded-For: " + told, b"Connection: close"]
            inner.sendall(b"\r\n".join([*kept, *more]) + b"\r\n\r\n" + body)
            while part := inner.recv(65536):
                secure.sendall(part)
