"""serve's application: pages, API and static files behind the guard, with one shape of error."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from urllib.parse import urlsplit

import apsw
from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from collector.clock import Clock
from collector.reading import ProbeFacts
from collector.store.reads import Where
from collector.store.schema import MAY_PASS, StoreError
from collector.store.trouble import kind_of, read
from dashboard import security
from dashboard.alive import Doing, all_doing
from dashboard.api import alarms as api_alarms
from dashboard.api import changes as api_changes
from dashboard.api import decide as api_decide
from dashboard.api import door as api_door
from dashboard.api import labels as api_labels
from dashboard.api import logging as api_logging
from dashboard.api import mix as api_mix
from dashboard.api import photos as api_photos
from dashboard.api import probes as api_probes
from dashboard.api import reading as api_reading
from dashboard.api import record as api_record
from dashboard.api import tonight as api_tonight
from dashboard.changes import Changes, look_of
from dashboard.decided import Decisions
from dashboard.described import describe
from dashboard.desk import Desk
from dashboard.door.door import Door
from dashboard.door.doorway import Doorway
from dashboard.door.least import methods_at
from dashboard.door.limits import Limits
from dashboard.door.visitor import DoorError
from dashboard.forecast_file import ForecastFile
from dashboard.heads import Heads
from dashboard.live import CardOf, Live, no_card, nobody
from dashboard.notice_store import NoticeReader
from dashboard.pages import acts, decide, more, panels, thumb
from dashboard.pages import alarms as alarm_pages
from dashboard.pages import door as door_pages
from dashboard.pages import help as help_routes
from dashboard.pages import kept as kept_page
from dashboard.pages import labels as label_pages
from dashboard.pages import mix as mix_pages
from dashboard.pages import pot as pot_page
from dashboard.pages import probes as probe_pages
from dashboard.pages import record as record_page
from dashboard.pages import round as round_page
from dashboard.pages import shop as shop_pages
from dashboard.pages import tonight as tonight_pages
from dashboard.ports import Logbook, Shop, Watched
from dashboard.probes import Heard, hearing, nothing, series
from dashboard.record.gather import Archive
from dashboard.roll_ups import RollUps
from dashboard.shop_settings import ShopSettings
from dashboard.static_files import StaticFiles
from dashboard.step_check import LogbookError
from dashboard.watch_store import WATCH

log = logging.getLogger("coldshed.serve")
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")


def create_app(
    watched: Watched,
    logbook: Logbook,
    probes: Callable[[], list[ProbeFacts]],
    cards: Callable[[], list[str]],
    clock: Clock,
    site: str,
    time_zone: str,
    invented: bool = False,
    allowed_hosts: Iterable[str] = LOOPBACK,
    port: int = 8137,
    readings: Where | None = None,
    card_facts: Callable[[], Mapping[str, tuple[float, float]]] = dict,
    card: CardOf = no_card,
    leave_minute: int = 22 * 60,
    forecast: ForecastFile | None = None,
    public_url: str | None = None,
    card_text: Callable[[str], str | None] = no_card,
    decisions: Decisions | None = None,
    told: tuple[str, ...] = (),
    notices: Path | None = None,
    door: Door | None = None,
    numbers: bool = False,
    settings: ShopSettings | None = None,
    data: Path | None = None,
    not_sent_on: Callable[[], str] = str,
) -> FastAPI:
    """Wires the pages to the stores. `allowed_hosts`: names a request may call us by, with or without a port.

    readings   where they are: the path of readings.db, or a server
    data       the folder that watch writes to; None: that of readings.db
    card_facts by a card's id the least and the greatest temperature it covers, degC
    card       a card by its id
    leave_minute   when the last person leaves, minutes since the shop's midnight
    forecast   the shop's forecast file, if it has one
    public_url what a phone calls us by: labels lead there, and requests under that name are answered
    card_text  the text of a card by its id, for records
    decisions  what keeps the answers that people decided by
    told       names of those who are told of alarms away from the pages; notices: path of notices.db
    door       who may come in; None: whoever can reach it. numbers: it may be called by any IP address
    settings   what the page Settings tells of the settings file
    not_sent_on  why readings are not sent on to a server just now; empty if they are
    """
    shop = Shop(
        watched=watched,
        logbook=logbook,
        probes=probes,
        heard=hearing(readings) if readings else Heard,
        series=series(readings) if readings else nothing,
        cards=cards,
        card_facts=card_facts,
        clock=clock,
        site=site,
        time_zone=time_zone,
        invented=invented,
        troubles=(lambda: read(readings)) if isinstance(readings, Path) else list,
        not_sent_on=not_sent_on,
        processes=(lambda: processes(readings, notices, data)) if readings else dict,
        facts=Live(readings, logbook, card, forecast).facts if readings else nobody,
        card=card,
        leave_minute=leave_minute,
        public_url=public_url,
        archive=Archive(readings, logbook, card_text, watched.said, site, time_zone) if readings else None,
        decisions=decisions,
        told=told,
        notices=NoticeReader(notices) if notices else None,
        lines=RollUps(readings).of if readings else None,
        settings=settings,
        has_sites=readings is not None and not isinstance(readings, Path),
    )
    files = StaticFiles()
    desk = Desk(shop, files, door is not None)
    app = FastAPI(title="coldshed", docs_url=None, redoc_url=None, openapi_url=None)
    app.state.changes = Changes(look_of(shop, readings, door.version if door else lambda: None), clock)
    for router in (*_routers(desk, files), api_changes.router(app.state.changes)):
        app.include_router(router)
    _errors(app, desk)
    describe(app)
    app.add_middleware(Heads)
    app.add_middleware(Limits)
    if door is not None:
        _lock(app, desk, door)
    _guard(app, allowed_hosts, port, public_url, numbers)
    return app


def _routers(desk: Desk, files: StaticFiles) -> tuple[APIRouter, ...]:
    """Every page and every way of the API; the door's own and the stream of changes apart.

    They are looked through one by one: what is asked most stands first.
    """
    return (
        round_page.router(desk),
        api_reading.router(desk),
        files.router(),
        panels.router(desk),
        mix_pages.router(desk),
        pot_page.router(desk),
        thumb.router(desk),
        acts.router(desk),
        tonight_pages.router(desk),
        more.router(desk),
        alarm_pages.router(desk),
        help_routes.router(desk),
        shop_pages.router(desk),
        probe_pages.router(desk),
        label_pages.router(desk),
        api_tonight.router(desk),
        api_logging.router(desk),
        api_photos.router(desk),
        api_probes.router(desk),
        api_labels.router(desk),
        record_page.router(desk),
        api_record.router(desk),
        api_mix.router(desk),
        decide.router(desk),
        api_decide.router(desk),
        api_alarms.router(desk),
        kept_page.router(desk, files),
    )


def _lock(app: FastAPI, desk: Desk, door: Door) -> None:
    """Whoever comes has to be let in, and may do what the account or token may."""
    for router in (
        door_pages.router(desk, door),
        api_door.router(door),
        api_door.me_router(door),
        api_door.keys_router(door),
    ):
        app.include_router(router)
    app.add_middleware(Doorway, door=door)


def _guard(
    app: FastAPI, allowed_hosts: Iterable[str], port: int, public_url: str | None, numbers: bool
) -> None:
    """Only requests that call us by one of our names come further; a public https address is reached over TLS."""
    url = urlsplit(public_url) if public_url else None
    app.add_middleware(
        security.Guard,
        hosts=(*allowed_hosts, *([url.netloc] if url else [])),
        port=port,
        numbers=numbers,
        tls=url.netloc if url and url.scheme == "https" else None,
        methods=methods_at,
    )


def processes(readings: Where, notices: Path | None = None, data: Path | None = None) -> dict[str, Doing]:
    """What the other processes do, by their files; collect only where it stores, notify only where somebody is told.

    data   the folder that watch writes to; None: that of readings.db
    """
    files: dict[str, Path] = {}
    if isinstance(readings, Path):
        files["collect"] = readings
        data = data or readings.parent
    if data is not None:
        files["watch"] = data / WATCH.name
    return all_doing(files if notices is None else files | {"notify": notices})


def _errors(app: FastAPI, desk: Desk) -> None:
    """Every error says what happened and what to do; none shows its insides."""

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: HTTPException) -> Response:
        if error.status_code == 404 and not request.url.path.startswith(("/api/", "/static/")):
            said = getattr(request.state, "door_says", None)
            page = desk.page(request, "missing.html", desk.view(), tab="", what=said or _missing(error))
            page.status_code = 403 if said else 404
            return page
        if error.status_code == 405:
            return security.not_used(request.method, methods_at(request.url.path))
        return security.problem(error.status_code, str(error.detail), "Go back to the round.")

    @app.exception_handler(RequestValidationError)
    def not_valid(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"] if part != "body") or "the entry"
        return security.problem(422, f"{where}: {first['msg']}", "Correct it and send it again.")

    @app.exception_handler(DoorError)
    def not_at_the_door(request: Request, error: DoorError) -> Response:
        return security.problem(409, str(error), "Nothing was changed. Correct it and tap again.")

    @app.exception_handler(api_door.Refusal)
    def refused_at_the_door(request: Request, error: api_door.Refusal) -> Response:
        return error.answer

    @app.exception_handler(LogbookError)
    def makes_no_sense(request: Request, error: LogbookError) -> Response:
        return security.problem(409, str(error), "Nothing was logged. Correct it and tap again.")

    @app.exception_handler(StoreError)
    def not_readable(request: Request, error: StoreError) -> Response:
        log.warning("store: %s", error)
        return security.problem(503, str(error), "Wait a minute and open the page again.")

    @app.exception_handler(apsw.Error)
    def not_stored(request: Request, error: apsw.Error) -> Response:
        if not isinstance(error, MAY_PASS):
            return broken(request, error)
        log.warning("%s %s: %s", request.method, request.url.path, error)
        return security.problem(
            503, f"Nothing was logged: {kind_of(error).value}.", "Mend that, then tap again."
        )

    @app.exception_handler(Exception)
    def broken(request: Request, error: Exception) -> Response:
        log.error("%s %s failed", request.method, request.url.path, exc_info=error)
        return security.outside(
            security.problem(
                500, "This page failed; its log says why.", "Go back to the round; test with thumb."
            )
        )


def _missing(error: HTTPException) -> str:
    return str(error.detail) if error.detail != "Not Found" else "There is no such page."
