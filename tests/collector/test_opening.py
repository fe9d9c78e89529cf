"""The start of collect on a bad day: a damaged file, a full disk, a file of another kind."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import apsw
import pytest

from collector import app
from collector.clock import SteppedClock
from collector.opening import NoStart, open_or_begin, tell_troubles
from collector.reading import Quantity, Reading
from collector.store import schema
from collector.store.ballast import Ballast
from collector.store.reader import Reader
from collector.store.schema import Damaged
from collector.store.trouble import NAME, TroubleFile, read
from collector.store.writer import Writer
from dashboard.conditions import recording
from tests.collector.shops import probe, serial, shop

T0 = 1_795_600_000_000


def say(writer: Writer, value: float) -> None:
    at = T0 + round(value * 1000)
    writer.commit([Reading("S1", Quantity.TEMPERATURE, value, at, at)])


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with a few thousand readings, one page of which is rubbish."""
    path = tmp_path / "readings.db"
    writer = Writer.open(path, SteppedClock(T0))
    writer.commit([Reading("S1", Quantity.TEMPERATURE, 1.0, T0 + i, T0 + i) for i in range(5000)])
    writer.close()
    return path


def ruin(path: Path) -> bytes:
    content = bytearray(path.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 4096] = b"\xff" * 4096
    path.write_bytes(content)
    return bytes(content)


@pytest.fixture
def troubles(tmp_path: Path) -> Iterator[TroubleFile]:
    with tell_troubles(tmp_path, Ballast(tmp_path / "ballast")) as troubles:
        yield troubles


def test_a_damaged_file_is_set_aside_whole_and_the_night_is_recorded_in_a_new_one(
    path: Path, troubles: TroubleFile, caplog: pytest.LogCaptureFixture
) -> None:
    ruined = ruin(path)
    before = Reader.open(path).last_batch()
    writer = open_or_begin(path, SteppedClock(T0), Ballast(path.with_name("ballast")), troubles)
    say(writer, 2.0)
    writer.close()
    (aside,) = path.parent.glob("readings.db.damaged-*")
    assert aside.read_bytes() == ruined
    reader = Reader.open(path)
    assert reader.samples("S1", Quantity.TEMPERATURE, 0, 2**60)[1].tolist() == [2.0]
    assert [reading.value for reading in reader.readings_after(before, 10)[0]] == [2.0], "cursors go on"
    reader.close()
    assert "WAS DAMAGED" in caplog.text
    assert [c.say.values["trouble"] for c in recording(path, T0)] == ["file damaged"]
    aside.unlink()
    assert recording(path, T0) == [], "over once somebody has moved the old file away"


def test_a_file_that_is_found_damaged_while_collect_runs_is_set_aside_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = shop(tmp_path, serial("/dev/null"), probe("S1", "usb"))
    Writer.open(settings.readings_db, SteppedClock(T0)).close()

    def malformed(*_: object, **__: object) -> None:
        raise apsw.CorruptError("database disk image is malformed")

    monkeypatch.setattr("collector.app.Pipeline", malformed)
    assert app.collect(settings, SteppedClock(T0), lambda: True) == app.NOT_STARTED
    assert len(list(settings.data_folder.glob("readings.db.damaged-*"))) == 1
    monkeypatch.undo()
    assert app.collect(settings, SteppedClock(T0), lambda: True) == app.ENDED


def test_a_quick_look_that_takes_too_long_does_not_hold_up_the_night(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ruin(path)
    with pytest.raises(Damaged):
        Writer.open(path, SteppedClock(T0))
    monkeypatch.setattr(schema, "QUICK_LOOK_S", -1.0)
    monkeypatch.setattr(schema, "LOOK_AGAIN_STEPS", 10)
    Writer.open(path, SteppedClock(T0)).close()


def test_a_foreign_file_is_refused_and_not_touched(tmp_path: Path, troubles: TroubleFile) -> None:
    path = tmp_path / "readings.db"
    other = apsw.Connection(str(path))
    other.execute("CREATE TABLE mine(x)")
    other.close()
    content = path.read_bytes()
    with pytest.raises(NoStart, match=r"is not a readings.db file: move it away"):
        open_or_begin(path, SteppedClock(T0), Ballast(tmp_path / "ballast"), troubles)
    assert path.read_bytes() == content


def test_a_state_file_that_cannot_be_read_is_itself_trouble(tmp_path: Path) -> None:
    (tmp_path / NAME).write_text("{half")
    (trouble,) = read(tmp_path / "readings.db")
    assert trouble.kind.value == "disk error"
    assert "cannot be read" in trouble.text


def test_a_name_that_is_no_text_any_more_is_damage_too(tmp_path: Path) -> None:
    """SQLite does not look into texts; Python cannot read this one."""
    settings = shop(tmp_path, serial("/dev/null"), probe("S1", "usb"))
    writer = Writer.open(settings.readings_db, SteppedClock(T0))
    say(writer, 1.0)
    writer.connection.execute("UPDATE series SET probe = CAST(x'ff41' AS TEXT)")
    writer.close()
    assert app.collect(settings, SteppedClock(T0), lambda: True) == app.NOT_STARTED
    assert len(list(settings.data_folder.glob("readings.db.damaged-*"))) == 1
    assert app.collect(settings, SteppedClock(T0), lambda: True) == app.ENDED
