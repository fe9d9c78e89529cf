"""Set-up in a browser: the shop, what sends readings, which probe is which, and the file. Behind a one-time code."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Annotated, Any, Literal, Protocol

from fastapi import APIRouter, Body, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from jinja2 import Environment
from starlette.background import BackgroundTask

from collector.first_run.facts import CannotSetUp, Device, Port, Told, Way, in_hand
from dashboard import first_run_view as views
from dashboard.one_time_code import OneTimeCode
from dashboard.words import LABELS

COOKIE = "coldshed-set-up"
STEPS = ("shop", "ways", "probes", "write")
ONE_LINE = r"^[^\x00-\x1f\x7f]*$"
Text = Annotated[str, Body(embed=True, max_length=400)]
Said = Annotated[str, Body(max_length=400, pattern=ONE_LINE)]
"""Becomes a path, a host's name or a line of a file, none of which holds a control character."""


class Session(Protocol):
    """What the pages ask of collector.first_run.session.SetUp."""

    def ports(self) -> list[Port]: ...
    def one_wire(self) -> bool: ...
    def ways(self) -> list[Way]: ...
    def devices(self) -> list[Device]: ...
    def device(self, key: str) -> Device: ...
    def told(self) -> Told: ...
    def said_before(self, device: Device, key: str) -> str: ...
    def interval(self, device: Device) -> float: ...
    def missing(self) -> list[Literal["name", "way", "probe"]]: ...
    def name(self, site: str, time_zone: str) -> None: ...
    def listen_serial(self, port: str, baud: int = ...) -> str: ...
    def listen_one_wire(self) -> str: ...
    def look_into(self, folder: str) -> str: ...
    def listen_broker(
        self, host: str, port: int, user: str, password: str, ca_file: str, topic: str
    ) -> str: ...
    def forget(self, way: str) -> None: ...
    def mean(self, device: Device, key: str, quantity: str, unit: str) -> None: ...
    def leave_out(self, device: Device, key: str) -> None: ...
    def assign(self, device: Device, id: str, zone: str, place: str, interval_s: float) -> None: ...
    def pass_over(self, device: Device) -> None: ...
    def text(self) -> str: ...
    def write(self) -> object: ...


class Pages:
    """Renders the steps. One request at a time looks at the session or changes it."""

    def __init__(
        self, session: Session, code: OneTimeCode, templates: Environment, written: Callable[[], None]
    ) -> None:
        self.session, self.code, self.written = session, code, written
        self.lock = threading.Lock()
        self._templates = templates

    def admitted(self, request: Request) -> bool:
        return self.code.admits(request.cookies.get(COOKIE))

    def page(self, step: str, **values: Any) -> Response:
        text = self._templates.get_template(f"set_up_{step}.html").render(step=step, steps=STEPS, **values)
        return HTMLResponse(text, headers={"Cache-Control": "no-store"})

    def do(self, act: Callable[[], object], then: str) -> Response:
        """Does what was asked; answers with where to go on, or says what is wrong."""
        try:
            with self.lock:
                act()
        except CannotSetUp as error:
            text = str(error)
            end = "" if text.endswith(("?", ".")) else "."
            return JSONResponse({"wrong": text[:1].upper() + text[1:] + end}, status_code=409)
        except OSError as error:
            told = f"{error.filename or 'The answer'}: cannot be written ({error.strerror}). Make room, then try again."
            return JSONResponse({"wrong": told}, status_code=503)
        return JSONResponse({"then": then})


def router(pages: Pages) -> APIRouter:
    """GET / and the steps; POST /api/set-up/… for each act."""
    routes = APIRouter()
    _steps(routes, pages)
    _acts(routes, pages)
    _probe_acts(routes, pages)
    return routes


def _steps(routes: APIRouter, pages: Pages) -> None:
    session = pages.session

    @routes.get("/")
    def where_it_was_left(request: Request) -> Response:
        if not pages.admitted(request):
            return pages.page("code")
        missing = session.missing()
        step = {"name": "shop", "way": "ways"}.get(missing[0] if missing else "", "probes")
        return RedirectResponse(f"/set-up/{step}", 303)

    @routes.get("/set-up/{step}")
    def one_step(
        request: Request, step: Literal["shop", "ways", "probes", "write", "probe"], device: str = ""
    ) -> Response:
        if not pages.admitted(request):
            return RedirectResponse("/", 303)
        with pages.lock:
            if step == "probe":
                found = next((one for one in session.devices() if one.key == device), None)
                return (
                    pages.page(step, **_probe(session, found))
                    if found
                    else RedirectResponse("/set-up/probes", 303)
                )
            return pages.page(step, **_VALUES[step](session))


