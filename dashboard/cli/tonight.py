"""`coldshed tonight`: the coming night, what to do before leaving, and what heat or another hour would change."""

from __future__ import annotations

import argparse
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard import leaving, tonight
from dashboard.asked import NotAsked, question
from dashboard.assessment import Assessment
from dashboard.cards import CardShelf
from dashboard.cli.errors import CommandError
from dashboard.cli.house import forecast_of, house_clock, read_logbook
from dashboard.cli.read_from import readings_of
from dashboard.display import View
from dashboard.live import Live
from dashboard.night_strip import NightStrip, is_fresh, night_strip, said
from dashboard.panel import Panel
from dashboard.suppose import CannotSuppose
from dashboard.supposing import Supposing
from dashboard.watch_store import WatchReader
from dashboard.words import CAUTIONS, LABELS

FIELDS = ("hold", "from", "to", "rise", "start", "card", "until", "by")


def tonight_(arguments: argparse.Namespace) -> int:
    """Prints sentences. Returns 0, also for "not known"."""
    settings = settings_file.load(arguments.settings)
    try:
        logbook = read_logbook(settings)
        panels = {key: panel for key, panel in logbook.panels().items() if not panel.closed}
        unit = logbook.preference("unit") or "degC"
    except NotYet:
        panels, unit = {}, "degC"
    view = View(ZoneInfo(settings.time_zone), unit, house_clock(settings).now())
    latest = _latest(settings)
    asked = {key: str(value) for key in FIELDS if (value := getattr(arguments, key)) is not None}
    if arguments.least:
        asked["ask"] = "least"
    if arguments.panel is None:
        if asked:
            raise CommandError("a what-if is asked for one panel: name it")
        _shop(panels, latest, view, settings.shop.leave_minute)
        return 0
    found = [panel for panel in panels.values() if arguments.panel in (panel.id, panel.name)]
    if not found:
        there = ", ".join(panel.name for panel in panels.values()) or "none"
        raise CommandError(f"no open panel is called {arguments.panel!r}; there are: {there}")
    item = latest.get(found[0].id)
    strip = night_strip(found[0], item, view)
    _print(strip)
    if asked and not strip.may_suppose:
        print(f"\n{LABELS['if_not_known']}")
    elif asked and item is not None:
        _what_if(settings, found[0], item, view, asked)
    return 0


def _shop(panels: dict[str, Panel], latest: dict[str, Assessment], view: View, leave_minute: int) -> None:
    fresh = [
        (panel.zone, latest[key]) for key, panel in panels.items()
        if key in latest and is_fresh(panel, latest[key], view)
    ]  # fmt: skip
    for say in tonight.zone_lines(fresh, view):
        print(view.sentence(say))
    for key, panel in panels.items():
        print()
        _print(night_strip(panel, latest.get(key), view))
    if not panels:
        print(LABELS["night_empty"])
    if not leaving.is_evening(view, leave_minute):
        return
    print(f"\n{LABELS['before_leave']}")
    todo = [
        leaving.leaving_of(panel, leaving.tasks(panel, latest.get(key), view), view)
        for key, panel in panels.items()
    ]
    for one in todo:
        for task in one.tasks:
            print(f"  [ ] {one.name}: {task.do}." + (f" {task.why}" if task.why else ""))
    if not any(one.tasks for one in todo):
        print(f"  {LABELS['leave_nothing']}")


def _print(strip: NightStrip) -> None:
    print(f"{strip.name}\n  {strip.headline}")
    for line in (*strip.lines, *strip.times, *((strip.source,) if strip.source else ())):
        print(f"  {line}")


def _what_if(settings: Settings, panel: Panel, item: Assessment, view: View, asked: dict[str, str]) -> None:
    shelf, logbook = CardShelf(settings.folder / "cards"), read_logbook(settings)
    live = Live(readings_of(settings), logbook, shelf.get, forecast_of(settings))
    leave = settings.shop.leave_minute
    try:
        read = question(asked, view, leave, tonight.gels_at(item), shelf.names())
        told = said(Supposing(live.facts, shelf.get).ask(panel, item, read), read, view, leave)
    except NotAsked as error:
        raise CommandError(str(error)) from error
    except CannotSuppose as error:
        raise CommandError(LABELS[str(error)]) from error
    print(f"\n{LABELS['if_you_do_this']}")
    for line in (*((told.head,) if told.head else ()), *told.lines, *told.heed):
        print(f"  {line}")
    for key in told.cautions:
        print(f"  {CAUTIONS[key]}")
    print(f"  {LABELS['if_note']}")


def _latest(settings: Settings) -> dict[str, Assessment]:
    try:
        found = WatchReader(settings.watch_db, read_logbook(settings)).latest()
    except NotYet:
        return {}
    return {item.panel: item for item in found}
