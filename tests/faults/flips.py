"""A file of finished, digested days, and what one flipped bit does to it."""

from __future__ import annotations

import random
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import apsw

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from collector.store.check import Found, check_file
from collector.store.digests import DAY_MS, day_of, digesting, due
from collector.store.readings_schema import READINGS
from collector.store.schema import StoreError
from collector.store.writer import Writer
from tests.faults.cuts import quick_folder

T0 = 1_795_600_000_000
FACTS = (
    "SELECT t, series, value, quality, lag, batch FROM reading ORDER BY t, series",
    "SELECT id, probe, quantity FROM series ORDER BY id",
    "SELECT seq, t_min, t_max, run, committed, revised FROM batch ORDER BY seq",
    "SELECT id, boot, started, elapsed, state, lasted, offset, early, late FROM run ORDER BY id",
)


@dataclass
class Flips:
    """Of so many flipped bits: how many changed a fact or made the file unreadable, and who noticed those."""

    trials: int = 0
    changed: int = 0
    noticed: int = 0
    noticed_by_sqlite: int = 0


def flip(trials: int, seed: int) -> Flips:
    rng, found = random.Random(seed), Flips()
    with quick_folder() as folder:
        path = folder / "readings.db"
        _fill(path, rng)
        whole, facts = path.read_bytes(), _facts(path)
        assert all(not item.do for item in check_file(path, READINGS)), "nothing is wrong before"
        for _ in range(trials):
            damaged = bytearray(whole)
            damaged[rng.randrange(len(whole))] ^= 1 << rng.randrange(8)
            for part in folder.iterdir():
                part.unlink()
            path.write_bytes(damaged)
            found.trials += 1
            if _facts(path) != facts:
                found.changed += 1
                found.noticed_by_sqlite += not _sqlite_is_content(path)
                found.noticed += any(item.do for item in _checked(path))
    return found


def _fill(path: Path, rng: random.Random) -> None:
    """Three days of four probes, three of them finished by the end, digested; then nothing but those days."""
    clock = SteppedClock(T0 - T0 % DAY_MS)
    for _ in range(3):
        writer = Writer.open(path, clock)
        for _ in range(60):
            clock.at += DAY_MS // 60
            at = clock.at - 1000
            writer.commit(
                [Reading(f"S{i}", Quantity.TEMPERATURE, rng.uniform(0, 30), at, at) for i in range(4)]
            )
        writer.close()
    writer = Writer.open(path, clock)
    for day in due(writer.connection, day_of(clock.at) + 1):
        for _ in digesting(writer.connection, day):
            pass
    writer.connection.execute("DELETE FROM undigested")
    writer.close()


def _facts(path: Path) -> list[object]:
    with closing(apsw.Connection(str(path))) as connection:
        try:
            return [connection.execute(query).fetchall() for query in FACTS]
        except (apsw.Error, UnicodeDecodeError) as error:
            return [str(error)]


def _sqlite_is_content(path: Path) -> bool:
    with closing(apsw.Connection(str(path))) as connection:
        try:
            return bool(connection.execute("PRAGMA integrity_check").get == "ok")
        except apsw.Error:
            return False


def _checked(path: Path) -> list[Found]:
    try:
        return list(check_file(path, READINGS))
    except StoreError as error:
        return [Found(str(error), "restore a backup")]
