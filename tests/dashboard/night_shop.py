"""An invented shop on a winter evening with two weeks of log, worked out by watch itself: for Tonight and what-ifs."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from fastapi import FastAPI

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.app import create_app
from dashboard.assessment import Assessment
from dashboard.cards import CardShelf
from dashboard.facts import Facts
from dashboard.forecast_file import ForecastFile
from dashboard.live import Live
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event, Panel
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from model.psychrometrics import relative_humidity_at
from model.resin_card import ResinCard
from tests.browser.fake_shop import ZONE, utc

MINUTE, HOUR = 60_000, 3_600_000
NOW = utc("2026-11-25 19:07")
"""20:07 in the shop's zone."""
DAYS = 10
EVERY_S = 300.0
DEW_C = 5.0

PROBES = [
    ProbeFacts("S1", "shed", "surface", EVERY_S, 0.8),
    ProbeFacts("S2", "warm room", "surface", EVERY_S, 0.8),
    ProbeFacts("S3", "shed", "surface", EVERY_S, 0.8),
    ProbeFacts("A1", "shed", "air", EVERY_S, 0.8),
]


def shed(hours: float) -> float:
    """Warmest at 16, coldest at 4 of the shop's clock; hours since NOW. degC."""
    return 10.5 + 4.5 * math.cos((hours + 4.1) * math.pi / 12.0)


def warm_room(hours: float) -> float:
    return 19.0 + 1.5 * math.cos((hours + 4.1) * math.pi / 12.0)


@dataclass
class NightShop:
    """Real stores in a folder, the clock moved by hand, watch and the application over them."""

    folder: Path
    clock: SteppedClock
    logbook: Logbook
    store: WatchWriter
    watch: Watch
    app: FastAPI
    port: int

    def item(self, panel: str) -> Assessment:
        found = WatchReader(self.folder / "watch.db", LogbookReader(self.folder / "shop.db")).assessment(
            panel
        )
        assert found is not None
        return found

    def facts(self, panel: Panel, at: int) -> Facts:
        """As serve sees them."""
        return Live(self.folder / "readings.db", self.logbook, self.card).facts(panel, at)

    def card(self, name: str) -> ResinCard | None:
        return CardShelf(None).get(name)

    def later(self, hours: float, *probes: str) -> None:
        """So much later, with readings of these probes (default: all but S3), worked out again."""
        before, self.clock.at = self.clock.at, self.clock.at + round(hours * HOUR)
        _write(self.folder, self.clock, before + 1, self.clock.at, probes or ("S1", "S2", "A1"))
        self.watch.round()

    def close(self) -> None:
        self.store.close()
        self.logbook.close()


def open_night(
    folder: Path, port: int = 8137, forecast: ForecastFile | None = None, now: int = NOW
) -> NightShop:
    """Lid 4 and Plug 7 in the shed, Deck 2 in the warm room, Rib 1 whose probe fell silent, Box A without a coat."""
    clock = SteppedClock(now)
    shelf = CardShelf(None)
    _write(folder, clock, now - DAYS * 24 * HOUR, now, ("S1", "S2", "A1"))
    _write(folder, clock, now - 24 * HOUR, now - 2 * HOUR, ("S3",))
    logbook = Logbook(folder / "shop.db", shelf.names).open()
    _panels(logbook, now)
    store = WatchWriter(folder / "watch.db")
    reader = LogbookReader(folder / "shop.db")
    watch = Watch(folder / "readings.db", reader, shelf, store, clock, ZoneInfo(ZONE), forecast=forecast)
    app = create_app(
        watched=WatchReader(folder / "watch.db", logbook),
        logbook=logbook,
        probes=lambda: PROBES,
        cards=shelf.names,
        clock=clock,
        site="Invented shed",
        time_zone=ZONE,
        invented=True,
        port=port,
        readings=folder / "readings.db",
        card_facts=shelf.facts,
        card=shelf.get,
        forecast=forecast,
    )
    watch.round()
    return NightShop(folder, clock, logbook, store, watch, app, port)


def _panels(logbook: Logbook, now: int) -> None:
    def log(panel: str, what: str, at: int, **body: object) -> None:
        logbook.append(Event(f"{panel}-{what.replace(' ', '-')}", at, at, "Kim", what, panel, body))

    def register(panel: str, name: str, zone: str, surface: str, substrate: str = "wood") -> None:
        log(panel, "panel registered", now - 12 * HOUR, name=name, zone=zone, surface_probe=surface, air_probe="A1",
            substrate=substrate)  # fmt: skip

    register("lid-4", "Lid 4", "shed", "S1")
    log(
        "lid-4",
        "coat mixed",
        now - 3 * HOUR,
        card="invented-winter",
        kind="laminate",
        applied_at=now - 3 * HOUR,
    )
    register("plug-7", "Plug 7", "shed", "S1", "foam")
    log(
        "plug-7",
        "coat mixed",
        now - 2 * HOUR,
        card="invented-25min",
        kind="laminate",
        applied_at=now - 2 * HOUR,
    )
    register("deck-2", "Deck 2", "warm room", "S2")
    log(
        "deck-2",
        "coat mixed",
        now - 4 * HOUR,
        card="invented-25min",
        kind="laminate",
        applied_at=now - 4 * HOUR,
    )
    register("rib-1", "Rib 1", "shed", "S3")
    log(
        "rib-1",
        "coat mixed",
        now - 4 * HOUR,
        card="invented-25min",
        kind="laminate",
        applied_at=now - 4 * HOUR,
    )
    register("box-a", "Box A", "warm room", "S2")


SERIES: dict[str, list[tuple[Quantity, Callable[[float], float]]]] = {
    "S1": [(Quantity.TEMPERATURE, shed)],
    "S2": [(Quantity.TEMPERATURE, warm_room)],
    "S3": [(Quantity.TEMPERATURE, shed)],
    "A1": [
        (Quantity.TEMPERATURE, lambda hours: shed(hours) + 0.5),
        (Quantity.RELATIVE_HUMIDITY, lambda hours: float(relative_humidity_at(shed(hours) + 0.5, DEW_C))),
    ],
}


def _write(folder: Path, clock: SteppedClock, start: int, end: int, probes: tuple[str, ...]) -> None:
    """A reading every five minutes from start to end, both in."""
    every = round(EVERY_S * 1000)
    times = [*range(start, end, every), end]
    readings = [
        Reading(probe, what, round(of((at - NOW) / HOUR), 2), at, at)
        for probe in probes
        for what, of in SERIES[probe]
        for at in times
    ]
    writer = Writer.open(folder / "readings.db", clock)
    writer.describe(PROBES)
    writer.commit(readings)
    writer.close()
