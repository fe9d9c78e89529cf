"""The web server: uvicorn, which also ends the streams of open pages before it waits for its connections."""

from __future__ import annotations

import socket

import uvicorn
from fastapi import FastAPI


class Server(uvicorn.Server):
    """Serves an application of dashboard.app. Without this, streams would hold up every end for its whole grace."""

    def __init__(self, app: FastAPI, config: uvicorn.Config) -> None:
        super().__init__(config)
        self._changes = app.state.changes

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._changes.close()
        await super().shutdown(sockets)
