"""The probes page over a real readings.db: last values, ages, silence, refusals and names nobody claims."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from collector.clock import SteppedClock
from collector.reading import Quality, Quantity, Reading
from collector.store.trouble import Kind, TroubleFile
from collector.store.writer import Heard, Refused, Writer
from dashboard.app import create_app
from dashboard.logbook import Logbook
from dashboard.watch_store import WatchReader
from tests.browser.fake_shop import MINUTE, NOW, PROBES, ZONE
from tests.dashboard.client import Client

TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


def client(folder: Path, not_sent_on: Callable[[], str] = str) -> Client:
    logbook = Logbook(folder / "shop.db").open()
    app = create_app(
        watched=WatchReader(folder / "watch.db", logbook),
        logbook=logbook,
        probes=lambda: PROBES,
        cards=lambda: [],
        clock=SteppedClock(NOW),
        site="Invented shed",
        time_zone=ZONE,
        readings=folder / "readings.db",
        not_sent_on=not_sent_on,
    )
    return Client(app)


def reading(
    probe: str, quantity: Quantity, value: float, ago: int, quality: Quality = Quality.GOOD
) -> Reading:
    return Reading(probe, quantity, value, NOW - ago, NOW - ago, quality)


def test_every_probe_shows_its_last_value_its_age_and_why_it_is_not_used(tmp_path: Path) -> None:
    writer = Writer.open(tmp_path / "readings.db", SteppedClock(NOW))
    writer.describe(PROBES)
    writer.commit(
        [
            reading("S1", TEMPERATURE, 4.84, MINUTE),
            reading("S2", TEMPERATURE, 85.0, 4 * 60 * MINUTE, Quality.POWER_ON_VALUE),
        ],
        refusals=[Refused("bench", "no unit", "line 7: a number without its unit", NOW - 2 * MINUTE)],
        heard=[Heard("bench", "X9", TEMPERATURE, 5.0, NOW - MINUTE)],
    )
    page = client(tmp_path).get("/more/probes").text.replace("\u00a0", " ")
    assert "temperature 4.8 °C" in page
    assert "1 min ago" in page
    assert "temperature 85.0 °C (not used: sent before it has measured)" in page
    assert "silent since 02:10" in page
    assert "never heard" in page
    assert "bench: no unit, 1" in page
    assert "line 7: a number without its unit" in page
    assert "X9" in page
    writer.close()


def test_collect_that_never_ran_is_told_in_words(tmp_path: Path) -> None:
    asked = client(tmp_path)
    assert "Collect has not started" in asked.get("/more/probes").text
    answer = asked.get("/api/probes")
    assert answer.status_code == 503
    assert "collect has not started" in answer.json()["error"]["what"]


def test_what_keeps_readings_from_being_sent_on_is_told(tmp_path: Path) -> None:
    why = ["http://127.0.0.1:8086 answers 503"]
    asked = client(tmp_path, not_sent_on=lambda: why[0])
    assert asked.get("/api/health").json()["not_sent_on"] == why[0]
    page = asked.get("/more/probes").text
    assert why[0] in page
    assert "Nothing is lost" in page
    why[0] = ""
    assert "Nothing is lost" not in asked.get("/more/probes").text


def test_what_keeps_readings_from_being_stored_is_told_with_what_to_do(tmp_path: Path) -> None:
    troubles = TroubleFile(tmp_path)
    asked = client(tmp_path)
    assert asked.get("/api/health").json()["recording"] == []
    troubles.tell(Kind.DISK_FULL, NOW, "database or disk is full")
    (told,) = asked.get("/api/health").json()["recording"]
    assert told.startswith("the disk is full, nothing is stored: make room")
    assert told in asked.get("/more/probes").text
    assert "Save the recording: disk full" in asked.get("/").text, "also while watch can store no alarm of it"
    troubles.close()
