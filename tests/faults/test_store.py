"""Rows B44 to B50 and B53 of the list of faults: the store on a disk, a card or a machine that fails."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import apsw
import pytest

import collector
from collector.clock import SteppedClock
from collector.durable import replace_whole
from collector.reading import Quantity, Reading
from collector.store.backup import back_up, verify
from collector.store.check import check_file, rests_on_more
from collector.store.reader import Reader
from collector.store.readings_schema import READINGS
from collector.store.schema import StoreError, transaction
from collector.store.writer import Writer
from dashboard.conditions import recording
from tests.faults.cuts import cut_power
from tests.faults.disk import Recorder
from tests.faults.flips import flip
from tests.faults.power_ingest import cut_again_and_again
from tests.faults.store_house import StoreHouse, Waits, store_house
from tests.services import wait_until

T0 = 1_795_600_000_000
TEMPERATURE = Quantity.TEMPERATURE


@pytest.fixture
def house(tmp_path: Path) -> Iterator[StoreHouse]:
    with store_house(tmp_path) as house:
        yield house


@pytest.fixture
def waits(monkeypatch: pytest.MonkeyPatch) -> Waits:
    waits = Waits()
    monkeypatch.setattr("collector.pipeline.GrowingWait", lambda: waits)
    return waits


@pytest.mark.parametrize(
    ("fault", "told"), [("full", "disk full"), ("read-only", "disk error"), ("error", "disk error")]
)
def test_b44_a_disk_that_takes_nothing_keeps_readings_waiting_is_told_and_recovers(
    house: StoreHouse, waits: Waits, fault: str, told: str
) -> None:
    house.say(1.5)
    assert house.work()
    house.disk.fault = fault
    house.say(2.5)
    house.say(3.5)
    assert not house.work(), "what cannot be stored is no success"
    assert (house.done, house.stored()) == ([1.5], [1.5])
    assert house.told() == [told]
    rung = recording(house.readings, house.clock.at)
    assert [condition.say.values["trouble"] for condition in rung] == [told]
    house.disk.fault = None
    assert house.work()
    assert house.done == house.stored() == [1.5, 2.5, 3.5]
    assert (house.told(), recording(house.readings, house.clock.at)) == ([], [])


def test_b44_a_full_disk_gets_the_ballasts_room_rings_and_has_it_back_when_there_is_room(
    house: StoreHouse, waits: Waits, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.quiet()
    assert house.ballast_file.stat().st_blocks * 512 >= 100_000, "its room is really taken"
    house.disk.fault = "full"
    give_up = house.ballast.give_up

    def make_room() -> bool:
        house.disk.fault = None
        return give_up()

    monkeypatch.setattr(house.ballast, "give_up", make_room)
    house.say(1.5)
    assert house.work()
    assert waits.pauses == 0, "nothing waited"
    assert house.stored() == [1.5]
    assert not house.ballast_file.exists()
    assert house.told() == ["on reserve"]
    monkeypatch.setattr("collector.store.ballast.SPARE", 10**9)
    house.quiet()
    assert (house.told(), house.ballast_file.exists()) == (["on reserve"], False), "no room yet"
    monkeypatch.undo()
    house.quiet()
    assert (house.told(), house.ballast_file.exists()) == ([], True)


def test_b44_on_a_real_full_disk_rows_can_be_deleted_again_once_the_ballast_is_given_up(
    tmp_path: Path,
) -> None:
    """A file system of 3 MB of its own, in a name space of its own: no rights are needed for that."""
    result = on_small_disk(tmp_path, "size=3m")
    assert result["told_on_reserve"] == ["on reserve"]
    assert result["deleted"] > 0, "DELETE works on the reserve"
    assert result["told_at_last"] == ["disk full"]
    assert result["stored_at_last"] == result["done_at_last"] < result["said"], "what is told done is stored"
    assert result["stored_in_the_end"] == result["said"], "and the rest waited"
    assert result["told_in_the_end"] == []


def test_b44_on_a_read_only_disk_collect_does_not_start_and_says_why(tmp_path: Path) -> None:
    result = on_small_disk(tmp_path, "ro")
    assert "cannot be written (Read-only file system)" in str(result["refused"])


def on_small_disk(tmp_path: Path, options: str) -> dict[str, object]:
    """Runs small_disk.py on a file system with these mount options."""
    unshare = shutil.which("unshare")
    inside = ["sh", "-c", 'mount -t tmpfs -o "$1" none "$2" && exec "$3" -P "$4" "$2"', "sh"]
    script = Path(__file__).with_name("small_disk.py")
    command = [str(unshare), "-Urm", *inside, options, str(tmp_path), sys.executable, str(script)]
    if (
        unshare is None
        or subprocess.run([unshare, "-Urm", "true"], capture_output=True, check=False).returncode
    ):
        pytest.skip("this machine gives nobody a name space of their own: a real small disk cannot be made")
    root = str(Path(collector.__file__).parent.parent)
    run = subprocess.run(
        command,
        env=os.environ | {"PYTHONPATH": root},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    found: dict[str, object] = json.loads(run.stdout)
    return found


def test_b45_a_file_locked_for_a_minute_by_another_program_loses_nothing_and_rings(
    house: StoreHouse, waits: Waits
) -> None:
    other = apsw.Connection(str(house.readings))
    other.execute("BEGIN IMMEDIATE")
    house.say(1.5)
    house.say(2.5)
    assert not house.work()
    assert house.told() == ["file locked"]
    assert recording(house.readings, house.clock.at) == [], "a moment rings nothing"
    house.clock.at += 60_000
    assert len(recording(house.readings, house.clock.at)) == 1
    assert house.done == []
    other.execute("ROLLBACK")
    other.close()
    assert house.work()
    assert house.done == house.stored() == [1.5, 2.5]
    assert house.told() == []


def test_b46_a_read_of_ours_that_was_cut_off_leaves_the_log_free(
    house: StoreHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.writer.commit([Reading("S1", TEMPERATURE, 1.0, T0 + i, T0 + i) for i in range(30_000)])
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", -1.0)
    reader = Reader.open(house.readings)
    with pytest.raises(StoreError, match="cut off"):
        reader.samples("S1", TEMPERATURE, T0, T0 + 30_000)
    house.writer.connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_TRUNCATE)
    assert wal_of(house.readings).stat().st_size == 0
    reader.close()


def test_b46_a_foreign_read_without_end_is_told_and_loses_nothing(
    house: StoreHouse, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.upkeep.MOST_BYTES", 300_000)
    house.say(0.5)
    house.work()
    other = apsw.Connection(str(house.readings), flags=apsw.SQLITE_OPEN_READONLY)
    look = other.execute("SELECT * FROM reading UNION ALL SELECT * FROM reading")
    next(look)
    house.writer.commit([Reading("S2", TEMPERATURE, 1.0, T0 + i, T0 + i) for i in range(30_000)])
    house.quiet()
    assert house.told() == ["read without end"]
    house.say(1.5)
    house.work()
    assert house.stored() == [0.5, 1.5]
    look.close()
    other.close()
    house.writer.connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_TRUNCATE)
    house.quiet()
    assert house.told() == []


def wal_of(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


@pytest.fixture
def cut(tmp_path: Path) -> Path:
    """A file with three batches, the last two only in its log: as a power cut leaves it."""
    live = tmp_path / "live" / "readings.db"
    writer = Writer.open(live, SteppedClock(T0))
    for number in range(3):
        writer.commit([Reading("S1", TEMPERATURE, float(number), T0 + number, T0 + number)])
        if number == 0:
            writer.connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_TRUNCATE)
    (tmp_path / "cut").mkdir()
    for part in ("readings.db", "readings.db-wal", "readings.db-shm"):
        shutil.copy(live.with_name(part), tmp_path / "cut" / part)
    writer.close()
    return tmp_path / "cut" / "readings.db"


def kept(path: Path) -> list[float]:
    """What is there once collect has opened it."""
    writer = Writer.open(path, SteppedClock(T0 + 1000))
    try:
        return Reader(writer.connection).samples("S1", TEMPERATURE, 0, 2**60)[1].tolist()
    finally:
        writer.close()


def test_b47_without_its_shm_all_is_there(cut: Path) -> None:
    cut.with_name("readings.db-shm").unlink()
    assert kept(cut) == [0.0, 1.0, 2.0]


@pytest.mark.parametrize("tail", ["torn off", "rubbish"])
def test_b47_a_torn_end_of_the_log_costs_only_the_commit_that_was_torn(cut: Path, tail: str) -> None:
    log = wal_of(cut).read_bytes()
    torn = log[:-500] if tail == "torn off" else log[:-500] + bytes(500)
    wal_of(cut).write_bytes(torn)
    cut.with_name("readings.db-shm").unlink()
    assert kept(cut) == [0.0, 1.0]


def test_b47_without_its_log_it_opens_and_check_says_exactly_which_batches_are_lost(cut: Path) -> None:
    wal_of(cut).unlink()
    cut.with_name("readings.db-shm").unlink()
    assert kept(cut) == [0.0]
    texts = [found.what for found in check_file(cut, READINGS)]
    assert any("ends with batch 1, newest reading 2026-11-25 09:46:40 UTC" in text for text in texts)
    found = rests_on_more(cut, last_batch=1, seen=3, who="watch")
    assert "batches 2 to 3, which watch has seen, are lost" in found.what
    assert "readings.db-wal" in found.do
    assert not rests_on_more(cut, last_batch=3, seen=3, who="watch").do


def test_b48_every_flipped_bit_that_changes_a_fact_is_noticed_and_sqlite_alone_misses_some() -> None:
    """In the first trials of 300 flips SQLite's check missed 39 that changed data."""
    found = flip(trials=300, seed=1)
    assert found.changed > 60
    assert found.noticed == found.changed
    assert found.noticed_by_sqlite < found.changed


