"""What the pages show, as JSON: sentences for people, numbers in SI and UTC ms beside them."""

from __future__ import annotations

import dataclasses
from dataclasses import replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import JSONResponse

from collector.store.schema import NotYet
from dashboard import strips, trace
from dashboard.assessment import Assessment
from dashboard.chart_answer import in_blocks
from dashboard.chart_data import ChartData
from dashboard.chart_layout import Did, window
from dashboard.desk import Desk
from dashboard.display import MINUTE, UNITS, View
from dashboard.door.visitor import asking
from dashboard.entries import rail
from dashboard.figures import figure
from dashboard.pages.more import probe_lines
from dashboard.pages.panels import find
from dashboard.panel import Panel
from dashboard.round_sheet import sheet_of
from dashboard.words import CAUTIONS, LABELS

WATCH_LATE_MS = 3 * 60_000
"""watch works every open panel out once a minute; three times that and it is not there."""


def router(desk: Desk) -> APIRouter:
    """GET /api/round, panels, panels/{id}, panels/{id}/chart, events, probes, health."""
    routes = APIRouter(prefix="/api")

    @routes.get("/health")
    def health() -> JSONResponse:
        """Serve answers; whether watch does is told by the age of what it worked out, UTC ms.

        `recording`: what keeps readings from being stored, in words; empty if nothing does. `not_sent_on`: why they
        are not sent on to a time-series server just now; empty if they are, or if none is named.
        Whoever is not signed in is told that serve answers, and nothing else.
        """
        if not asking().known:
            return JSONResponse({"serve": "running"})
        recording = [item.text for item in desk.shop.troubles()]
        return JSONResponse(_health(desk) | {"recording": recording, "not_sent_on": desk.shop.not_sent_on()})

    @routes.get("/round")
    def round_(request: Request, zone: str | None = None) -> Response:
        """Of all zones or of one. Of each strip `paper_until`: UTC ms until which a printed line is gone by."""
        view = desk.view()
        return desk.json(request, _round(desk, view, zone), view)

    @routes.get("/panels")
    def panels(request: Request) -> Response:
        found = [dataclasses.asdict(panel) for panel in desk.panels().values()]
        return desk.json(request, {"panels": found}, desk.view())

    @routes.get("/panels/{panel_id}")
    def one_panel(request: Request, panel_id: str) -> Response:
        panel, view = find(desk, panel_id), desk.view()
        item, started = desk.assessment(panel_id)
        strip = strips.strip(panel, item, view, started)
        body: dict[str, Any] = {"panel": dataclasses.asdict(panel), "strip": dataclasses.asdict(strip)}
        return desk.json(request, body | {"assessment": _numbers(item) if item else None}, view)

    @routes.get("/panels/{panel_id}/chart")
    def chart(request: Request, panel_id: str, have: str = "") -> Response:
        """Plotly's figure in blocks of time; `have`: names of blocks, with commas between, that need not be sent."""
        panel, view = find(desk, panel_id), desk.view()
        item, _ = desk.assessment(panel_id)
        logs = desk.probe_logs()
        data = desk.chart(panel, item, logs)
        if item is None or data is None:
            raise HTTPException(404, LABELS["no_coat_chart"])
        body = _chart(desk, panel, item, data, rail(panel, logs), view, have.split(","))
        return desk.json(request, body, view)

    @routes.get("/events")
    def events(request: Request, panel: str | None = None) -> Response:
        found = [dataclasses.asdict(event) for event in desk.shop.logbook.events(panel)]
        return desk.json(request, {"events": found}, desk.view())

    @routes.get("/probes")
    def probes(request: Request) -> Response:
        view = desk.view()
        return desk.json(request, _probes(desk, view), view)

    return routes


