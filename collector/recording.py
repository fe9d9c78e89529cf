"""A recording: the bytes that came, as they came, in a form that can be read, cut and sent again.

UTF-8 text, one JSON object on each line (RFC 8259). The first line is {"recording": 1}; each further one is
{"received": UTC ms, "source": id, "topic": text, "live": true or false, "payload": text}, in the order of arrival.
Each character of `payload` is one byte, U+0000 to U+00FF, so that text stays legible and any byte can be kept.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

from collector.arrival import Arrival

VERSION = 1
LONGEST_LINE = 16_000_000
_TYPES: dict[str, type] = {"received": int, "source": str, "topic": str, "live": bool, "payload": str}
_FORM = '{"received": ms, "source": id, "topic": text, "live": true, "payload": text}'


class RecordingError(ValueError):
    """The file is not a recording, or not one of ours; the text names file and line."""


class Recorder:
    """Writes a new recording; each arrival is on its way to the disk when add() returns."""

    def __init__(self, path: Path) -> None:
        """Raises OSError; FileExistsError if the file is there already: nothing is ever written over."""
        self._file = path.open("x", encoding="utf-8", newline="\n")
        self._line({"recording": VERSION})

    def add(self, arrival: Arrival) -> None:
        self._line(
            {
                "received": arrival.received,
                "source": arrival.source,
                "topic": arrival.topic,
                "live": arrival.live,
                "payload": arrival.payload.decode("latin-1"),
            }
        )

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _line(self, fields: dict[str, object]) -> None:
        self._file.write(json.dumps(fields) + "\n")
        self._file.flush()


def arrivals(path: Path) -> Iterator[Arrival]:
    """All that was recorded, in order. Raises OSError, and RecordingError at the first line that is none.

    A last line without its end was being written when the power went: it is passed over.
    """
    with path.open("rb") as file:
        first = file.readline(LONGEST_LINE)
        if _object(first) != {"recording": VERSION}:
            raise RecordingError(f'{path}:1: not a recording: its first line is {{"recording": {VERSION}}}')
        for number, line in enumerate(iter(lambda: file.readline(LONGEST_LINE), b""), start=2):
            if not line.endswith(b"\n") and len(line) < LONGEST_LINE:
                return
            arrival = parse_line(line)
            if arrival is None:
                raise RecordingError(f"{path}:{number}: not a line of a recording; allowed: {_FORM}")
            yield arrival


def parse_line(line: bytes) -> Arrival | None:
    """One line after the first; None if it is anything but what Recorder writes."""
    fields = _object(line)
    if fields is None or fields.keys() != _TYPES.keys():
        return None
    if any(type(fields[key]) is not wanted for key, wanted in _TYPES.items()):
        return None
    try:
        payload = str(fields["payload"]).encode("latin-1")
    except UnicodeEncodeError:
        return None
    received = fields["received"]
    assert isinstance(received, int)  # checked above
    if not 0 <= received < 2**53:
        return None
    return Arrival(
        str(fields["source"]), payload, received, str(fields["topic"]), live=fields["live"] is True
    )


def _object(line: bytes) -> dict[str, object] | None:
    try:
        fields = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return fields if isinstance(fields, dict) else None
