"""A folder with a logger's CSV files: which columns there are and how they are written, from the newest file's head."""

from __future__ import annotations

import csv
import io
from codecs import getincrementaldecoder
from pathlib import Path
from typing import Literal

from collector.decode.times import utc_ms
from collector.first_run.facts import CannotSetUp
from collector.first_run.sniff import Number, Sniffed
from collector.source_tables import TimeField

HEAD = 64 * 1024
LONGEST_HEADING = 200
"""What the settings can name."""
Delimiter = Literal[",", ";", "\t"]
Decimal = Literal[".", ","]


class Layout:
    """How the files are written, and the numbers of the head's last row by heading."""

    def __init__(
        self, delimiter: Delimiter, decimal: Decimal, time: TimeField, numbers: dict[str, float]
    ) -> None:
        self.delimiter, self.decimal, self.time, self.numbers = delimiter, decimal, time, numbers

    def devices(self) -> list[Sniffed]:
        """A device for each column: a person says which belong to one probe."""
        return [
            Sniffed("logger_csv", "", (heading,), (Number(heading, heading, sent),))
            for heading, sent in self.numbers.items()
        ]


def layout_of(folder: Path, zone: str) -> Layout:
    """What the newest CSV file shows; local times are taken to be of `zone`. Raises CannotSetUp."""
    try:
        files = [path for path in folder.iterdir() if path.suffix.lower() == ".csv"]
        newest = max(files, key=lambda path: path.stat().st_mtime, default=None)
        if newest is None:
            raise CannotSetUp(
                f"{folder} holds no .csv file: put one of the logger's files there, then look again"
            )
        with newest.open("rb") as file:
            begun = file.read(HEAD)
        whole = len(begun) < HEAD
        head = getincrementaldecoder("utf-8-sig")().decode(begun, whole)  # a letter may be cut in two
    except OSError as error:
        raise CannotSetUp(
            f"{folder}: cannot be read ({error.strerror}): name a folder that is there"
        ) from error
    except UnicodeDecodeError as error:
        raise CannotSetUp(f"{newest}: is not UTF-8 text: let the logger write UTF-8") from error
    return _layout(newest, head.splitlines()[: None if whole else -1], zone)


def _layout(file: Path, whole: list[str], zone: str) -> Layout:
    if len(whole) < 2:
        raise CannotSetUp(f"{file}: needs a row of headings and at least one row of readings")
    delimiters: tuple[Delimiter, ...] = (",", ";", "\t")
    delimiter = max(delimiters, key=whole[0].count)
    rows = [
        [cell.strip() for cell in row]
        for row in csv.reader(io.StringIO("\n".join(whole)), delimiter=delimiter)
    ]
    headings, last = rows[0], next((row for row in reversed(rows) if len(row) == len(rows[0])), rows[0])
    decimal: Decimal = "," if delimiter != "," and any("," in cell for cell in last) else "."
    time = next(
        (
            found
            for heading, cell in zip(headings, last, strict=True)
            if (found := _time(heading, cell, zone))
        ),
        None,
    )
    if time is None:
        raise CannotSetUp(
            f"{file}: no column of times was found in {', '.join(headings)[:LONGEST_HEADING]!r}; taken are times "
            "such as 2026-01-10 18:20:00 or seconds since 1970: see [source.decode] time in collector/example.toml"
        )
    numbers = {}
    for heading, cell in zip(headings, last, strict=True):
        try:
            if heading and heading != time.key:
                numbers[heading] = float(cell.replace(decimal, "."))
        except ValueError:
            continue  # a column of remarks
    if not numbers:
        raise CannotSetUp(f"{file}: its last row holds no number beside the time")
    return Layout(delimiter, decimal, time, numbers)


def _time(heading: str, cell: str, zone: str) -> TimeField | None:
    if not 0 < len(heading) <= LONGEST_HEADING:
        return None
    try:
        utc_ms(cell, None)
        return TimeField(key=heading, unit="iso8601")
    except ValueError as error:
        if "no offset" in str(error):
            return TimeField(key=heading, unit="iso8601", zone=zone)
    if cell.isdigit() and len(cell) in (10, 13):
        return TimeField(key=heading, unit="s" if len(cell) == 10 else "ms")
    return None
