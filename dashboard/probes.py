"""What readings.db says of the probes: their last values, what was refused, and names nobody claims."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.store.reader import HeardName, Reader, Tally
from collector.store.sequences import Missing
from dashboard.field_check import RawSeries, Series


@dataclass(frozen=True)
class Heard:
    """Probes of the settings, the newest reading of each probe and quantity, refusals, names unclaimed, suspicions.

    missing  devices whose own count has gaps
    rivals   how many second, other values came for a time that had one already
    """

    probes: tuple[ProbeFacts, ...] = ()
    newest: tuple[Reading, ...] = ()
    refused: tuple[Tally, ...] = ()
    unclaimed: tuple[HeardName, ...] = ()
    suspicions: tuple[Suspicion, ...] = ()
    rivals: int = 0
    missing: tuple[Missing, ...] = ()

    def of(self, probe: str) -> list[Reading]:
        """The newest readings of one probe."""
        return [reading for reading in self.newest if reading.probe == probe]


def hear(readings: Path) -> Heard:
    """One look at the file. Raises collector.store.schema.NotYet while collect has never run."""
    reader = Reader.open(readings)
    try:
        probes = reader.probes()
        newest = [reader.latest(probe.id, quantity) for probe in probes for quantity in Quantity]
        return Heard(
            probes=tuple(probes),
            newest=tuple(reading for reading in newest if reading is not None),
            refused=tuple(reader.tallies()),
            unclaimed=tuple(reader.heard()),
            suspicions=tuple(reader.suspicions()),
            rivals=reader.conflicts(),
            missing=tuple(reader.missing()),
        )
    finally:
        reader.close()


def series(readings: Path) -> Series:
    """Series of one file. Raises collector.store.schema.NotYet while collect has never run."""

    def read(probe: str, quantity: Quantity, start: int, end: int) -> RawSeries:
        reader = Reader.open(readings)
        try:
            return RawSeries(*reader.samples(probe, quantity, start, end))
        finally:
            reader.close()

    return read


def nothing(probe: str, quantity: Quantity, start: int, end: int) -> RawSeries:
    """No readings: for a shop without a file."""
    return RawSeries(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int64))


def hearing(readings: Path) -> Callable[[], Heard]:
    """hear() of one file, for the pages."""
    return lambda: hear(readings)
