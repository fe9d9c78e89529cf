"""Readings as CSV (RFC 4180): raw values in SI with what the checks found, times in UTC."""

from __future__ import annotations

import csv
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from collector.reading import Quality, Quantity
from collector.store.reads import NotHeld, Reads

UNITS = {Quantity.TEMPERATURE: "degC", Quantity.RELATIVE_HUMIDITY: "%", Quantity.CO2: "ppm"}
Times = NDArray[np.int64]
Floats = NDArray[np.float64]
HEADER = ("time_utc", "probe", "quantity", "value", "unit", "quality")
STRETCH_MS = 24 * 3_600_000
"""Read a day at a time: no read may hold up the writer."""


Correct = Callable[[str, Quantity, Times, Floats], tuple[Floats, list[str]]]
"""Values of a probe's quantity after correction, and the id of the entry that each rests on, "" for none."""


def export_csv(
    reader: Reads,
    probes: Iterable[str],
    start_ms: int,
    end_ms: int,
    out: TextIO,
    correct: Correct | None = None,
) -> int:
    """Writes the probes' readings from start to end, both in; returns the number of rows below the header.

    With `correct` each row ends with the corrected value and the entry it rests on. Open `out` with
    newline="". Raises StoreError if a day cannot be read within a second.
    """
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(HEADER if correct is None else (*HEADER, "corrected", "correction"))
    rows = 0
    for probe in probes:
        for quantity in Quantity:
            for start, end in _stretches(reader, start_ms, end_ms):
                t, values, quality = reader.samples(probe, quantity, start, end)
                after = correct(probe, quantity, t, values) if correct else None
                for i, (at, value, bits) in enumerate(zip(t, values, quality, strict=True)):
                    row = (_iso(int(at)), _safe(probe), quantity.value, repr(float(value)), UNITS[quantity])
                    more = () if after is None else (repr(float(after[0][i])), _safe(after[1][i]))
                    table.writerow((*row, words(Quality(int(bits))), *more))
                    rows += 1
    return rows


def words(quality: Quality) -> str:
    """'good', or the flags in words, joined with +."""
    return "+".join(str(flag.name).lower() for flag in quality) or "good"


def _stretches(reader: Reads, start_ms: int, end_ms: int) -> Iterator[tuple[int, int]]:
    """Days, both ends in, that cover the range as far as there is anything."""
    try:
        span = reader.span()
    except NotHeld:
        span = (start_ms, end_ms)
    if span is None:
        return
    start, last = max(start_ms, span[0] - STRETCH_MS), min(end_ms, span[1] + STRETCH_MS)
    while start <= last:
        yield start, min(start + STRETCH_MS - 1, last)
        start += STRETCH_MS


def _iso(at: int) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _safe(text: str) -> str:
    """A name that a spreadsheet would take for a formula, its signs of any width, gets an apostrophe before it."""
    begins = unicodedata.normalize("NFKC", text[:1])
    return f"'{text}" if begins in ("=", "+", "-", "@", "\t", "\r", "\n") else text
