"""One line of text, such as `S1 T=12.50 RH=81.2`: a name, then key=value; `*hh` may end it.

hh is the XOR of all bytes before the `*`, in hexadecimal; it is checked whenever it is there. A line in which
anything is malformed is refused whole: a line that lost bytes may still look like a number.
"""

from __future__ import annotations

import re
from functools import reduce
from operator import xor

from collector import settings
from collector.arrival import Arrival, Decoded, Refusal, Sample
from collector.decode.numbers import STRICT_FORM, strict_number, to_si

MAX_LINE = 256
"""Bytes; a source hands over more than this only for a line that had no end."""
MAX_NAME = 64

_PRINTABLE = re.compile(rb"[\t\x20-\x7e]*")
_SUM = re.compile(r"(.*)\*([0-9A-Fa-f]{2})")
_KEY = re.compile(r"[A-Za-z_][A-Za-z0-9_.]*")


class TextLineDecoder:
    """Pure; never raises for any bytes. Keys that the settings do not name are passed over."""

    def __init__(self, settings: settings.TextLine) -> None:
        self._fields = {field.key: field for field in settings.field}
        self._checksum = settings.checksum

    def decode(self, arrival: Arrival) -> Decoded:
        """Samples in SI without a time; a blank line is nothing at all."""
        line = arrival.payload.removesuffix(b"\n").removesuffix(b"\r")
        if not line.strip():
            return Decoded()
        try:
            return Decoded(samples=self._samples(line))
        except _NotALine as error:
            return Decoded(refused=[Refusal(error.kind, f"{error} in {_shown(line)}")])

    def _samples(self, line: bytes) -> list[Sample]:
        name, *pairs = self._checked(line).split()
        if "=" in name or len(name) > MAX_NAME or not pairs:
            raise _NotALine("format", "no name followed by key=value")
        samples: list[Sample] = []
        seen: set[str] = set()
        for pair in pairs:
            key, equals, text = pair.partition("=")
            if not equals or not _KEY.fullmatch(key):
                raise _NotALine("format", f"{pair[:40]!r} is not key=value")
            if key in seen:
                raise _NotALine("format", f"{key} stands there twice")
            seen.add(key)
            if key in self._fields:
                samples.append(self._sample(name, key, text))
        if not samples:
            raise _NotALine("missing field", f"none of the keys {', '.join(self._fields)}")
        return samples

    def _sample(self, name: str, key: str, text: str) -> Sample:
        field = self._fields[key]
        value = strict_number(text)
        if value is None:
            raise _NotALine("not a number", f"{key} is {text[:40]!r}; allowed: {STRICT_FORM}")
        return Sample(field.name or name, field.quantity, to_si(value, field.unit), None)

    def _checked(self, line: bytes) -> str:
        """The line without its checksum."""
        if len(line) > MAX_LINE:
            raise _NotALine("too long", f"more than {MAX_LINE} bytes without an end of line")
        if not _PRINTABLE.fullmatch(line):
            raise _NotALine("garbage", "bytes that are not ASCII text (is the baud rate right?)")
        text = line.decode("ascii")
        found = _SUM.fullmatch(text)
        if found is None:
            if self._checksum or "*" in text:
                raise _NotALine("checksum", "no checksum *hh at the end")
            return text
        body, stated = found[1], int(found[2], 16)
        actual = reduce(xor, body.encode("ascii"), 0)
        if actual != stated:
            raise _NotALine("checksum", f"checksum is {actual:02X}, the line says {stated:02X}")
        if not body.strip():
            raise _NotALine("format", "no name followed by key=value")
        return body


class _NotALine(Exception):
    def __init__(self, kind: str, text: str) -> None:
        super().__init__(text)
        self.kind = kind


def _shown(line: bytes) -> str:
    """The line's beginning, with anything that could harm a log or a page spelt out."""
    return repr(line[:60])[1:]