def _acts(routes: APIRouter, pages: Pages) -> None:
    session = pages.session

    @routes.post("/api/set-up/enter")
    def enter(code: Text) -> Response:
        key = pages.code.use(code)
        if key is None:
            return JSONResponse({"wrong": LABELS["su_code_wrong"]}, status_code=403)
        answer = JSONResponse({"then": "/"})
        answer.set_cookie(COOKIE, key, httponly=True, samesite="strict")
        return answer

    @routes.post("/api/set-up/name")
    def name(site: Text, time_zone: Text) -> Response:
        return pages.do(lambda: session.name(site, time_zone), "/set-up/ways")

    @routes.post("/api/set-up/listen")
    def listen(
        kind: Annotated[Literal["serial", "mqtt", "one_wire", "folder"], Body()],
        port: Said = "", baud: Annotated[int, Body()] = 115200,
        host: Said = "", user: Said = "", password: Said = "", ca_file: Said = "", topic: Said = "#",
        folder: Said = "",
    ) -> Response:  # fmt: skip
        def act() -> None:
            match kind:
                case "serial":
                    session.listen_serial(port, baud)
                case "mqtt":
                    session.listen_broker(host, _port(port), user, password, ca_file, topic)
                case "one_wire":
                    session.listen_one_wire()
                case "folder":
                    session.look_into(folder)

        return pages.do(act, "/set-up/ways")

    @routes.post("/api/set-up/forget")
    def forget(way: Text) -> Response:
        return pages.do(lambda: session.forget(way), "/set-up/ways")

    @routes.post("/api/set-up/write")
    def write() -> Response:
        answer = pages.do(session.write, "/")
        if answer.status_code == 200:
            answer.background = BackgroundTask(pages.written)
        return answer


def _probe_acts(routes: APIRouter, pages: Pages) -> None:
    session = pages.session

    @routes.post("/api/set-up/assign")
    def assign(
        device: Annotated[str, Body()], id: Annotated[str, Body()], zone: Annotated[str, Body()],
        place: Annotated[str, Body()], interval_s: Annotated[float, Body()],
        meanings: Annotated[dict[str, str], Body()],
    ) -> Response:  # fmt: skip
        def act() -> None:
            for key, said in meanings.items():
                here = session.device(device)
                if said:
                    session.mean(here, key, *said.split(" ", 1))
                else:
                    session.leave_out(here, key)
            session.assign(session.device(device), id, zone, place, interval_s)

        return pages.do(act, "/set-up/probes")

    @routes.post("/api/set-up/pass-over")
    def pass_over(device: Text) -> Response:
        return pages.do(lambda: session.pass_over(session.device(device)), "/set-up/probes")


def _port(said: str) -> int:
    if said.isdigit() and 1 <= int(said) <= 65535:
        return int(said)
    raise CannotSetUp(
        f"port {said!r}: a number from 1 to 65535; most brokers listen at 1883, with TLS at 8883"
    )


def _shop(session: Session) -> dict[str, Any]:
    return {"told": session.told()}


def _ways(session: Session) -> dict[str, Any]:
    ways = session.ways()
    return {
        "ways": [(way, views.way_state(way)) for way in ways],
        "ports": session.ports(),
        "one_wire": session.one_wire(),
    }


def _probes(session: Session) -> dict[str, Any]:
    devices = session.devices()
    heard = {device.key for device in devices}
    return {
        "devices": [(device, views.values_text(device), views.whose(device)) for device in devices],
        "silent": [probe for probe in session.told().probes if probe.device not in heard],
        "named": bool(session.told().probes),
        "places": views.PLACES,
        "in_hand": in_hand(devices),
        "apart": views.apart_text(devices),
        "ways": [(way, views.way_state(way)) for way in session.ways() if not way.heard],
    }


def _probe(session: Session, device: Device) -> dict[str, Any]:
    told = session.told()
    taken = [probe.id for probe in told.probes if probe.device != device.key]
    zones = list(dict.fromkeys(probe.zone for probe in told.probes)) or ["shed"]
    asked = [
        (value, *views.chosen(value, session.said_before(device, value.key)))
        for value in device.values
        if value.key
    ]
    id, zone, place = device.probe or (views.id_for(device, taken), zones[-1], views.place_for(device))
    return {
        "device": device,
        "text": views.values_text(device),
        "asked": [one for one in asked if not one[0].left_out],
        "also": [one for one in asked if one[0].left_out],
        "also_text": views.left_out_text(device),
        "id": id,
        "zone": zone,
        "zones": zones,
        "place": place,
        "places": views.PLACES,
        "interval": f"{session.interval(device):g}",
        "rises": in_hand(session.devices()) == device.key,
    }


def _write(session: Session) -> dict[str, Any]:
    missing = session.missing()
    return {
        "told": session.told(),
        "places": views.PLACES,
        "missing": missing,
        "text": "" if missing else session.text(),
    }


_VALUES: dict[str, Callable[[Session], dict[str, Any]]] = {
    "shop": _shop, "ways": _ways, "probes": _probes, "write": _write
}  # fmt: skip
