"""`coldshed round` and `coldshed labels`: the round and the labels, told here or written to a file to be printed."""

from __future__ import annotations

import argparse
from pathlib import Path
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard.assessment import Assessment
from dashboard.cli.errors import CommandError
from dashboard.cli.house import house_clock, read_logbook
from dashboard.display import View
from dashboard.label import codes, labels
from dashboard.pages.labels import wrong
from dashboard.panel import Panel
from dashboard.paper import Paper
from dashboard.round_sheet import sheet_of
from dashboard.watch_store import WatchReader


def round_(arguments: argparse.Namespace) -> int:
    """What to do first, panel by panel. Returns 0."""
    settings = settings_file.load(arguments.settings)
    panels, view = _panels(settings), _view(settings)
    sheet = sheet_of(panels, _latest(settings), view, arguments.zone)
    if arguments.zone and arguments.zone not in sheet.round.zones:
        there = ", ".join(sheet.round.zones) or "none"
        raise CommandError(f"no open panel is in zone {arguments.zone!r}; zones: {there}")
    if arguments.html:
        text = Paper(settings.site, invented=False).html("round_sheet.html", view, sheet=sheet)
        _write(arguments.html, text)
        print(f"{len(sheet.lines)} panels: {arguments.html}")
        return 0
    print(sheet.made)
    for line in sheet.lines:
        strip = line.strip
        print(
            f"\n{strip.title} ({strip.zone})\n  {strip.headline}"
            + (f", {strip.ahead}" if strip.ahead else "")
        )
        print(f"  {strip.why}" + (f" Good until {line.until_text}." if line.until else ""))
    return 0


def labels_(arguments: argparse.Namespace) -> int:
    """The letters and the address of each panel. Returns 0, or 1 if no phone could open an address."""
    settings = settings_file.load(arguments.settings)
    url = settings.serve.public_url
    chosen = _chosen(list(_panels(settings).values()), arguments.panel)
    made = labels(chosen, codes(read_logbook(settings).events()) if chosen else {}, url)
    for item in made:
        print(f"{item.code}  {item.link or '(no address)'}  {item.name}")
    trouble = wrong(url)
    if trouble:
        raise CommandError(
            f"{trouble} Set public_url under [serve] in {arguments.settings} to what a phone calls this computer by, "
            'e.g. "http://shed.lan:8137"'
        )
    if arguments.html:
        text = Paper(settings.site, invented=False).html(
            "labels.html", _view(settings), labels=made, one=False, zone=None, zones=[], wrong="", port=0
        )
        _write(arguments.html, text)
        print(f"{len(made)} labels: {arguments.html}")
    return 0


def _panels(settings: Settings) -> dict[str, Panel]:
    try:
        return read_logbook(settings).panels()
    except NotYet:
        return {}


def _latest(settings: Settings) -> list[Assessment] | None:
    try:
        return WatchReader(settings.watch_db, read_logbook(settings)).latest()
    except NotYet:
        return None


def _view(settings: Settings) -> View:
    try:
        unit = read_logbook(settings).preference("unit") or "degC"
    except NotYet:
        unit = "degC"
    return View(ZoneInfo(settings.time_zone), unit, house_clock(settings).now())


def _chosen(panels: list[Panel], names: list[str]) -> list[Panel]:
    """The panels named by name or id, in that order; all open ones if none is named."""
    if not names:
        return [panel for panel in panels if not panel.closed]
    found = []
    for name in names:
        of_name = [panel for panel in panels if name in (panel.id, panel.name)]
        if not of_name:
            there = ", ".join(panel.name for panel in panels) or "none yet"
            raise CommandError(f"no panel is called {name!r}; there are: {there}")
        found.append(min(of_name, key=lambda panel: panel.closed))
    return found


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise CommandError(f"{path}: cannot be written ({error.strerror})") from error