def test_b49_no_room_for_another_file_is_said_and_what_to_do(tmp_path: Path) -> None:
    """No inodes are left: SQLite cannot make its log."""
    result = on_small_disk(tmp_path, "size=3m,nr_inodes=4")
    assert "df -i" in str(result["refused"])


def test_b49_a_full_temporary_folder_stops_nothing_because_nothing_is_put_there(house: StoreHouse) -> None:
    """Neither by a large commit nor by a change of every row, such as a migration makes."""
    readings = [Reading("S1", TEMPERATURE, 1.0, T0 + i, T0 + i) for i in range(50_000)]
    house.writer.commit(readings)
    with transaction(house.writer.connection):
        house.writer.connection.execute("UPDATE reading SET t = t + 10000000")
    assert house.disk.temporary_files == 0


def test_b49_a_backup_to_a_full_disk_says_so_and_leaves_nothing(house: StoreHouse, tmp_path: Path) -> None:
    house.say(1.5)
    house.work()
    house.disk.fault = "full"
    with pytest.raises(StoreError, match=r"\(disk full\): nothing is left there; make room"):
        back_up([(house.readings, READINGS)], tmp_path / "copy", T0, vfs=house.disk.name)
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("copy")] == []


KILLED = """
import sys
from dataclasses import replace
from pathlib import Path
from collector.store.backup import back_up
from collector.store.readings_schema import READINGS
from collector.store.schema import Schema, open_writer
what, path = sys.argv[1], Path(sys.argv[2])
fill = "CREATE TABLE big(a, b); WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 20000) "
fill += "INSERT INTO big SELECT i, hex(randomblob(40)) FROM n"
old = Schema("readings.db", "collect", READINGS.application_id, (fill,))
change = "ALTER TABLE big ADD c; UPDATE big SET c = a * 2; DELETE FROM big WHERE a % 10 = 0"
new = replace(old, migrations=(fill, change))
file = open_writer(path, old)
print("filled", flush=True)
number = 0
while True:
    number += 1
    if what == "migration":
        file.close()
        open_writer(path, new).close()
        path.unlink()
        file = open_writer(path, old)
    elif what == "VACUUM":
        file.connection.execute("VACUUM")
    else:
        back_up([(path, old)], path.parent / f"backup{number}", 0)
"""


