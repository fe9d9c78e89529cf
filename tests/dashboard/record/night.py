"""An invented night of one panel in real stores: two coats, a gap, a wet hour, a wash, a corrected probe, decisions."""

from __future__ import annotations

import math
from pathlib import Path
from zoneinfo import ZoneInfo

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quality, Quantity, Reading
from collector.store.reads import Where
from collector.store.writer import Writer
from dashboard.cards import CardShelf
from dashboard.decided import Decisions
from dashboard.display import View
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.record.gather import Archive
from dashboard.record.used import Used
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from model.verdict import State

START = 1_795_629_600_000
"""2026-11-25 18:00 UTC, a whole hour."""
MINUTE = 60_000
GAP = (400, 520)
ZONE = "Europe/Oslo"
OWN = "own-25min"
PROBES = [ProbeFacts("S1", "shed", "surface", 60.0, 0.8), ProbeFacts("A1", "shed", "air", 60.0, 0.8)]
CORRECTION = {
    "probe": "S1", "serial": "", "quantity": "temperature", "points": [[0.4, 0.0], [20.5, 20.2]], "half_width": 0.2,
    "margin": 10.0, "reference": "ice water and shop reference 1", "due_at": START + 400 * 24 * 60 * MINUTE,
}  # fmt: skip


def panel_C(minute: int) -> float:
    """What S1 reads, degC."""
    return 14.0 + 6.0 * math.cos(2.0 * math.pi * minute / 1440.0) + 0.2 * math.sin(minute / 7.0)


def moist(minute: int) -> float:
    """The air's relative humidity, %; near saturation from minute 620 to 660."""
    return 97.5 if 620 <= minute < 660 else 74.0 + 10.0 * math.sin(minute / 300.0)


class Shop:
    """The three files of a shop in a folder, with a clock moved by hand and its own card.

    where   what watch and records read from: readings.db, or a server that shows what that file holds
    site    what such a server puts before a probe's id
    """

    site = ""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.where = self.reads_from()
        (folder / "cards").mkdir()
        shipped = CardShelf(None).text("invented-25min")
        assert shipped is not None
        own = shipped.replace('id = "invented-25min"', f'id = "{OWN}"').replace(
            "invented = true", "invented = false"
        )
        (folder / "cards" / "own.toml").write_text(own, encoding="utf-8")
        self.clock = SteppedClock(START)
        self.shelf = CardShelf(folder / "cards")
        self.readings = Writer.open(folder / "readings.db", self.clock)
        self.readings.describe(PROBES)
        book = LogbookReader(folder / "shop.db")
        self.seen = WatchReader(folder / "watch.db", book)
        self.decisions = Decisions(self.seen, self.where, self.view)
        self.logbook = Logbook(folder / "shop.db", self.shelf.names, beside=self.decisions.beside).open()
        self.store = WatchWriter(folder / "watch.db")
        self.watch = Watch(self.where, book, self.shelf, self.store, self.clock, ZoneInfo(ZONE))
        self._count = 0

    def reads_from(self) -> Where:
        return self.folder / "readings.db"

    def view(self) -> View:
        return View(ZoneInfo(ZONE), "degC", self.clock.now())

    def close(self) -> None:
        self.readings.close()
        self.logbook.close()
        self.store.close()

    def measured(self, first: int, last: int) -> None:
        """Minutes first..last after START, last excluded, without GAP; one reading in it is a power-on value."""
        readings = []
        for minute in range(first, last):
            if GAP[0] < minute < GAP[1]:
                continue
            at = START + minute * MINUTE
            flag = Quality.POWER_ON_VALUE if minute == 300 else Quality.GOOD
            surface = 85.0 if minute == 300 else panel_C(minute)
            readings += [
                Reading("S1", Quantity.TEMPERATURE, surface, at, at, flag),
                Reading("A1", Quantity.TEMPERATURE, panel_C(minute) - 0.8, at, at),
                Reading("A1", Quantity.RELATIVE_HUMIDITY, moist(minute), at, at),
            ]
        self.readings.commit(readings)

    def steady(self, first: int, last: int, value: float) -> None:
        """S1 and the air at so many degC and 50 %, minutes first..last after START, last excluded."""
        readings = []
        for minute in range(first, last):
            at = START + minute * MINUTE
            readings += [
                Reading("S1", Quantity.TEMPERATURE, value, at, at),
                Reading("A1", Quantity.TEMPERATURE, value, at, at),
                Reading("A1", Quantity.RELATIVE_HUMIDITY, 50.0, at, at),
            ]
        self.readings.commit(readings)

    def state(self) -> State:
        """How far the panel has come, as watch said it last."""
        answer = self.seen.assessment("lid-4")
        assert answer is not None
        return answer.verdict.state

    def log(
        self, what: str, minute: float, panel: str | None = "lid-4", who: str = "Kim", **body: object
    ) -> str:
        self._count += 1
        at = START + round(minute * MINUTE)
        body |= {
            key: f"{self.site}{body[key]}" for key in ("surface_probe", "air_probe", "probe") if key in body
        }
        self.logbook.append(Event(f"entry-{self._count:04d}", at, self.clock.at, who, what, panel, body))
        return f"entry-{self._count:04d}"

    def round_at(self, minute: float) -> None:
        self.clock.at = START + round(minute * MINUTE)
        self.watch.round()

    def archive(self) -> Archive:
        return Archive(self.where, self.logbook, self.shelf.text, self.seen.said, "Invented shed", ZONE)

    def used(self) -> Used:
        return self.archive().used("lid-4", self.clock.now())


def lived_through(folder: Path, *, felt: bool = True) -> Shop:
    """Two coats over an evening, a cold night with a gap and a wet hour, a wash, sanding against the answer.

    felt   whether somebody laid a thumb on it
    """
    shop = Shop(folder)
    live(shop, felt=felt)
    return shop


def live(shop: Shop, *, felt: bool = True) -> None:
    """The same, in a shop that is there."""
    shop.measured(-1500, 5)
    shop.log(
        "panel registered", 0, name="Lid 4", zone="shed", surface_probe="S1", air_probe="A1", substrate="wood"
    )  # fmt: skip
    shop.log("correction entered", -60, None, **CORRECTION)
    shop.round_at(4)
    pot = {"resin_g": 310.0, "hardener_g": 87.2, "stirred": True, "vessel": "cup", "bottles_C": 21.0}
    shop.log("coat mixed", 0, card=OWN, applied_at=START + 6 * MINUTE, kind="laminate", pot=pot,
             resin_lot="R-17", hardener_lot="H-03")  # fmt: skip
    shop.measured(5, 200)
    shop.round_at(199)
    if felt:
        shop.log("thumb test", 198, words=["tacky like tape"])
    shop.round_at(199.5)
    shop.log("coat mixed", 199, card=OWN, applied_at=START + 199 * MINUTE, kind="fill")
    shop.measured(200, 1200)
    shop.round_at(1199)
    mistake = shop.log("sanded", 1190, who="Ola")
    shop.log("withdrawn", 1199, who="Ola", event=mistake, reason="wrong panel")
    shop.round_at(1199.2)
    shop.log("washed", 1160)
    shop.round_at(1199.5)
    shop.log("sanded", 1199)
    shop.measured(1200, 1500)
    shop.round_at(1499)
    if felt:
        shop.log("thumb test", 1490, words=["sands to dust"], tile_C=20.0)
    shop.log("hardness", 1495, scale="Shore D", value=74, on="tile", at_C=20.5)
    shop.round_at(1499.5)
