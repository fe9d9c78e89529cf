"""A data logger's CSV (RFC 4180, also with `;` or tab, and decimal comma): a header row, then readings.

Rows stand or fall one by one. A file whose header lacks a column of the settings is refused whole.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from zoneinfo import ZoneInfo

from collector import settings
from collector.arrival import Arrival, Decoded, Refusal, Sample
from collector.decode.numbers import STRICT_FORM, strict_number, to_si
from collector.decode.times import utc_ms
from collector.toml_lines import nearest

MAX_BYTES = 20 * 1024 * 1024
LONGEST_LINE = 128 * 1024
"""Characters: a row of millions of cells would fill a small computer's memory."""
MOST_REFUSED = 10_000
"""Rows of one file; the same of millions of refusals."""
FUTURE_MS = 300_000
"""A logger's clock may be this much ahead of ours; more is most often a wrong zone."""
EARLIEST_MS = 946_684_800_000
"""2000-01-01 UTC: nothing was logged before, so an earlier number is in another unit."""

LATEST_MS = 4_102_444_800_000
"""2100-01-01 UTC: all that can be said while our own clock is not known to be right."""

_COUNT = re.compile(r"[0-9]{1,15}(?:\.[0-9]{1,6})?")


class LoggerCsvDecoder:
    """Pure; never raises for any bytes."""

    def __init__(self, settings: settings.LoggerCsv) -> None:
        self._settings = settings
        self._zone = None if settings.time.zone is None else ZoneInfo(settings.time.zone)

    def decode(self, arrival: Arrival) -> Decoded:
        """Samples in SI, each with its row's time, in the order of the file. An empty cell is no reading."""
        decoded = Decoded()
        try:
            latest = arrival.received + FUTURE_MS if arrival.sure else LATEST_MS
            rows = self._rows(_text(arrival.payload))
            number, header = next(rows, (1, []))
            columns = self._columns(header)
            for number, row in rows:
                self._row(number, row, len(header), columns, latest, decoded)
                if len(decoded.refused) >= MOST_REFUSED:
                    raise _Unusable(
                        "format",
                        f"line {number}: {MOST_REFUSED} rows could not be read; nothing after it was: is this "
                        "the logger's file, and does its [source.decode] fit it?",
                    )
        except _Unusable as error:
            decoded.refused.append(error.refusal)
        return decoded

    def _rows(self, text: str) -> Iterator[tuple[int, list[str]]]:
        """Line number and stripped cells of each row that is not blank."""
        rows = csv.reader(_lines(text), delimiter=self._settings.delimiter, strict=True)
        while True:
            try:
                row = next(rows, None)
            except csv.Error as error:
                raise _Unusable(
                    "format", f"line {rows.line_num}: {error}; nothing after it was read"
                ) from error
            if row is None:
                return
            cells = [cell.strip() for cell in row]
            if any(cells):
                yield rows.line_num, cells

    def _columns(self, header: Sequence[str]) -> dict[str, int]:
        """Where each configured column stands."""
        wanted = [self._settings.time.key, *(field.key for field in self._settings.field)]
        for key in wanted:
            if header.count(key) != 1:
                what = "no column" if key not in header else f"{header.count(key)} columns"
                have = (
                    nearest(key, {repr(cell[:60])[1:-1] for cell in header if cell})
                    if any(header)
                    else "the file is empty"
                )
                raise _Unusable("missing field", f"{what} with the heading {key!r}; {have}")
        return {key: header.index(key) for key in wanted}

    def _row(
        self, number: int, row: list[str], width: int, columns: dict[str, int], latest: int, into: Decoded
    ) -> None:
        if len(row) != width:
            text = f"line {number}: {len(row)} cells under {width} headings (is the delimiter right?)"
            into.refused.append(Refusal("format", text))
            return
        try:
            at = self._time(row[columns[self._settings.time.key]], latest)
        except ValueError as error:
            into.refused.append(Refusal("time", f"line {number}: {error}"))
            return
        for field in self._settings.field:
            cell = row[columns[field.key]]
            if not cell:
                continue
            value = self._number(cell)
            if value is None:
                text = f"line {number}: {field.key} is {cell[:40]!r}; allowed: {STRICT_FORM}"
                into.refused.append(Refusal("not a number", f"{text} (decimal = {self._settings.decimal!r})"))
                continue
            into.samples.append(Sample(field.name, field.quantity, to_si(value, field.unit), at))

    def _number(self, cell: str) -> float | None:
        if self._settings.decimal == ",":
            if "." in cell:
                return None  # 1.234 may be a thousand and more
            cell = cell.replace(",", ".")
        return strict_number(cell)

    def _time(self, cell: str, latest: int) -> int:
        if self._settings.time.unit == "iso8601":
            at = utc_ms(cell, self._zone)
        else:
            unit = self._settings.time.unit
            if not _COUNT.fullmatch(cell):
                raise ValueError(f"time {cell[:40]!r}; allowed: {unit} since 1970, digits only")
            at = round(float(cell) * (1000 if unit == "s" else 1))
            if at < EARLIEST_MS:
                raise ValueError(f"time {cell[:40]!r} lies before 2000 (is the unit {unit} right?)")
        if at > latest:
            minutes = (at - latest + FUTURE_MS) / 60_000
            raise ValueError(f"time {cell[:40]!r} lies {minutes:.0f} min in the future (is the zone right?)")
        return at


class _Unusable(Exception):
    def __init__(self, kind: str, text: str) -> None:
        super().__init__(text)
        self.refusal = Refusal(kind, text)


def _lines(text: str) -> Iterator[str]:
    """With their ends, as csv.reader wants them."""
    for number, line in enumerate(io.StringIO(text, newline=""), start=1):
        if len(line) > LONGEST_LINE:
            raise _Unusable("too long", f"line {number}: {len(line)} characters; allowed: {LONGEST_LINE}")
        yield line


def _text(payload: bytes) -> str:
    if len(payload) > MAX_BYTES:
        raise _Unusable("too long", f"more than {MAX_BYTES // 2**20} MiB: split the file")
    try:
        text = payload.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        where = f"byte {error.start} is not UTF-8"
        raise _Unusable("garbage", f"{where}: save the file as CSV UTF-8, nothing was read") from error
    if "\0" in text:
        raise _Unusable(
            "garbage", "zero bytes: save the file as CSV UTF-8 (it may be UTF-16), nothing was read"
        )
    return text
