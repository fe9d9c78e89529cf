"""The application that serves set-up: the house's style, headers and guard, but none of its stores."""

from __future__ import annotations

import logging
from collections.abc import Callable

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from jinja2 import Environment, PackageLoader, StrictUndefined

from dashboard import security, words
from dashboard.door.limits import Limits
from dashboard.heads import Heads
from dashboard.one_time_code import OneTimeCode
from dashboard.pages.first_run import Pages, Session, router
from dashboard.static_files import StaticFiles

log = logging.getLogger("coldshed.set-up")
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")


def create_set_up_app(session: Session, code: OneTimeCode, port: int, written: Callable[[], None]) -> FastAPI:
    """`written` is called once the settings are written and that has been answered. Loopback names only."""
    files = StaticFiles()
    templates = Environment(
        loader=PackageLoader("dashboard"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    templates.globals.update(t=words.LABELS, v=files.version)
    pages = Pages(session, code, templates, written)
    app = FastAPI(title="coldshed", docs_url=None, redoc_url=None, openapi_url=None)

    @app.middleware("http")
    async def who_was_let_in(request: Request, call_next: Callable[[Request], object]) -> Response:
        """No act without the code: one place for all of them."""
        path = request.url.path
        if path.startswith("/api/") and path != "/api/set-up/enter" and not pages.admitted(request):
            return JSONResponse({"wrong": words.LABELS["su_code_wrong"]}, status_code=403)
        return await call_next(request)  # type: ignore[misc, no-any-return]  # starlette's own type is private

    @app.exception_handler(RequestValidationError)
    def not_valid(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"] if part != "body")
        return JSONResponse({"wrong": f"{where}: {first['msg']}."}, status_code=422)

    @app.exception_handler(Exception)
    def broken(request: Request, error: Exception) -> Response:
        log.error("%s %s failed", request.method, request.url.path, exc_info=error)
        return security.outside(JSONResponse({"wrong": words.LABELS["su_failed"]}, status_code=500))

    app.include_router(router(pages))
    app.include_router(files.router())
    app.add_middleware(Heads)
    app.add_middleware(Limits)
    app.add_middleware(security.Guard, hosts=LOOPBACK, port=port)
    return app
