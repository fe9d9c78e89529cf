"""What all pages and the API share: one look at the stores, the viewer's view, how an answer is sent."""

from __future__ import annotations

import gzip
import hashlib
import json
from collections.abc import Mapping
from html import escape
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from collector.reading import ProbeFacts
from collector.store.schema import NotYet
from dashboard import strips, words
from dashboard.alarm_kinds import KINDS
from dashboard.alarm_state import Marks, state_of
from dashboard.assessment import Assessment
from dashboard.chart_data import ChartData, chart_data
from dashboard.conditions import untold
from dashboard.devices import ProbeLog, probe_logs
from dashboard.display import View
from dashboard.door.visitor import asking
from dashboard.drawn import Drawn
from dashboard.glossary import linked
from dashboard.leaving import Leaving, Tasks
from dashboard.notice import RINGS
from dashboard.panel import Panel
from dashboard.paper import Paper
from dashboard.ports import Shop
from dashboard.probes import Heard
from dashboard.static_files import StaticFiles, takes_gzip
from dashboard.supposing import Supposing
from dashboard.watch_store import Alarm

# A page's own clock starts from the first; put in after the ETag is taken, so that time alone changes nothing.
# With the second a page asks whether it has changed since it was loaded.
_NOW = "@NOW@"
_TAG = "@TAG@"
LEAST_PACKED = 1000
"""Bytes. An answer that fits into one packet gains nothing."""
PACKED = 5
"""gzip's level: 64 KB of a round in under a millisecond, a few percent more than its best."""