def _probes(desk: Desk, view: View) -> dict[str, Any]:
    heard = desk.shop.heard()
    return {
        "probes": [dataclasses.asdict(line) for line in probe_lines(heard, desk.probe_logs(), view)],
        "refused": [dataclasses.asdict(item) for item in heard.refused],
        "rivals": heard.rivals,
        "missing": [dataclasses.asdict(item) for item in heard.missing],
        "unclaimed": [dataclasses.asdict(item) for item in heard.unclaimed],
        "sites": [dataclasses.asdict(item) for item in heard.sites],
        "all_held": heard.all_held,
    }


def _round(desk: Desk, view: View, zone: str | None) -> dict[str, Any]:
    sheet = sheet_of(desk.panels(), desk.latest(), view, zone)
    until, found = {line.strip.panel: line.until for line in sheet.lines}, strips.folded(sheet.round)
    return {
        "site": desk.shop.site,
        "invented": desk.shop.invented,
        "known": found.known,
        "readings_to": found.readings_to,
        "worked_out": found.worked_out,
        "zone": zone,
        "zones": found.zones,
        "strips": [dataclasses.asdict(item) | {"paper_until": until[item.panel]} for item in found.strips],
    }


def _chart(
    desk: Desk,
    panel: Panel,
    item: Assessment,
    data: ChartData,
    done: list[Did],
    view: View,
    have: list[str],
) -> dict[str, Any]:
    """The figure and the cursor's sentences; a stale answer is drawn as it was when it was worked out.

    The now line moves once a minute, so that a page has nothing to draw anew in between.
    """
    minute = max(item.at, view.now // MINUTE * MINUTE)
    view = view if item.is_old(view.now) else replace(view, now=minute)
    drawn_at = item.at if item.is_old(view.now) else minute
    start, end = window(data, drawn_at, item.is_old(view.now))
    rows = [row for row in trace.rows(item, data, view) if start <= row.at <= end]
    figure_ = figure(item, data, done, view)
    sent = in_blocks(figure_, rows, data.step_ms, have)
    return {"drawn_at": drawn_at, "picture": _picture(desk, panel, drawn_at, view), **sent}


def _picture(desk: Desk, panel: Panel, drawn_at: int, view: View) -> dict[str, Any]:
    """What stands around the chart when it is saved as a file: whose it is, of when, and what it is not."""
    day, at = view.day(drawn_at), f"{datetime.fromtimestamp(drawn_at / 1000, view.zone):%H:%M}"
    title = LABELS["picture_title"].format(title=strips.title(panel), day=day, at=at, zone=view.zone.key)
    lines = LABELS["picture_lines"].format(unit=UNITS[view.unit])
    invented = [LABELS["invented"]] if desk.shop.invented else []
    below = [lines, LABELS["picture_cure"], *invented, CAUTIONS["estimate"]]
    return {"title": title, "below": below, "name": f"{panel.id}-{view.day_field(drawn_at)}.png"}


def _health(desk: Desk) -> dict[str, Any]:
    """A process that has ended or was stopped is told at once; a watch that is there and does nothing by its answers,
    of which only the age tells whether it lives."""
    now = desk.shop.clock.now()
    processes = desk.shop.processes()
    body: dict[str, Any] = {"serve": "running", "collect": processes.get("collect", "not known"), "now": now}
    try:
        worked_out = desk.shop.watched.worked_out()
    except NotYet as reason:
        return body | {"watch": str(reason), "worked_out": None}
    if processes.get("watch", "running") != "running":
        watch: str = processes["watch"]
    elif worked_out is None:
        watch = "nothing worked out yet"
    else:
        watch = "running" if now - worked_out <= WATCH_LATE_MS else "silent"
    return body | {"watch": watch, "worked_out": worked_out}


def _numbers(item: Assessment) -> dict[str, Any]:
    """An assessment without its curve, which the chart has."""
    body = dataclasses.asdict(dataclasses.replace(item, curve=None))
    body["verdict"]["flags"] = sorted(str(flag) for flag in item.verdict.flags)
    return body
