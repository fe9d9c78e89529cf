"""The peers of the pages: python -P -m tests.bench.bare_server PORT.

/bytes/N by a bare ASGI app, / by an empty route of FastAPI, both under uvicorn and h11 as the shop's server.
"""

from __future__ import annotations

import os
import sys
from typing import Any

import uvicorn
from fastapi import FastAPI

routes = FastAPI()
BODY = os.urandom(1_000_000)


@routes.get("/")
async def nothing() -> dict[str, str]:
    return {}


async def app(scope: Any, receive: Any, send: Any) -> None:
    if scope["type"] != "http" or not scope["path"].startswith("/bytes/"):
        await routes(scope, receive, send)
        return
    body = BODY[: int(scope["path"].rpartition("/")[2])]
    headers = [(b"content-length", str(len(body)).encode()), (b"content-type", b"application/octet-stream")]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": body})


if __name__ == "__main__":
    uvicorn.run(
        app,
        host="127.0.0.1",
        port=int(sys.argv[1]),
        http="h11",
        loop="asyncio",
        log_level="error",
        access_log=False,
    )
