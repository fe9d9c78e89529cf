"""Migration, backup, restore and day digests under the knife: the product's own code over the recorder."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import apsw

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.store.backup import back_up, restore, verify
from collector.store.digests import DAY_MS, day_of, differing, digesting, due
from collector.store.readings_schema import READINGS
from collector.store.schema import UNFINISHED, open_writer, transaction
from collector.store.writer import Writer
from tests.faults.disk import Recorder
from tests.faults.power_ingest import T0, Safe, Sent, readings_kept

FIRST = replace(READINGS, migrations=READINGS.migrations[:1])
"""The file as the first release made it."""


@dataclass(frozen=True)
class Made:
    """A backup is said to be there, whole."""

    holds: Safe


@dataclass(frozen=True)
class Restored:
    """The restore has returned."""


def migrate(folder: Path, recorder: Recorder, rng: random.Random) -> None:
    """A file of the first version, filled, is opened by this one."""
    old = open_writer(folder / "readings.db", FIRST, recorder.name)
    rows = {(T0 + 10_000 * i, f"S{i % 8}", float(i)) for i in range(rng.randint(1, 60))}
    with transaction(old.connection):
        old.connection.execute(
            "INSERT INTO run(id, boot, started, state) VALUES(1, 'b', ?, 'unknown')", (T0,)
        )
        old.connection.execute("INSERT INTO batch VALUES(1, ?, ?, 1, ?)", (T0, T0 + 600_000, T0))
        old.connection.executemany(
            "INSERT INTO series(id, probe, quantity, newest) VALUES(?, ?, 'temperature', ?)",
            [(i, f"S{i}", T0) for i in range(8)],
        )
        old.connection.executemany(
            "INSERT INTO reading VALUES(?, ?, ?, 0, 0, 1)", [(t, int(probe[1:]), v) for t, probe, v in rows]
        )
    recorder.acknowledge(Safe(frozenset(rows)))
    if rng.random() < 0.5:
        old.close()
        old = open_writer(folder / "readings.db", FIRST, recorder.name)
    old.close()
    open_writer(folder / "readings.db", READINGS, recorder.name).close()


def one_schema_or_the_other(folder: Path, acknowledged: list[object], rng: random.Random) -> list[str]:
    """Never half of a migration; and it goes on from there."""
    path = folder / "readings.db"
    if path.exists():
        connection = apsw.Connection(str(path))
        version = int(connection.pragma("user_version") or 0)
        found = _shape(connection)
        connection.close()
        if found != _shapes()[version]:
            return [f"damaged: version {version} has a shape of its own"]
    if not any(isinstance(mark, Safe) for mark in acknowledged):
        open_writer(path, READINGS).close()
        return []
    return readings_kept(folder, acknowledged, rng)


@cache
def _shapes() -> list[frozenset[str]]:
    """What each version of the file is made of."""
    shapes = []
    for version in range(READINGS.version + 1):
        file = open_writer(None, replace(READINGS, migrations=READINGS.migrations[:version]))
        shapes.append(_shape(file.connection))
        file.close()
    return shapes


def _shape(connection: apsw.Connection) -> frozenset[str]:
    return frozenset(
        str(row[0]) for row in connection.execute("SELECT sql FROM sqlite_schema WHERE sql NOT NULL")
    )


def digest(folder: Path, recorder: Recorder, rng: random.Random) -> None:
    """Three short days, each digested when the next one has begun, with late rows that make a day due again."""
    clock = SteppedClock(T0)
    writer = Writer.open(folder / "readings.db", clock, recorder.name)
    for number in range(18):
        clock.at += DAY_MS // 6
        late = rng.random() < 0.2
        _commit(writer, recorder, clock.at - (2 * DAY_MS if late else 0) + number, rng)
        for day in due(writer.connection, day_of(clock.at)):
            for _ in digesting(writer.connection, day):
                pass
            writer.connection.execute("DELETE FROM undigested WHERE day = ?", (day,))
            writer.touched.discard(day)
    writer.close()


def digests_fit(folder: Path, acknowledged: list[object], rng: random.Random) -> list[str]:
    wrong = readings_kept(folder, acknowledged, rng)
    if wrong:
        return wrong
    file = open_writer(folder / "readings.db", READINGS)
    try:
        days = {day_of(row[0]) for mark in acknowledged if isinstance(mark, Safe) for row in mark.rows}
        marked = {row[0] for row in file.connection.execute("SELECT day FROM undigested")}
        digested = {row[0] for row in file.connection.execute("SELECT day FROM digest")}
        missing = days - marked - digested
        wrong = [f"damaged: {text}" for text in differing(file.connection)]
        return wrong + ([f"damaged: days {missing} will never have digests"] if missing else [])
    finally:
        file.close()


def make_backup(folder: Path, recorder: Recorder, rng: random.Random) -> None:
    """A backup between two commits, while the writer stays open."""
    clock = SteppedClock(T0)
    (folder / "data").mkdir()
    writer = Writer.open(folder / "data" / "readings.db", clock, recorder.name)
    held: set[tuple[int, str, float]] = set()
    for number in range(rng.randint(1, 10)):
        held |= _commit(writer, recorder, T0 + number * 10_000, rng)
    back_up(_files(folder), folder / "backup", T0, vfs=recorder.name)
    recorder.acknowledge(Made(Safe(frozenset(held))))
    _commit(writer, recorder, T0 + 200_000, rng)
    writer.close()


def backup_whole_or_not_there(folder: Path, acknowledged: list[object], rng: random.Random) -> list[str]:
    (folder / "data").mkdir(exist_ok=True)
    made = [mark for mark in acknowledged if isinstance(mark, Made)]
    wrong = readings_kept(folder / "data", [mark for mark in acknowledged if not isinstance(mark, Made)], rng)
    target = folder / "backup"
    if not target.exists():
        return [*wrong, "lost the backup"] if made else wrong
    verify(target)
    held = [mark.holds for mark in made] or [mark for mark in acknowledged if isinstance(mark, Safe)]
    return wrong + readings_kept(target, held, rng)


def bring_back(folder: Path, recorder: Recorder, rng: random.Random) -> None:
    """Rows, a backup, more rows, an end; then the backup is restored."""
    (folder / "data").mkdir()
    writer = Writer.open(folder / "data" / "readings.db", SteppedClock(T0), recorder.name)
    held = _commit(writer, recorder, T0, rng)
    back_up(_files(folder), folder / "backup", T0, vfs=recorder.name)
    recorder.acknowledge(Made(Safe(frozenset(held))))
    for number in range(3):
        _commit(writer, recorder, T0 + 10_000 + number, rng)
    writer.close()
    restore(folder / "backup", _files(folder), [], T0)
    recorder.acknowledge(Restored())


def old_or_restored(folder: Path, acknowledged: list[object], rng: random.Random) -> list[str]:
    """What was there or what was backed up; cut off in between, it says so and a second restore brings it home."""
    made = [mark for mark in acknowledged if isinstance(mark, Made)]
    if not made:
        return []
    (folder / "data").mkdir(exist_ok=True)
    if cut_off := (folder / "data" / UNFINISHED).exists():
        restore(folder / "backup", _files(folder), [], T0)
    before = [mark for mark in acknowledged if isinstance(mark, Safe | Sent)]
    as_before = readings_kept(folder / "data", before, rng)
    if not as_before and not cut_off:
        return ["lost the restore"] if isinstance(acknowledged[-1], Restored) else []
    return readings_kept(folder / "data", [made[0].holds], rng)


def _files(folder: Path) -> list[tuple[Path, object]]:
    return [(folder / "data" / "readings.db", READINGS)]


def _commit(writer: Writer, recorder: Recorder, at: int, rng: random.Random) -> set[tuple[int, str, float]]:
    rows = [
        Reading(f"S{probe}", Quantity.TEMPERATURE, rng.uniform(-5, 25), at, at)
        for probe in rng.sample(range(8), rng.randint(1, 8))
    ]
    keys = {(row.at, row.probe, row.value) for row in rows}
    recorder.acknowledge(Sent(frozenset(keys)))
    writer.commit(rows)
    recorder.acknowledge(Safe(frozenset(keys)))
    return keys
