"""An invented shop whose one panel has lain for a week beside probes that speak each ten seconds, in real stores."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from fastapi import FastAPI

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.app import create_app
from dashboard.cards import CardShelf
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from tests.browser.fake_shop import HOUR, NOW, ZONE
from tests.dashboard.client import HOST

SECOND, DAY = 1000, 24 * HOUR
EVERY_MS = 10 * SECOND
PROBES = [ProbeFacts("S1", "shed", "surface", 10.0, 0.8), ProbeFacts("A1", "shed", "air", 10.0, 0.8)]
GAP = (30 * HOUR, 32 * HOUR)
"""Hours after the beginning of which there are no readings."""


@dataclass
class WeekShop:
    """The panel is lid-4; its coat was mixed at `mixed_at` (UTC ms)."""

    folder: Path
    clock: SteppedClock
    watch: Watch
    app: FastAPI
    mixed_at: int

    def later(self, ms: int) -> None:
        """So much later, with all readings until then, worked out again."""
        begin, self.clock.at = self.clock.at, self.clock.at + ms
        store(self.folder, self.clock, readings(self.mixed_at, begin + 1, self.clock.at))
        self.watch.round()


def readings(mixed_at: int, start: int, end: int) -> list[Reading]:
    """Cold nights, a noisy panel, damp air beside it, and a door that stood open for ten seconds on the third day."""
    t = np.arange(-(-start // EVERY_MS) * EVERY_MS, end + 1, EVERY_MS)
    random = np.random.default_rng(t[:1])
    day = np.sin(2.0 * np.pi * t / DAY)
    panel = 8.0 + 4.0 * day + random.normal(0.0, 0.05, len(t))
    panel[t == -(-(mixed_at + 50 * HOUR) // EVERY_MS) * EVERY_MS] = -6.0
    air = 7.0 + 5.0 * day + random.normal(0.0, 0.1, len(t))
    moist = 80.0 - 12.0 * day + random.normal(0.0, 0.5, len(t))
    heard = (t < mixed_at + GAP[0]) | (t > mixed_at + GAP[1])
    found = []
    for probe, what, values in (
        ("S1", Quantity.TEMPERATURE, panel),
        ("A1", Quantity.TEMPERATURE, air),
        ("A1", Quantity.RELATIVE_HUMIDITY, moist),
    ):
        pairs = zip(t[heard].tolist(), np.round(values[heard], 2).tolist(), strict=True)
        found += [Reading(probe, what, value, at, at) for at, value in pairs]
    return found


def store(folder: Path, clock: SteppedClock, found: list[Reading]) -> None:
    writer = Writer.open(folder / "readings.db", clock)
    writer.describe(PROBES)
    for begin in range(0, len(found), 50_000):
        writer.commit(found[begin : begin + 50_000])
    writer.close()


@contextmanager
def week_shop(folder: Path, port: int = 8137, days: int = 7) -> Iterator[WeekShop]:
    """A shop of so many days, worked out by watch at NOW."""
    clock, mixed_at, shelf = SteppedClock(NOW), NOW - days * DAY, CardShelf(None)
    store(folder, clock, readings(mixed_at, mixed_at - HOUR, NOW))
    logbook = Logbook(folder / "shop.db", shelf.names).open()
    body = {"name": "Lid 4", "zone": "shed", "surface_probe": "S1", "air_probe": "A1", "substrate": "wood"}
    logbook.append(Event("week-0000001", mixed_at - HOUR, mixed_at, "Kim", "panel registered", "lid-4", body))
    coat = {"card": "invented-25min", "kind": "laminate"}
    logbook.append(Event("week-0000002", mixed_at, mixed_at, "Kim", "coat mixed", "lid-4", coat))
    kept = WatchWriter(folder / "watch.db")
    reader = LogbookReader(folder / "shop.db")
    watch = Watch(folder / "readings.db", reader, shelf, kept, clock, ZoneInfo(ZONE))
    watch.round()
    app = create_app(
        watched=WatchReader(folder / "watch.db", logbook),
        logbook=logbook,
        probes=lambda: PROBES,
        cards=shelf.names,
        clock=clock,
        site="Invented shed",
        time_zone=ZONE,
        invented=True,
        allowed_hosts=("127.0.0.1", HOST),
        port=port,
        readings=folder / "readings.db",
        card_facts=shelf.facts,
        card=shelf.get,
    )
    yield WeekShop(folder, clock, watch, app, mixed_at)
    kept.close()
    logbook.close()
