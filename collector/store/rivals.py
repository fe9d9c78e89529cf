"""Readings whose place is taken: repeats, and rivals, two different values of one series for one time.

Nobody can know which of two values was right, and which came first is chance. So all are kept, the least of them
is served, whatever the order they came in, and it is marked: RIVAL, and CONTRADICTED (not usable) where they lie
further apart than the probe may err.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import apsw

from collector.reading import Quality, Quantity

Row = tuple[int, int, float, int, int, int]
"""t (raw UTC ms), series, value, quality, lag, batch."""

ALLOWED: dict[Quantity, float] = {
    Quantity.TEMPERATURE: 0.8,  # K, where the settings do not say; common practice, no source
    Quantity.RELATIVE_HUMIDITY: 3.0,  # %, the typical tolerance of small sensors; common practice, no source
    Quantity.CO2: 100.0,  # ppm; common practice, no source
}


@dataclass
class Sorted:
    """What became of a batch's rows. `revised`: raw times at which an earlier batch's value or flags changed."""

    stored: list[Row] = field(default_factory=list)
    repeated: int = 0
    rivals: list[int] = field(default_factory=list)
    revised: list[int] = field(default_factory=list)


def sorted_out(
    connection: apsw.Connection, rows: Sequence[Row], seq: int, accuracy_K: Mapping[str, float]
) -> Sorted:
    """Which rows of this batch were stored, which were repeats, which rivals; rivals are settled at once.

    Inside the transaction that has inserted the rows, those whose place was taken left out.
    """
    done = Sorted()
    mine: dict[tuple[int, int], Row] = {}
    for row in rows:
        at, number, value, *_ = row
        kept, batch = connection.execute(
            "SELECT value, batch FROM reading WHERE t = ? AND series = ?", (at, number)
        ).get
        if batch == seq and (at, number) not in mine:
            mine[at, number] = row
        elif (moved := _next_free(connection, row)) is not None:
            mine[moved[0], number] = moved
        elif kept == value or not _settle(connection, row, kept, seq, accuracy_K):
            done.repeated += 1
        else:
            done.rivals.append(at)
            if batch != seq:
                done.revised.append(at)
    done.stored = list(mine.values())
    return done


def _settle(
    connection: apsw.Connection, row: Row, kept: float, seq: int, accuracy_K: Mapping[str, float]
) -> bool:
    """Keeps the rival, serves the least value, and marks it. False if this value was told already."""
    at, number, value, *_ = row
    connection.execute(
        "INSERT OR IGNORE INTO conflict(t, series, value, batch) VALUES(?, ?, ?, ?)",
        (at, number, max(kept, value), seq),
    )
    if not connection.changes():
        return False
    least = min(kept, value)
    most = float(
        connection.execute("SELECT max(value) FROM conflict WHERE t = ? AND series = ?", (at, number)).get
    )
    marks = Quality.RIVAL
    if most - least > _allowed(connection, number, accuracy_K):
        marks |= Quality.CONTRADICTED
    connection.execute(
        "UPDATE reading SET value = ?, quality = quality | ? WHERE t = ? AND series = ?",
        (least, int(marks), at, number),
    )
    return True


def _allowed(connection: apsw.Connection, series: int, accuracy_K: Mapping[str, float]) -> float:
    probe, quantity = connection.execute("SELECT probe, quantity FROM series WHERE id = ?", (series,)).get
    if quantity == Quantity.TEMPERATURE:
        return accuracy_K.get(probe, ALLOWED[Quantity.TEMPERATURE])
    return ALLOWED[Quantity(quantity)]


def _next_free(connection: apsw.Connection, row: Row) -> Row | None:
    """The row as it was stored at the next free ms, if what holds its place is served elsewhere; else None.

    A clock that was put back passes the same raw times again: what a run that was moved dated there is no rival.
    """
    at, number, _, _, lag, _ = row
    while not lag:
        taken = connection.execute(
            "SELECT r.lag, run.offset FROM reading r LEFT JOIN batch b ON b.seq = r.batch "
            "LEFT JOIN run ON run.id = b.run WHERE r.t = ? AND r.series = ?",
            (at, number),
        ).fetchone()
        if taken is None:
            moved = (at, *row[1:])
            connection.execute(
                "INSERT INTO reading(t, series, value, quality, lag, batch) VALUES(?, ?, ?, ?, ?, ?)", moved
            )
            return moved
        if taken[0] or not taken[1]:
            return None
        at += 1
    return None
