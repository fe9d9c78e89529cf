"""Serves an application on a loopback port in a thread of its own, and can take it away in the middle."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable

import uvicorn
from fastapi import FastAPI

from dashboard.door.wire import config_for
from dashboard.serving import Server

DEADLINE_S = 30.0


def free_port() -> int:
    """A port of 127.0.0.1 that nobody uses now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def until(so: Callable[[], bool], what: str, deadline_s: float = DEADLINE_S) -> None:
    """Waits until `so()`; AssertionError after the deadline."""
    end = time.monotonic() + deadline_s
    while not so():
        assert time.monotonic() < end, f"not within {deadline_s} s: {what}"
        threading.Event().wait(0.02)


class Served:
    """One running server."""

    def __init__(self, app: FastAPI, port: int, **more: object) -> None:
        config = config_for(
            app, "127.0.0.1", port, **{"log_level": "error", "timeout_graceful_shutdown": 1, **more}
        )
        self._server = Server(app, config) if hasattr(app.state, "changes") else uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self.url = f"http://127.0.0.1:{port}"
        self._thread.start()
        until(lambda: self._server.started, "the server starts")

    def stop(self) -> None:
        """Takes the server away; open connections are cut."""
        self._server.should_exit = True
        self._thread.join(DEADLINE_S)
        assert not self._thread.is_alive(), "the server did not stop"
