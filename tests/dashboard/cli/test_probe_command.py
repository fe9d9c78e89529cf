"""`coldshed probe`: a check step by step, corrections and devices, and an export that can be worked out again."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector import settings as settings_file
from collector.clock import SteppedClock, SystemClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.cli.probes import Guide
from dashboard.devices import probe_logs
from dashboard.logbook import LogbookReader
from dashboard.probes import series
from tests.dashboard.cli.test_commands import SETTINGS, coldshed

MINUTE = 60_000
NOW = 1_795_629_600_000


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    text = SETTINGS.replace("interval_s = 300", "interval_s = 30")
    (tmp_path / "coldshed.toml").write_text(text, encoding="utf-8")
    return tmp_path


def cold(folder: Path, begin: int, end: int, value: float = 0.4) -> None:
    """L1 lies in ice water, a reading every 30 s."""
    writer = Writer.open(folder / "data" / "readings.db", SteppedClock(end))
    writer.describe([ProbeFacts("L1", "shed", "surface", 30.0, 0.8)])
    writer.commit(
        [Reading("L1", Quantity.TEMPERATURE, value, at, at) for at in range(begin, end, MINUTE // 2)]
    )
    writer.close()


def test_the_guide_waits_until_the_probe_is_at_rest_then_logs_and_corrects(shop: Path) -> None:
    """Enter when it is in; yes to the log; yes to the correction. The clock moves only while the guide waits."""
    clock = SteppedClock(NOW)
    cold(shop, NOW - MINUTE, NOW)
    told: list[str] = []
    asked: list[str] = []

    def pause() -> None:
        cold(shop, clock.at, clock.at + MINUTE)
        clock.at += MINUTE

    def ask(question: str) -> str:
        asked.append(question)
        return "y"

    settings = settings_file.load(shop / "coldshed.toml")
    guide = Guide(
        settings, settings.probe[0], "ice water", "as found", "Kim", None, clock, series(settings.readings_db), ask,
        told.append, pause,
    )  # fmt: skip
    assert guide.run() == 0
    assert clock.at == NOW + 5 * MINUTE
    assert told[0].startswith("1. Crush ice fine")
    assert any("Off by: 0.4" in text for text in told)
    assert [question.split(" [")[0] for question in asked] == [
        "It is in now", "Log the check?", "Enter the correction: 0.40 degC is 0.00 degC, within 0.10?",
    ]  # fmt: skip
    log = probe_logs(LogbookReader(settings.shop_db).events(), ["L1"])["L1"]
    entered = log.in_force(Quantity.TEMPERATURE, clock.at)
    assert entered is not None
    assert entered.correction.one(0.4) == pytest.approx(0.0)


def test_a_check_nobody_wants_logged_leaves_nothing(shop: Path) -> None:
    clock = SteppedClock(NOW)
    cold(shop, NOW - 9 * MINUTE, NOW)
    settings = settings_file.load(shop / "coldshed.toml")
    guide = Guide(
        settings, settings.probe[0], "ice water", "as found", "Kim", NOW - 8 * MINUTE, clock,
        series(settings.readings_db), lambda question: "", lambda text: None, lambda: None,
    )  # fmt: skip
    assert guide.run() == 1
    assert not settings.shop_db.exists()


def test_from_check_to_export_by_command_and_back(shop: Path) -> None:
    """A20: the export names the entry that each corrected value rests on; raw plus entry gives the value exactly."""
    now = SystemClock().now()
    cold(shop, now - 9 * MINUTE, now)
    since = datetime.fromtimestamp(now / 1000 - 480, UTC).isoformat()
    done = coldshed(shop, "probe", "check", "L1", "--since", since, "--yes")
    assert done.returncode == 0, done.stderr
    assert "Off by: 0.4" in done.stdout
    wrong = coldshed(shop, "probe", "correct", "L1", "--point", "40=0", "--within", "0.1", "--reference", "x")
    assert "broken probe" in wrong.stderr
    entered = coldshed(
        shop, "probe", "correct", "L1", "--point", "0.4=0.1", "--point", "20.5=20", "--within", "0.2", "--reference",
        "shop reference 1", "--at", since,
    )  # fmt: skip
    assert entered.returncode == 0, entered.stderr
    rows = list(csv.DictReader(io.StringIO(coldshed(shop, "export", "--probe", "L1", "--corrected").stdout)))
    events = {event.id: event for event in LogbookReader(shop / "data" / "shop.db").events()}
    assert len(rows) == 18
    assert {row["correction"] for row in rows} == {"", entered_id(events)}
    for row in rows:
        value = float(row["value"])
        if row["correction"]:
            (a, at_a), (b, at_b) = events[row["correction"]].body["points"]
            value += (at_a - a) + ((at_b - b) - (at_a - a)) * (value - a) / (b - a)
        assert float(row["corrected"]) == pytest.approx(value, abs=1e-12)
    shown = coldshed(shop, "probe", "show", "L1").stdout
    assert "20.5" in shown
    back = coldshed(shop, "probe", "back", "L1", "--entry", entered_id(events))
    assert back.returncode == 0, back.stderr
    assert "taken back" in coldshed(shop, "probe", "show", "L1").stdout
    assert "Device X7" not in coldshed(shop, "probe", "list").stdout
    coldshed(shop, "probe", "device", "L1", "--serial", "X7")
    assert re.search(r"L1: Device X7, since", coldshed(shop, "probe", "list").stdout)


def entered_id(events: dict[str, object]) -> str:
    """The correction that counts: the last one entered for the earlier time."""
    return [id_ for id_, event in events.items() if event.kind == "correction entered"][-1]
