"""watch in a shop's first minute, started before the others have made their files."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.cards import CardShelf
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from tests.dashboard.test_watch import MINUTE, START


def test_a_probe_heard_after_watch_had_to_wait_for_the_logbook_is_answered_from(tmp_path: Path) -> None:
    """What waits for shop.db has seen no reading yet; the first panel is answered from those that came since."""
    clock = SteppedClock(START)
    readings = Writer.open(tmp_path / "readings.db", clock)
    readings.describe([ProbeFacts("S1", "shed", "surface", 60.0, 0.8)])
    store = WatchWriter(tmp_path / "watch.db")
    entries = LogbookReader(tmp_path / "shop.db")
    watching = Watch(tmp_path / "readings.db", entries, CardShelf(None), store, clock, ZoneInfo("UTC"))
    watching.round()
    logbook = Logbook(tmp_path / "shop.db", lambda: ["invented-25min"]).open()
    readings.commit([Reading("S1", Quantity.TEMPERATURE, 20.0, START, START)])
    body = {"name": "Deck", "zone": "shed", "surface_probe": "S1", "air_probe": None, "substrate": "wood"}
    logbook.append(Event("e1", START, START, "somebody", "panel registered", "deck", body))
    clock.at = START + MINUTE
    watching.round()
    answer = WatchReader(tmp_path / "watch.db", entries).assessment("deck")
    assert answer is not None
    assert (answer.verdict.headline.key, answer.readings_to) == ("planned", START)
    for part in (logbook, store, readings):
        part.close()
