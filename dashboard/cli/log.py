"""`coldshed log`: the entries that the pages take down of a panel, from a command line."""

from __future__ import annotations

import argparse
import secrets
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard.cli.errors import CommandError
from dashboard.cli.house import house_clock, read_logbook
from dashboard.cli.log_entry import log_entry
from dashboard.cli.log_parser import DONE, REASONED
from dashboard.cli.read_from import probes_of
from dashboard.cli.times import utc_ms
from dashboard.display import View
from dashboard.entries import entries
from dashboard.entry import step_event
from dashboard.fold import WEIGHED
from dashboard.logbook import LogbookReader
from dashboard.panel import Panel
from dashboard.picture import Picture, PictureError

Said = Mapping[str, Any]


def log(arguments: argparse.Namespace) -> int:
    """Logs one entry of a panel, or lists them. Returns 0."""
    settings = settings_file.load(arguments.settings)
    book, now = read_logbook(settings), house_clock(settings).now()
    panel = _panel(book, arguments.name)
    if arguments.what == "list":
        _list(book, panel, View.chosen(book.preference, ZoneInfo(settings.time_zone), now))
        return 0
    at = utc_ms(arguments.at, settings.time_zone, "--at") if arguments.at else now
    kind, body, picture = _entry(arguments, settings, panel)
    number = secrets.token_hex(12)
    print(log_entry(settings, step_event(number, at, now, arguments.who, panel.id, kind, body), picture))
    return 0


def _panel(book: LogbookReader, name: str) -> Panel:
    try:
        panels = book.panels()
    except NotYet:
        panels = {}
    found = next((item for item in panels.values() if name in (item.id, item.name)), None)
    if found is None:
        names = ", ".join(item.name for item in panels.values()) or "none yet: coldshed panel add NAME"
        raise CommandError(f"no panel is called {name!r}; there are: {names}")
    return found


def _list(book: LogbookReader, panel: Panel, view: View) -> None:
    for entry in entries(book.events(panel.id), view):
        changed = "".join(f" (first: {was}; {how})" for was, how in entry.before)
        back = f" ({entry.taken_back})" if entry.taken_back else ""
        print(f"{entry.id:<26} {entry.text}{changed}{back}, by {entry.who or 'somebody'}")


def _entry(
    arguments: argparse.Namespace, settings: Settings, panel: Panel
) -> tuple[str, Said, Picture | None]:
    word = arguments.what
    if word in DONE:
        return DONE[word][0], {}, None
    if word in REASONED:
        return REASONED[word][0], {"reason": arguments.reason}, None
    if word == "photo":
        picture = _picture(arguments.file)
        body = {"digest": picture.digest, "type": picture.type, "bytes": len(picture.content)}
        return "photo", body, picture
    kind, said = SAYS[word]
    return kind, said(arguments, settings, panel), None


def _picture(path: Path) -> Picture:
    try:
        return Picture.of(path.read_bytes())
    except (OSError, PictureError) as error:
        raise CommandError(f"{path}: {error}") from error


def _pot(arguments: argparse.Namespace) -> Said:
    said = {name: getattr(arguments, name) for name in WEIGHED if getattr(arguments, name) is not None}
    return {"pot": said} if said else {}


def _coat(arguments: argparse.Namespace, settings: Settings, panel: Panel) -> Said:
    planned, newest = panel.next_planned, panel.newest
    card = arguments.card or (planned.card if planned else None) or (newest.card if newest else None)
    if card is None:
        raise CommandError("no card is planned: say with --card which was mixed")
    said = {
        "kind": arguments.kind or (planned.kind if planned else "laminate"),
        "peel_ply": arguments.peel_ply or None,
        "taped": arguments.taped or None,
        "resin_lot": arguments.resin_lot,
        "hardener_lot": arguments.hardener_lot,
    }
    return {
        "card": card,
        **{name: value for name, value in said.items() if value is not None},
        **_pot(arguments),
    }


def _weights(arguments: argparse.Namespace, settings: Settings, panel: Panel) -> Said:
    pots = panel.newest.pots if panel.newest else ()
    if not pots and not arguments.of:
        raise CommandError(f"{panel.name} has no pot yet: log its first coat, then this")
    return {"of": arguments.of or pots[-1].event, "pot": _pot(arguments).get("pot", {})}


def _place(arguments: argparse.Namespace, settings: Settings, panel: Panel) -> Said:
    known = {probe.id for probe in probes_of(settings)}
    for probe in (arguments.surface, arguments.air):
        if probe is not None and probe not in known:
            raise CommandError(
                f"no probe is called {probe!r}; there are: {', '.join(sorted(known)) or 'none'}"
            )
    return {"zone": arguments.zone, "surface_probe": arguments.surface, "air_probe": arguments.air}


def _description(arguments: argparse.Namespace, settings: Settings, panel: Panel) -> Said:
    said = {
        "name": arguments.rename,
        "substrate": arguments.substrate,
        "vertical": None if arguments.vertical is None else arguments.vertical == "yes",
    }
    return {name: value for name, value in said.items() if value is not None}


def _plan(arguments: argparse.Namespace, settings: Settings, panel: Panel) -> Said:
    parts = [text.partition(":") for text in arguments.coats]
    return {"plan": [{"kind": kind} | ({"card": card} if card else {}) for kind, _, card in parts]}


def _retimed(arguments: argparse.Namespace, settings: Settings, panel: Panel) -> Said:
    to = utc_ms(arguments.to, settings.time_zone, "--to")
    return {"event": arguments.entry, "to": to} | ({"reason": arguments.reason} if arguments.reason else {})


def _back(arguments: argparse.Namespace, settings: Settings, panel: Panel) -> Said:
    return {"event": arguments.entry} | ({"reason": arguments.reason} if arguments.reason else {})


SAYS: Mapping[str, tuple[str, Callable[[argparse.Namespace, Settings, Panel], Said]]] = {
    "coat": ("coat mixed", _coat),
    "pot": ("pot mixed", lambda arguments, settings, panel: _pot(arguments)),
    "weights": ("pot weighed", _weights),
    "heat-on": (
        "heat on",
        lambda arguments, settings, panel: {} if arguments.hold is None else {"hold_C": arguments.hold},
    ),
    "note": ("note", lambda arguments, settings, panel: {"text": arguments.text}),
    "move": ("panel moved", _place),
    "describe": ("panel changed", _description),
    "plan": ("panel changed", _plan),
    "back": ("withdrawn", _back),
    "retime": ("time changed", _retimed),
}
"""By the word on the command line: the entry's kind, and what is said in it."""
