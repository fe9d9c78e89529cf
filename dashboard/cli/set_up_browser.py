"""Serves set-up to a browser on this computer until the file is written, or Ctrl-C."""

from __future__ import annotations

import socket

import uvicorn

from collector.first_run.session import SetUp
from dashboard.cli.processes import must_be_free
from dashboard.first_run_app import create_set_up_app
from dashboard.one_time_code import OneTimeCode

HOST = "127.0.0.1"


def in_a_browser(session: SetUp) -> bool:
    """True once the settings are written; False if it was left. Raises CommandError if the port is taken."""
    must_be_free(HOST, session.port, "name another with --port")
    done: list[bool] = []
    shown: list[str] = []
    address = f"http://{HOST}:{session.port}"

    def show(code: str) -> None:
        first = f"Open {address}/#{code}\n  or {address} and give it the code {code}, which counts once."
        print(f"The code for another browser: {code}" if shown else first, flush=True)
        shown.append(code)

    def written() -> None:
        done.append(True)
        server.should_exit = True

    door = socket.create_server(
        (HOST, session.port)
    )  # before its address is shown: whoever is fast waits, no more
    app = create_set_up_app(session, OneTimeCode(show), session.port, written)
    tunnel = f"ssh -L {session.port}:{HOST}:{session.port} NAME@THIS-COMPUTER"
    print(
        f"From another computer, first: {tunnel}",
        "Ctrl-C leaves; every answer is kept.",
        sep="\n",
        flush=True,
    )
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            host=HOST,
            port=session.port,
            log_level="warning",
            server_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=2,
        )
    )
    try:
        server.run(sockets=[door])
    finally:
        door.close()
    return bool(done)