@pytest.mark.parametrize("what", ["migration", "VACUUM", "backup"])
def test_b50_killed_in_the_middle_of_a_migration_a_vacuum_or_a_backup_it_is_old_or_new(
    tmp_path: Path, what: str
) -> None:
    for number in range(4):
        folder = tmp_path / str(number)
        folder.mkdir()
        kill_at_random(what, folder / "readings.db", random.Random(f"{what}/{number}"))
        connection = apsw.Connection(str(folder / "readings.db"))
        assert connection.execute("PRAGMA integrity_check").get == "ok"
        version = connection.pragma("user_version")
        shape = [row[1] for row in connection.execute("PRAGMA table_info(big)")]
        rows = connection.execute("SELECT count(*) FROM big").get if shape else 0
        connection.close()
        assert (version, shape, rows) in [(0, [], 0), (1, ["a", "b"], 20_000), (2, ["a", "b", "c"], 18_000)]
        for backup in folder.glob("backup*"):
            assert ".partial-" in backup.name or verify(backup)


def kill_at_random(what: str, path: Path, rng: random.Random) -> None:
    """Lets the process work for a random while; the moment is what is random, nothing is waited for."""
    root = str(Path(collector.__file__).parent.parent)
    process = subprocess.Popen(
        [sys.executable, "-P", "-c", KILLED, what, str(path)],
        stdout=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": root},
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"filled\n"
    end = time.monotonic() + rng.uniform(0.0, 0.3)
    wait_until(lambda: time.monotonic() > end, "the moment of the kill")
    process.send_signal(signal.SIGKILL)
    process.wait(10)
    process.stdout.close()


def test_b53_twenty_cuts_one_after_the_other_lose_nothing() -> None:
    """Each time the file that the last cut left is opened, goes on, and is cut again."""
    for seed in range(15):
        assert cut_again_and_again(cuts=20, seed=seed) == []


def test_b53_a_cut_while_the_settings_are_written_leaves_the_old_or_the_new_text() -> None:
    texts = ["first " * 500, "second " * 300]

    def write(folder: Path, recorder: Recorder, rng: random.Random) -> None:
        for text in texts:
            replace_whole(folder / "coldshed.toml.good", text)
            recorder.acknowledge(text)

    def old_or_new(folder: Path, acknowledged: list[object], rng: random.Random) -> list[str]:
        path = folder / "coldshed.toml.good"
        found = path.read_text() if path.exists() else None
        last = len(acknowledged)
        may_be = [acknowledged[-1] if acknowledged else None, *texts[last : last + 1]]
        return [] if found in may_be else [f"damaged: {found and found[:20]!r} after {last}"]

    tally = cut_power(write, old_or_new, cuts=500, seed=1)
    assert (tally.lost, tally.damaged) == (0, 0), tally.examples
