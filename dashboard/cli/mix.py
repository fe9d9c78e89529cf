"""`coldshed mix`: is this the hour to mix, and how much, from the same readings and by the same sums as the pages."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from contextlib import closing
from typing import Any
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard import mix_view
from dashboard.cards import CardShelf
from dashboard.cli.errors import CommandError
from dashboard.cli.house import forecast_of, house_clock, read_logbook
from dashboard.cli.read_from import open_now, readings_of
from dashboard.display import View
from dashboard.live import Live
from dashboard.mix_asked import AskError, Given, asked_of, mix_of
from dashboard.mix_desk import Question, usual_card
from dashboard.mix_hour import MixHour, mix_hour, over_panel
from dashboard.mix_json import hour_json, work_json
from dashboard.mix_pots_view import work_view
from dashboard.mix_work import MixWork, mix_work
from dashboard.panel import Event, Panel
from dashboard.spots import Spot, spots
from dashboard.watch_store import WatchReader
from model.resin_card import ResinCard


def mix(arguments: argparse.Namespace) -> int:
    """Prints the answer, and the pots if anything was asked for. Returns 0, also for "not known"."""
    settings = settings_file.load(arguments.settings)
    now = house_clock(settings).now()
    house = _House(settings)
    view = View(
        ZoneInfo(settings.time_zone),
        arguments.unit or house.told("unit") or "degC",
        now,
        arguments.measures or house.told("measures") or "metric",
    )
    given = Given(_given(arguments))
    panels = house.panels()
    spot = _spot(arguments.spot, spots(panels, _probes(settings)))
    card = _card(arguments.card or usual_card(spot.panel, panels, house.shelf.names()), house.shelf)
    try:
        question, job = Question(spot, card, asked_of(given, spot.panel)), mix_of(given)
    except AskError as error:
        raise CommandError(str(error)) from error
    facts = Live(readings_of(settings), house, house.shelf.get, forecast_of(settings)).facts(spot.panel, now)
    hour = mix_hour(facts, card, question.asked, now)
    if spot.panel.coats or spot.panel.hold:
        hour = over_panel(hour, spot.panel, _assessment(settings, house, spot.panel), now)
    work = mix_work(card, job, question.asked.onto, question.asked.bottles_C, hour.room_C)
    if arguments.json:
        body: dict[str, Any] = {"hour": hour_json(question, hour, view)}
        print(json.dumps(body | {"mix": work_json(work) if work else None}, indent=1, ensure_ascii=False))
    else:
        print("\n".join(_text(question, hour, work, view)).replace("\u00a0", " "))
    return 0


class _House:
    """The shop's logbook and cards; a shop where serve never ran has nothing logged."""

    def __init__(self, settings: Settings) -> None:
        self.logbook = read_logbook(settings)
        self.shelf = CardShelf(settings.folder / "cards")

    def events(self) -> list[Event]:
        try:
            return self.logbook.events()
        except NotYet:
            return []

    def panels(self) -> dict[str, Panel]:
        try:
            return self.logbook.panels()
        except NotYet:
            return {}

    def told(self, key: str) -> str | None:
        try:
            return self.logbook.preference(key)
        except NotYet:
            return None


def _assessment(settings: Settings, house: _House, panel: Panel) -> Any:
    try:
        return WatchReader(settings.watch_db, house.logbook).assessment(panel.id)
    except NotYet:
        return None


def _probes(settings: Settings) -> list[Any]:
    with closing(open_now(settings)) as reader:
        return list(reader.probes())


def _given(arguments: argparse.Namespace) -> Iterator[tuple[str, str]]:
    """The words of the command as an address has them."""
    for name in ("onto", "wood_pc", "bottles_C", "area_m2", "amount_g", "tools", "fills", "vessel"):
        if getattr(arguments, name) is not None:
            yield name, str(getattr(arguments, name))
    for name in ("cloudy", "crusted", "peel", "upright"):
        if getattr(arguments, name):
            yield name, "1"
    for text in arguments.cloth or ():
        weight, _, rest = text.partition("x")
        plies, _, kind = rest.partition(":")
        yield "cloth_gm2", weight
        yield "plies", plies
        yield "weave", kind


def _spot(name: str | None, there: list[Spot]) -> Spot:
    if not there:
        raise CommandError("no panel and no probe yet: nothing is known of any hour")
    if name is None:
        return there[0]
    found = [spot for spot in there if name in (spot.id, spot.name, spot.id.partition(":")[2])]
    if not found:
        known = ", ".join(spot.id.partition(":")[2] for spot in there)
        raise CommandError(f"no panel or probe is called {name!r}; there are: {known}")
    return found[0]


def _card(name: str, shelf: CardShelf) -> ResinCard:
    card = shelf.get(name)
    if card is None:
        raise CommandError(f"no card is called {name!r}; there are: {', '.join(shelf.names())}")
    return card


def _text(question: Question, hour: MixHour, work: MixWork | None, view: View) -> Iterator[str]:
    seen = mix_view.hour_view(hour, view)
    yield f"{question.spot.name}, {question.card.id}: {seen.headline}"
    yield from (f"  {text}" for text in (seen.more, seen.latest, seen.best) if text)
    yield ""
    yield from (f"  {line.word:<10} {line.text}" for line in seen.checks)
    if work is not None:
        yield ""
        told = work_view(work, view)
        yield f"  {told.title}"
        yield f"  resin {told.resin}, hardener {told.hardener} ({told.between})" if told.resin else ""
        yield from (f"  {text}" for text in (*told.cautions, *told.lines))
    yield "\n  An estimate, not an approval; nothing here has been compared with real resin yet."
