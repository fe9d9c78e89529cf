"""A file brought in by hand: read at once if nobody writes the store, else handed to the collector that runs."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.file_import import ImportRefused, import_file, read_into
from collector.reading import Quantity
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.collector.shops import folder, probe, serial, shop

CLOCK = SteppedClock(1_795_700_000_000)
NIGHT = "time,panel,air\n2026-11-24 21:00,12.5,81\n2026-11-24 21:01,bad,82\n"


@pytest.fixture
def night(tmp_path: Path) -> Path:
    path = tmp_path / "night.csv"
    path.write_text(NIGHT)
    return path


def the_shop(at: Path):
    return shop(at, serial("/dev/null"), folder(), probe("L1", "logger"), probe("L2", "logger", place="air"))


def test_a_file_is_read_at_once_and_reported(tmp_path: Path, night: Path) -> None:
    settings = the_shop(tmp_path)
    done = import_file(night, settings, "logger", CLOCK)
    assert done.handed_to is None
    assert done.outcome is not None
    assert (done.outcome.readings, [refusal.kind for refusal in done.outcome.refused]) == (
        3,
        ["not a number"],
    )
    assert import_file(night, settings, "logger", CLOCK).outcome == done.outcome
    reader = Reader.open(settings.readings_db)
    assert reader.samples("L2", Quantity.RELATIVE_HUMIDITY, 0, 2**60)[1].tolist() == [81.0, 82.0]
    assert reader.last_batch() == 1
    reader.close()
    assert night.exists()


def test_while_collect_runs_the_file_is_put_into_its_folder_and_replaces_nothing(
    tmp_path: Path, night: Path
) -> None:
    settings = the_shop(tmp_path)
    running = Writer.open(settings.readings_db, CLOCK)
    first = import_file(night, settings, "logger", CLOCK)
    second = import_file(night, settings, "logger", CLOCK)
    running.close()
    assert first.outcome is None
    assert first.handed_to == tmp_path / "inbox" / "night.csv"
    assert second.handed_to == tmp_path / "inbox" / "night-2.csv"
    assert sorted(path.name for path in (tmp_path / "inbox").iterdir()) == ["night-2.csv", "night.csv"]
    assert second.handed_to.read_text() == NIGHT


@pytest.mark.parametrize(
    ("source", "told"), [("loger", "did you mean 'logger'"), ("usb", "allowed here: logger")]
)
def test_a_source_that_is_no_folder_is_refused_naming_those_that_are(
    tmp_path: Path, night: Path, source: str, told: str
) -> None:
    with pytest.raises(ImportRefused, match=told):
        import_file(night, the_shop(tmp_path), source, CLOCK)


def test_settings_without_a_folder_source_say_what_to_add(tmp_path: Path, night: Path) -> None:
    with pytest.raises(ImportRefused, match="add one of kind 'folder'"):
        import_file(night, shop(tmp_path), "logger", CLOCK)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(ImportRefused, match="No such file"):
        import_file(tmp_path / "none.csv", the_shop(tmp_path), "logger", CLOCK)


def test_bytes_go_the_same_way_into_a_store_in_memory(tmp_path: Path) -> None:
    writer = Writer.open(None, CLOCK)
    outcome = read_into(writer, the_shop(tmp_path), "logger", NIGHT.encode(), CLOCK)
    assert outcome.readings == 3
    assert Reader(writer.connection).samples("L1", Quantity.TEMPERATURE, 0, 2**60)[1].tolist() == [12.5]
    writer.close()
