"""An invented shop lived through by a clock moved by hand: readings as collect stores them, answers as watch gives
them, pages and API as serve shows them. Minutes count from 16:00 of a winter afternoon in Oslo.
"""

from __future__ import annotations

import math
from pathlib import Path
from zoneinfo import ZoneInfo

from fastapi import FastAPI

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.reader import Reader
from collector.store.writer import Writer
from dashboard.app import LOOPBACK, create_app
from dashboard.assessment import Assessment
from dashboard.cards import CardShelf
from dashboard.decided import Decisions
from dashboard.display import View
from dashboard.logbook import Logbook, LogbookReader
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from tests.dashboard.client import HOST

START = 1_795_618_800_000
"""2026-11-25 15:00 UTC."""
MINUTE = 60_000
HOUR = 60
ZONE = "Europe/Oslo"
OWN = "own-25min"
PROBES = [ProbeFacts("S1", "shed", "surface", 60.0, 0.8), ProbeFacts("A1", "shed", "air", 60.0, 0.8)]
HEATER_OFF, HEATER_ON = 6 * HOUR, 16 * HOUR
WET = (12 * HOUR, 13.5 * HOUR)
FIRST = -96 * HOUR


def panel_C(minute: float) -> float:
    """21 degC by day; each night until HEATER_ON of the last the heater is off and it falls towards 6 degC. A little
    life in the last digits.
    """
    day = 24 * HOUR
    since = (minute - HEATER_OFF) % day if minute < HEATER_ON + 8 * HOUR else minute - HEATER_OFF
    fallen = 6.0 + 15.0 * math.exp(-min(since, HEATER_ON - HEATER_OFF) / 150.0)
    if since < HEATER_ON - HEATER_OFF:
        base = fallen
    else:
        base = 21.0 - (21.0 - fallen) * math.exp(-(since - (HEATER_ON - HEATER_OFF)) / 60.0)
    return base + 0.15 * math.sin(minute / 9.0)


def humidity(minute: float) -> float:
    """Of the air, %: a burner next door fills the shed with moisture before dawn."""
    return 99.0 if WET[0] <= minute < WET[1] else 55.0 + 8.0 * math.sin(minute / 170.0)


def air_C(minute: float) -> float:
    return panel_C(minute) + (1.5 if WET[0] <= minute < WET[1] else -0.7) + 0.1 * math.sin(minute / 4.0)


class House:
    """One shop in a folder. `app` serves it; wait() lets time pass and everybody do their work."""

    def __init__(self, folder: Path, port: int = 8137) -> None:
        self.folder = folder
        (folder / "cards").mkdir()
        shipped = CardShelf(None).text("invented-25min")
        assert shipped is not None
        own = shipped.replace('id = "invented-25min"', f'id = "{OWN}"')
        own = own.replace("invented = true", "invented = false")
        (folder / "cards" / f"{OWN}.toml").write_text(own, encoding="utf-8")
        self.clock = SteppedClock(START)
        self.shelf = CardShelf(folder / "cards")
        self._readings = Writer.open(folder / "readings.db", self.clock)
        self._readings.describe(PROBES)
        book = LogbookReader(folder / "shop.db")
        self._watched = watched = WatchReader(folder / "watch.db", book)
        deciding = Decisions(watched, folder / "readings.db", self.view)
        self.logbook = Logbook(folder / "shop.db", self.shelf.names, beside=deciding.beside).open()
        self._store = WatchWriter(folder / "watch.db")
        self._watch = Watch(folder / "readings.db", book, self.shelf, self._store, self.clock, ZoneInfo(ZONE))
        self.app: FastAPI = create_app(
            watched=watched, logbook=self.logbook, readings=folder / "readings.db", probes=self._probes,
            cards=self.shelf.names, card_facts=self.shelf.facts, card=self.shelf.get, card_text=self.shelf.text,
            decisions=deciding, clock=self.clock, site="Invented shed", time_zone=ZONE, invented=True, port=port,
            allowed_hosts=(*LOOPBACK, HOST),
        )  # fmt: skip
        self.port = port
        self._measured = FIRST
        self.wait(0)

    def close(self) -> None:
        self._readings.close()
        self.logbook.close()
        self._store.close()

    def view(self) -> View:
        return View(ZoneInfo(ZONE), "degC", self.clock.now())

    @property
    def minute(self) -> float:
        """Minutes since START."""
        return (self.clock.now() - START) / MINUTE

    def until(self, minute: float) -> None:
        """Time passes to that minute: a reading each minute, and one turn of watch at its end."""
        readings = []
        while self._measured <= minute:
            at = START + self._measured * MINUTE
            readings += [
                Reading("S1", Quantity.TEMPERATURE, round(panel_C(self._measured), 2), at, at),
                Reading("A1", Quantity.TEMPERATURE, round(air_C(self._measured), 2), at, at),
                Reading("A1", Quantity.RELATIVE_HUMIDITY, round(humidity(self._measured), 1), at, at),
            ]
            self._measured += 1
        for first in range(0, len(readings), 3000):
            self._readings.commit(readings[first : first + 3000])
        self.clock.at = START + round(minute * MINUTE)
        self._watch.round()

    def wait(self, minutes: float) -> None:
        """The same, so many minutes on."""
        self.until(self.minute + minutes)

    def answer(self, panel: str) -> Assessment:
        """What watch said of it last."""
        found = self._watched.assessment(panel)
        assert found is not None
        return found

    def worked_out(self) -> None:
        """Watch takes in what was just logged."""
        self._watch.round()

    def _probes(self) -> list[ProbeFacts]:
        reader = Reader.open(self.folder / "readings.db")
        try:
            return reader.probes()
        finally:
            reader.close()
