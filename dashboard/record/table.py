"""A record's readings as CSV (RFC 4180): raw and corrected values, what the checks found, and what was used."""

from __future__ import annotations

import csv
import unicodedata
from collections.abc import Iterator
from datetime import UTC, datetime
from io import StringIO

import numpy as np

from collector.reading import UNUSABLE, Quality, Quantity
from dashboard.correction import correct
from dashboard.devices import probe_logs
from dashboard.doubts import matters, spans
from dashboard.record.used import Series, Used

HEADER = (
    "time_utc", "panel", "probe", "quantity", "value", "unit", "quality", "used", "corrected", "correction",
)  # fmt: skip
UNITS = {Quantity.TEMPERATURE: "degC", Quantity.RELATIVE_HUMIDITY: "%", Quantity.CO2: "ppm"}


def csv_text(used: Used) -> Iterator[str]:
    """The file, a series at a time."""
    yield _lines([HEADER])
    for series in used.series:
        yield _lines(_rows(used, series))


def _lines(rows: list[tuple[str, ...]]) -> str:
    out = StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    return out.getvalue()


def _rows(used: Used, series: Series) -> list[tuple[str, ...]]:
    probe = next(item for item in used.probes if item.id == series.probe)
    log = probe_logs(used.events, [probe.id])[probe.id]
    made = correct(series.t, series.value, log.stretches(series.quantity), probe.accuracy_K)
    good = (series.quality & int(UNUSABLE)) == 0
    for begin, end in spans(matters(used.suspicions, probe.id, series.quantity), log.put_right):
        good &= (series.t < begin) | (series.t >= end)
    about = safe(used.panel), safe(series.probe), series.quantity.value
    names = np.array([*made.versions, ""])[made.version]
    return [
        (
            _iso(int(at)),
            *about,
            repr(float(value)),
            UNITS[series.quantity],
            _flags(int(bits)),
            "yes" if use else "no",
            repr(float(corrected)),
            safe(str(name)),
        )
        for at, value, bits, use, corrected, name in zip(
            series.t, series.value, series.quality, good, made.value, names, strict=True
        )
    ]


def _flags(bits: int) -> str:
    return "+".join(str(flag.name).lower() for flag in Quality(bits)) or "good"


def _iso(at: int) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def safe(text: str) -> str:
    """A name that a spreadsheet would take for a formula, its signs of any width, gets an apostrophe before it.

    OWASP, CSV Injection.
    """
    begins = unicodedata.normalize("NFKC", text[:1])
    return f"'{text}" if begins in ("=", "+", "-", "@", "\t", "\r", "\n") else text
