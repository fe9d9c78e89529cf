"""A browser's requests to an application in this process, without a port."""

from __future__ import annotations

import itertools
from typing import Any

import anyio
import httpx
from fastapi import FastAPI

HOST = "127.0.0.1:8137"
ORIGIN = f"http://{HOST}"
_numbers = itertools.count(1)


def new_id() -> str:
    """An event id as a page would make it."""
    return f"tap-{next(_numbers):08d}"


class Client:
    """GET and same-origin JSON POST; each answer is complete."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self.send("GET", path, headers)

    def post(self, path: str, body: Any) -> httpx.Response:
        """As a page of this shop posts it."""
        return self.send("POST", path, {"origin": ORIGIN, "sec-fetch-site": "same-origin"}, json=body)

    def send(
        self, method: str, path: str, headers: dict[str, str] | None = None, **more: Any
    ) -> httpx.Response:
        async def once() -> httpx.Response:
            transport = httpx.ASGITransport(self._app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url=ORIGIN) as client:
                return await client.request(method, path, headers=headers, **more)

        return anyio.run(once)
