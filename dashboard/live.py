"""What serve follows of readings.db, so that a page can ask the model about this minute without waiting for watch."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Protocol

from collector.reading import Quantity
from collector.store.reads import Where
from dashboard import stays
from dashboard.anew import FactsOf
from dashboard.devices import probe_logs
from dashboard.facts import Facts
from dashboard.follow import Follower
from dashboard.forecast_file import ForecastFile
from dashboard.lot_known import LotKnown
from dashboard.lots import Lots
from dashboard.panel import Event, Panel
from dashboard.settling import whole
from dashboard.stays import Ask
from dashboard.weather import Weather, weather_of
from model.resin_card import ResinCard

CardOf = Callable[[str], ResinCard | None]
"""A card by its id; None if there is none that can be used."""


def facts_of(
    panel: Panel,
    follower: Follower,
    card_of: CardOf,
    weather: Weather | None = None,
    lots: Mapping[int, LotKnown] | None = None,
    ask: Ask | None = None,
) -> Facts:
    """One panel's facts as its probes are followed now, with those of its coats' cards that can be read, and what is
    known of their lots.

    Before the first coat: with the card that is planned for it. ask: for its traces, in the follower's place.
    """
    asked = ask or follower.trace
    names = [coat.card for coat in panel.coats]
    if not names and panel.next_planned is not None and panel.next_planned.card is not None:
        names = [panel.next_planned.card]
    cards = {name: card for name in names if (card := card_of(name)) is not None}
    return Facts(
        panel=panel,
        cards=cards,
        surface=stays.surface(panel, asked),
        air=stays.air(panel, Quantity.TEMPERATURE, asked),
        humidity=stays.air(panel, Quantity.RELATIVE_HUMIDITY, asked),
        batch=follower.batch,
        seqs=follower.seqs_of(panel.probes),
        unsure=follower.unsure(panel.probes),
        weather=weather,
        lots=lots or {},
        site=follower.site_state(panel.surface_probe or panel.air_probe),
    )


def asking(
    panel: Panel,
    follower: Follower,
    card_of: CardOf,
    weather: Weather | None = None,
    lots: Mapping[int, LotKnown] | None = None,
) -> FactsOf:
    """The same, of traces that are asked for elsewhere."""
    return lambda ask: facts_of(panel, follower, card_of, weather, lots, ask)


def weather_now(forecast: ForecastFile | None, follower: Follower, at: int) -> Weather | None:
    """The shop's forecast file at `at` (UTC ms), with the probe outdoors that it names; None: there is no such file."""
    if forecast is None:
        return None
    air = follower.trace(forecast.probe, Quantity.TEMPERATURE)
    return weather_of(forecast.at(at), air, follower.trace(forecast.probe, Quantity.RELATIVE_HUMIDITY), at)


class Entries(Protocol):
    """The logbook, as far as readings are looked at through it."""

    def events(self) -> list[Event]: ...
    def panels(self) -> Mapping[str, Panel]: ...


class Live:
    """Facts of any panel, or of a spot where none is registered. Safe to call from several threads.

    readings   where the readings are
    forecast   the shop's forecast file, if it has one
    """

    def __init__(
        self, readings: Where, logbook: Entries, card_of: CardOf, forecast: ForecastFile | None = None
    ) -> None:
        self._readings = readings
        self._logbook = logbook
        self._card_of = card_of
        self._forecast = forecast
        self._lock = threading.Lock()
        self._follower: Follower | None = None
        self._lots = Lots()

    def facts(self, panel: Panel, now: int) -> Facts:
        """As of `now` (UTC ms). Raises collector.store.schema.NotYet while collect has never run."""
        logs = probe_logs(self._logbook.events())
        with self._lock:
            follower = self._follower or Follower(self._readings, now)
            follower.logs = logs
            follower.keep(now)
            follower.refresh()
            self._follower = follower
            weather = weather_now(self._forecast, follower, now)
            every = self._logbook.panels().values()
            lots = self._lots.known(panel, every, follower, self._card_of, now)
            of = asking(panel, follower, self._card_of, weather, lots)
            return whole(follower, of, of(follower.trace), now)


def no_card(_: str) -> None:
    """The shelf of a shop without cards."""


def nobody(panel: Panel, now: int) -> Facts:
    """Facts of a shop without readings: no probe is there."""
    return Facts(replace(panel, coats=()), {}, None, None, None, 0)