class Desk:
    """Reads for pages; keeps the templates, and what it made of that which has not changed since the page before.

    files   what the pages link to
    """

    def __init__(self, shop: Shop, files: StaticFiles, has_door: bool = False) -> None:
        self.shop = shop
        self.version = files.version
        self.supposing = Supposing(shop.facts, shop.card)
        self._zone = ZoneInfo(shop.time_zone)
        self._templates = Environment(
            loader=PackageLoader("dashboard"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.filters["terms"] = linked
        self._templates.globals.update(
            t=words.LABELS,
            tapped=words.TAPPED,
            cautions=words.CAUTIONS,
            too_old=words.HEADLINES["too_old"],
            site=shop.site,
            invented=shop.invented,
            v=files.version,
            v_plotly=files.plotly,
            has_door=has_door,
        )
        self._strips = Drawn(self._templates, "round_strip.html")
        self.tasks = Tasks()
        self._leaving = Drawn(self._templates, "leave_panel.html")
        self._paper = Paper(shop.site, shop.invented, files.version)

    def view(self) -> View:
        """The viewer's zone, units and time."""
        return View.chosen(self.shop.logbook.preferences().get, self._zone, self.shop.clock.now())

    def panels(self) -> dict[str, Panel]:
        return self.shop.logbook.panels()

    def assessment(self, panel: str) -> tuple[Assessment | None, bool]:
        """The newest of one panel, and whether watch has ever run."""
        try:
            return self.shop.watched.assessment(panel), True
        except NotYet:
            return None, False

    def chart(self, panel: Panel, item: Assessment | None, logs: Mapping[str, ProbeLog]) -> ChartData | None:
        """What a panel's chart draws and its table shows; None where the answer has no course. logs: probe_logs()."""
        if item is None or item.curve is None or not item.curve.t:
            return None
        return chart_data(item, item.curve, panel, self.shop.lines, logs)

    def probes(self) -> list[ProbeFacts]:
        """The probes of the settings; none while collect has never run."""
        try:
            return self.shop.probes()
        except NotYet:
            return []

    def heard(self) -> Heard | None:
        """What the probes last said; None while collect has never run."""
        try:
            return self.shop.heard()
        except NotYet:
            return None

    def probe_logs(self) -> dict[str, ProbeLog]:
        """By probe, what was said of its devices and corrections; all probes of the settings among them."""
        return probe_logs(self.shop.logbook.events(), [probe.id for probe in self.probes()])

    def alarms(self) -> list[Alarm]:
        """Newest first; none while watch has never run."""
        try:
            return sorted(self.shop.watched.alarms(), key=lambda alarm: -alarm.raised_at)
        except NotYet:
            return []

    def standing(self) -> list[Alarm]:
        """Alarms that nobody has seen and nobody made quiet, those that last first: what takes the title's place."""
        stored = self.alarms()
        marks, now = Marks.of(self.shop.logbook.events()), self.shop.clock.now()
        open_ones = [
            alarm for alarm in stored if KINDS[alarm.kind].alarm and state_of(alarm, marks, now) in RINGS
        ]
        # Of those that last the most pressing kind comes first: the table is in that order.
        kinds = list(KINDS)
        open_ones.sort(key=lambda one: (one.returned_at is not None, kinds.index(one.kind), -one.raised_at))
        return untold(self.shop.troubles(), stored, self.shop.clock.now()) + open_ones

    def latest(self) -> list[Assessment] | None:
        """The newest assessment of every panel; None while watch has never run."""
        try:
            return self.shop.watched.latest()
        except NotYet:
            return None

    def drawn(self, found: strips.Round, several: bool, columns: bool) -> Markup:
        """The strips of a round as HTML.

        several   of more than one zone; columns   each zone has its own
        """
        return self._strips.all(
            {
                "strip": strip,
                "several": several,
                "column": found.zones.index(strip.zone) + 1 if columns else 0,
            }
            for strip in found.strips
        )

    def drawn_leaving(self, found: list[Leaving]) -> Markup:
        """What is to be done before leaving as HTML, panel by panel."""
        return self._leaving.all({"panel": panel} for panel in found)

    def page(self, request: Request, template: str, view: View, **values: Any) -> Response:
        """A page; 304 if the browser's copy differs in nothing but the time it was made."""
        text = self._templates.get_template(template).render(
            view=view, now=_NOW, tag=_TAG, rate=self.shop.clock.rate, alarms=self.standing(), visitor=asking(),
            **values,
        )  # fmt: skip
        # no-store: a page brought back from a cache would count its age from the wrong moment.
        return self._send(request, text, "text/html; charset=utf-8", "no-store", view)

    def bare(self, request: Request, template: str, view: View, **values: Any) -> Response:
        """A page that tells nothing of the shop but its name: for whoever is not signed in."""
        text = self._templates.get_template(template).render(view=view, visitor=asking(), **values)
        return self._send(request, text, "text/html; charset=utf-8", "no-store", view)

    def paper(self, request: Request, template: str, view: View, **values: Any) -> Response:
        """A page to be printed."""
        text = self._paper.html(template, view, **values)
        return self._send(request, text, "text/html; charset=utf-8", "no-store", view)

    def html(self, request: Request, text: str, view: View) -> Response:
        """A page that was made elsewhere, of the same kind."""
        return self._send(request, text, "text/html; charset=utf-8", "no-store", view)

    def json(self, request: Request, body: Mapping[str, Any], view: View) -> Response:
        """JSON with an ETag; `now` stands in a header of its own."""
        text = json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        return self._send(request, text, "application/json", "private, no-cache", view)

    def _send(self, request: Request, text: str, kind: str, cache: str, view: View) -> Response:
        # Weak, for the same tag stands for the plain text and the packed (RFC 9110, 8.8.1), at any time.
        content = text.encode()
        tag = f'W/"{hashlib.sha256(content).hexdigest()[:24]}"'
        headers = {
            "ETag": tag,
            "Cache-Control": cache,
            "Coldshed-Now": str(view.now),
            "Coldshed-Rate": str(self.shop.clock.rate),
            "Coldshed-Version": self.version,
            "Vary": "Accept-Encoding",
        }
        if request.headers.get("if-none-match") == tag:
            return Response(status_code=304, headers=headers)
        content = content.replace(_NOW.encode(), str(view.now).encode())
        content = content.replace(_TAG.encode(), escape(tag).encode())
        if takes_gzip(request) and len(content) > LEAST_PACKED:
            content, headers["Content-Encoding"] = gzip.compress(content, PACKED, mtime=0), "gzip"
        return Response(content, headers=headers, media_type=kind)
