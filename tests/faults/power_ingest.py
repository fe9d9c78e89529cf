"""What the collector does to its file in a night, made short: the product's own Writer, rows, checkpoints, ends."""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path

import apsw

from collector.arrival import Delivery
from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.store.readings_schema import READINGS
from collector.store.schema import StoreError, open_writer
from collector.store.writer import Writer
from tests.faults.cuts import integrity, lay_out, quick_folder
from tests.faults.disk import Disk, Recorder, recording

T0 = 1_795_600_000_000
COMMITS = 40

Row = tuple[int, str, float]


@dataclass(frozen=True)
class Sent:
    """Handed to the writer: may be there, whole, or not."""

    rows: frozenset[Row]


@dataclass(frozen=True)
class Safe:
    """The writer has returned: must be there."""

    rows: frozenset[Row]


def ingest(
    folder: Path, recorder: Recorder, rng: random.Random, begin: int = T0, commits: int = COMMITS
) -> None:
    """Commits of one to eight rows, some checkpoints between them, and sometimes an orderly end and a new start."""
    clock = SteppedClock(begin)
    writer = Writer.open(folder / "readings.db", clock, vfs=recorder.name)
    for number in range(commits):
        clock.at += 10_000
        rows = [
            Reading(f"S{probe}", Quantity.TEMPERATURE, rng.uniform(-5, 25), clock.at, clock.at)
            for probe in rng.sample(range(8), rng.randint(1, 8))
        ]
        keys = frozenset((row.at, row.probe, row.value) for row in rows)
        recorder.acknowledge(Sent(keys))
        writer.commit(rows, [Delivery("me", number % 20, bytes([number]), dup=False)])
        recorder.acknowledge(Safe(keys))
        if rng.random() < 0.1:
            writer.connection.wal_checkpoint(
                mode=rng.choice([apsw.SQLITE_CHECKPOINT_PASSIVE, apsw.SQLITE_CHECKPOINT_TRUNCATE])
            )
        if rng.random() < 0.05:
            writer.close()
            writer = Writer.open(folder / "readings.db", clock, vfs=recorder.name)
    writer.close()


def readings_kept(folder: Path, acknowledged: list[object], rng: random.Random) -> list[str]:
    """Opened as at the next start: everything acknowledged is there, and each commit is there whole or not at all."""
    try:
        file = open_writer(folder / "readings.db", READINGS)
    except (StoreError, apsw.Error) as error:
        return [f"damaged: {error}"]
    try:
        return integrity(file.connection) or _compared(file.connection, acknowledged)
    except apsw.Error as error:
        return [f"damaged: {error}"]
    finally:
        file.close()


def _compared(connection: apsw.Connection, acknowledged: list[object]) -> list[str]:
    there: set[Row] = set(
        connection.execute("SELECT t, probe, value FROM reading JOIN series ON series.id = reading.series")
    )
    safe: set[Row] = set().union(*(mark.rows for mark in acknowledged if isinstance(mark, Safe)))
    if missing := safe - there:
        return [f"lost {len(missing)} of {len(safe)}"]
    more = there - safe
    begun = [set(mark.rows) for mark in acknowledged if isinstance(mark, Sent) and mark.rows & more]
    return [] if more == set().union(*begun) else [f"damaged: {len(more)} rows of a commit that was cut"]


def cut_again_and_again(cuts: int, seed: int) -> list[str]:
    """The same file cut, opened and gone on with, so many times in a row; what is wrong in the end, [] if nothing."""
    rng = random.Random(f"again/{seed}")
    safe: list[object] = []
    with quick_folder() as folder:
        home = folder / "home"
        home.mkdir()
        for _ in range(cuts):
            before = {str(path): path.read_bytes() for path in home.iterdir()}
            with recording() as recorder:
                ingest(home, recorder, rng, begin=T0 + len(safe) * 1_000_000, commits=5)
            disk = Disk(before)
            for op in recorder.ops[: rng.randint(0, len(recorder.ops))]:
                disk.play(op)
            lay_out(disk.after_a_cut(rng), home, home)
            safe += disk.acknowledged
            wrong = readings_kept(home, safe, rng)
            if wrong:
                return wrong
    return []
