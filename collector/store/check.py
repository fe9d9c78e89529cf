"""What is wrong with a file of ours, where, and what to do: structure, digests, and whether its parts fit together."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import apsw

from collector.store.digests import differing
from collector.store.readings_schema import NEWEST_WITHIN_MS, READINGS
from collector.store.schema import Damaged, Schema, damage_told, open_reader


@dataclass(frozen=True)
class Found:
    """What was looked at; `do` is empty if it is all right."""

    what: str
    do: str = ""


DO = "keep the file, restore a backup, and take in again what the loggers still have"

_MISFITS: tuple[tuple[str, str], ...] = (
    (
        "readings belong to no batch",
        "SELECT count(*), min(t), max(t) FROM reading WHERE batch NOT IN (SELECT seq FROM batch)",
    ),
    (
        "readings belong to no series",
        "SELECT count(*), min(t), max(t) FROM reading WHERE series NOT IN (SELECT id FROM series)",
    ),
    (
        "readings lie outside the times of their batch",
        "SELECT count(*), min(t), max(t) FROM reading JOIN batch ON batch.seq = reading.batch "
        "WHERE t NOT BETWEEN t_min AND t_max",
    ),
    (
        "batches belong to no run",
        "SELECT count(*), min(committed), max(committed) FROM batch WHERE run NOT IN (SELECT id FROM run)",
    ),
    (
        "series do not know their newest reading",
        "SELECT count(*), min(newest), max(newest) FROM series WHERE newest + ? < "
        "(SELECT max(t) FROM reading WHERE series = series.id)",
    ),
)


def check_file(path: Path, schema: Schema) -> Iterator[Found]:
    """Looks through the whole file; takes a second for some 300,000 readings. Raises NotYet if it is not there."""
    try:
        connection = open_reader(path, schema)
    except Damaged as error:
        yield Found(str(error), DO)
        return
    with closing(connection):
        try:
            with damage_told(path):
                yield from _structure(connection, path)
                if schema is READINGS:
                    yield from _readings(connection, path)
        except (Damaged, apsw.Error) as error:
            yield Found(f"{path.name}: cannot be looked through ({error})", DO)


def rests_on_more(path: Path, last_batch: int, seen: int, who: str) -> Found:
    """`seen` is the last batch that somebody else has taken in: if the file ends before it, its end is lost."""
    if seen <= last_batch:
        return Found(f"{path.name}: holds all that {who} has seen")
    return Found(
        f"{path.name}: batches {last_batch + 1} to {seen}, which {who} has seen, are lost",
        f"it was copied or left without its {path.name}-wal, or an older copy was put in its place: "
        "put the right file back, or go on without them",
    )


def _structure(connection: apsw.Connection, path: Path) -> Iterator[Found]:
    found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(5)")]
    if found != ["ok"]:
        yield Found(f"{path.name}: its structure is broken ({'; '.join(found)[:300]})", DO)
    else:
        yield Found(f"{path.name}: its structure is whole")


def _readings(connection: apsw.Connection, path: Path) -> Iterator[Found]:
    wrong = list(differing(connection))
    for text in wrong:
        yield Found(f"{path.name}: {text}", DO)
    days, readings = connection.execute(
        "SELECT count(DISTINCT day), coalesce(sum(n), 0) FROM digest WHERE kind = 'readings'"
    ).get
    if not wrong:
        yield Found(f"{path.name}: {readings} readings of {days} finished days are what was written")
    waiting = connection.execute("SELECT count(*) FROM undigested").get
    if waiting:
        yield Found(f"{path.name}: {waiting} days are not finished or wait for a quiet time to be digested")
    for what, query in _MISFITS:
        values = (NEWEST_WITHIN_MS,) if "?" in query else ()
        count, first, last = connection.execute(query, values).get
        if count:
            yield Found(f"{path.name}: {count} {what} ({_utc(first)} to {_utc(last)})", DO)
    yield Found(_extent(connection, path))


def _extent(connection: apsw.Connection, path: Path) -> str:
    """Where the file ends: a copy made without its -wal is whole, and ends too early."""
    seq, t_max = connection.execute(
        "SELECT seq, (SELECT max(t) FROM reading) FROM batch ORDER BY seq DESC LIMIT 1"
    ).fetchone() or (0, None)
    return f"{path.name}: ends with batch {seq}" + (
        f", newest reading {_utc(t_max)}" if t_max is not None else ""
    )


def _utc(at: Any) -> str:
    try:
        return datetime.fromtimestamp(at / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    except (TypeError, ValueError, OverflowError, OSError):
        return repr(at)
