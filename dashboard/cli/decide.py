"""`coldshed decide PANEL ACT`: what demoulding or signing off asks for, what is missing; with a name, the decision."""

from __future__ import annotations

import argparse
import secrets
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard.assessment import Assessment
from dashboard.cards import CardShelf
from dashboard.cli.errors import CommandError
from dashboard.cli.house import decisions, house_clock, read_logbook
from dashboard.cli.log_entry import log_entry
from dashboard.display import View
from dashboard.evidence import Item, evidence, in_words
from dashboard.panel import Event, Panel
from dashboard.watch_store import WatchReader
from dashboard.words import LABELS


def decide(arguments: argparse.Namespace) -> int:
    """Prints the evidence; logs the decision if somebody gives a name. Returns 0 if nothing but a name is missing."""
    settings = settings_file.load(arguments.settings)
    act = arguments.act.replace("-", " ")
    panel, now = _panel(settings, arguments.panel), house_clock(settings).now()
    view = View.chosen(read_logbook(settings).preference, ZoneInfo(settings.time_zone), now)
    items = _evidence(settings, panel, act, now)
    for item in items:
        print(f"{LABELS['have' if item.have else 'missing_is']:<8} {in_words(item, view)}")
    missing = tuple(in_words(item, view) for item in items if not item.have)
    if arguments.who:
        about = Event(secrets.token_hex(12), now, now, arguments.who, "decided", panel.id, {})
        made = decisions(settings, house_clock(settings)).decided(
            about.id, about, panel, act, granted=not missing, missing=missing
        )
        print(log_entry(settings, made))
    return 1 if missing else 0


def _evidence(settings: Settings, panel: Panel, act: str, now: int) -> tuple[Item, ...]:
    shelf = CardShelf(settings.folder / "cards")
    cards = {coat.card: card for coat in panel.coats if (card := shelf.get(coat.card)) is not None}
    answer: Assessment | None
    try:
        answer = WatchReader(settings.watch_db, read_logbook(settings)).assessment(panel.id)
    except NotYet:
        answer = None
    return evidence(act, panel, cards, answer, now)


def _panel(settings: Settings, name: str) -> Panel:
    panels = read_logbook(settings).panels()
    found = next((panel for panel in panels.values() if name in (panel.id, panel.name)), None)
    if found is None:
        names = ", ".join(panel.name for panel in panels.values()) or "none yet: coldshed panel add NAME"
        raise CommandError(f"no panel is called {name!r}; there are: {names}")
    return found
