"""Backup and restore: whole or not there, refused while anything runs, and nothing is overwritten."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import apsw
import pytest

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.store import backup as backups
from collector.store.backup import MANIFEST, back_up, restore, verify
from collector.store.reader import Reader
from collector.store.readings_schema import READINGS
from collector.store.schema import UNFINISHED, Locked, Schema, StoreError, open_writer
from collector.store.writer import Writer

T0 = 1_795_600_000_000
OTHER = Schema("other.db", "another", 77, ("CREATE TABLE said(text)",))


class House:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / "data" / "readings.db"
        self.files = [(folder / "data" / "other.db", OTHER), (self.path, READINGS)]

    def say(self, *values: float) -> None:
        writer = Writer.open(self.path, SteppedClock(T0))
        for value in values:
            at = T0 + round(value * 1000)
            writer.commit([Reading("S1", Quantity.TEMPERATURE, value, at, at)])
        writer.close()

    def values(self, path: Path | None = None) -> list[float]:
        reader = Reader.open(path or self.path)
        try:
            return reader.samples("S1", Quantity.TEMPERATURE, 0, 2**60)[1].tolist()
        finally:
            reader.close()


@pytest.fixture
def house(tmp_path: Path) -> House:
    house = House(tmp_path)
    house.say(1.0, 2.0)
    return house


def test_a_backup_is_made_while_a_writer_writes_and_holds_all_that_was_committed(house: House) -> None:
    writer = Writer.open(house.path, SteppedClock(T0))
    writer.commit([Reading("S1", Quantity.TEMPERATURE, 3.0, T0 + 3000, T0 + 3000)])
    made = back_up(house.files, house.folder / "copy", T0)
    writer.commit([Reading("S1", Quantity.TEMPERATURE, 4.0, T0 + 4000, T0 + 4000)])
    writer.close()
    assert [item.name for item in made] == ["readings.db"], "a file nobody has made yet is left out"
    assert house.values(house.folder / "copy" / "readings.db") == [1.0, 2.0, 3.0]
    assert verify(house.folder / "copy") == made


def test_a_target_that_exists_or_has_no_folder_is_refused_and_nothing_is_left(house: House) -> None:
    (house.folder / "copy").mkdir()
    with pytest.raises(StoreError, match="exists already"):
        back_up(house.files, house.folder / "copy", T0)
    with pytest.raises(StoreError, match="is not a folder"):
        back_up(house.files, house.folder / "no" / "copy", T0)
    with pytest.raises(StoreError, match="nothing to back up"):
        back_up(house.files[:1], house.folder / "other", T0)
    assert sorted(path.name for path in house.folder.iterdir()) == ["copy", "data"]


def test_a_damaged_file_is_not_backed_up(house: House) -> None:
    house.path.write_bytes(b"no database " * 1000)
    with pytest.raises(StoreError, match=r"readings\.db is damaged"):
        back_up(house.files, house.folder / "copy", T0)
    assert not list(house.folder.glob("copy*"))


def test_one_changed_bit_of_a_backup_is_found_and_nothing_is_restored(house: House) -> None:
    back_up(house.files, house.folder / "copy", T0)
    copy = house.folder / "copy" / "readings.db"
    content = bytearray(copy.read_bytes())
    content[-1] ^= 1
    copy.write_bytes(content)
    with pytest.raises(StoreError, match="not what was backed up"):
        restore(house.folder / "copy", house.files, [], T0)
    (house.folder / "copy" / MANIFEST).unlink()
    with pytest.raises(StoreError, match="not a whole backup"):
        restore(house.folder / "copy", house.files, [], T0)
    assert house.values() == [1.0, 2.0]


def test_a_restore_moves_what_was_there_aside_with_its_log_and_its_cursor(house: House) -> None:
    back_up(house.files, house.folder / "copy", T0)
    house.say(3.0)
    cursor = house.folder / "data" / "forward.cursor"
    cursor.write_text("3\n")
    aside = restore(house.folder / "copy", house.files, [cursor], T0)
    assert house.values() == [1.0, 2.0]
    assert house.values(aside / "readings.db") == [1.0, 2.0, 3.0]
    assert (aside / "forward.cursor").read_text() == "3\n"
    assert not cursor.exists()
    again = restore(house.folder / "copy", house.files, [cursor], T0)
    assert again != aside, "nothing that lies aside is overwritten"
    house.say(5.0)
    assert house.values() == [1.0, 2.0, 5.0]


def test_while_a_process_runs_nothing_is_restored(house: House) -> None:
    back_up(house.files, house.folder / "copy", T0)
    house.say(3.0)
    running = open_writer(house.files[0][0], OTHER)
    with pytest.raises(Locked, match="another runs already: end coldshed first, nothing was changed"):
        restore(house.folder / "copy", house.files, [], T0)
    running.close()
    assert house.values() == [1.0, 2.0, 3.0]


def test_a_backup_of_a_newer_program_or_of_other_files_is_refused(house: House) -> None:
    newer = replace(READINGS, migrations=(*READINGS.migrations, "CREATE TABLE newer(x)"))
    open_writer(house.path, newer).close()
    back_up([(house.path, newer)], house.folder / "copy", T0)
    with pytest.raises(StoreError, match="newer coldshed: update this one"):
        restore(house.folder / "copy", house.files, [], T0)
    with pytest.raises(StoreError, match=r"readings\.db is none of ours"):
        restore(house.folder / "copy", house.files[:1], [], T0)


def test_a_restore_that_was_cut_off_lets_nothing_start_until_it_is_done_again(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    back_up(house.files, house.folder / "copy", T0)
    house.say(3.0)

    def no_power(source: Path, target: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(backups, "move", no_power)
    with pytest.raises(KeyboardInterrupt):
        restore(house.folder / "copy", house.files, [], T0)
    monkeypatch.undo()
    assert (house.path.with_name(UNFINISHED)).exists()
    with pytest.raises(StoreError, match="run 'coldshed restore' again"):
        Writer.open(house.path, SteppedClock(T0))
    restore(house.folder / "copy", house.files, [], T0)
    assert house.values() == [1.0, 2.0]


def test_a_backup_is_a_plain_file_that_opens_on_a_read_only_card(house: House) -> None:
    """Without a log: nothing has to be written beside it."""
    back_up(house.files, house.folder / "copy", T0)
    moved = house.folder / "card"
    shutil.copytree(house.folder / "copy", moved)
    connection = apsw.Connection(
        f"file:{moved / 'readings.db'}?immutable=1", flags=apsw.SQLITE_OPEN_READONLY | apsw.SQLITE_OPEN_URI
    )
    assert connection.execute("SELECT count(*) FROM reading").get == 2
    connection.close()
    assert [item["name"] for item in json.loads((moved / MANIFEST).read_text())["files"]] == ["readings.db"]
