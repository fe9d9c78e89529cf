"""NMEA 0183 transducer measurements: `$WIXDR,C,12.5,C,T1,H,84.2,P,H1*hh`.

Standard: NMEA 0183, sentence XDR; its fields, transducer types and units are in the public "NMEA Revealed" of the
gpsd project. Sets of type, value, unit and transducer id, any number in one sentence: C in C is degC, H in P is %.
hh is the XOR of all bytes between `$` and `*`. Old devices may leave it out; here it must be there, for a line that
lost bytes may still look like a number. Libraries read the number with float(), which takes "nan" and "1e5"; so
this reader is our own, and its tests hold it against such a library.
"""

from __future__ import annotations

import re
from functools import reduce
from operator import xor

from collector import settings
from collector.arrival import Arrival, Decoded, Sample
from collector.decode.numbers import STRICT_FORM, strict_number
from collector.decode.refusing import NotTaken, shown
from collector.decode.text_line import MAX_LINE
from collector.reading import Quantity

MAX_NAME = 64

_SENTENCE = re.compile(rb"[$!]([\x20-\x7e]*)\*([0-9A-Fa-f]{2})")
_XDR = re.compile(r"([A-Z][A-Z0-9])XDR")
_TAKEN: dict[str, tuple[Quantity, str]] = {
    "C": (Quantity.TEMPERATURE, "C"),
    "H": (Quantity.RELATIVE_HUMIDITY, "P"),
}
"""Transducer type -> what it is, and its one unit in the standard."""


class NmeaXdrDecoder:
    """One sentence to samples; pure, and never raises for any bytes."""

    def __init__(self, settings: settings.NmeaXdr) -> None:
        self._talker = settings.talker

    def decode(self, arrival: Arrival) -> Decoded:
        """Samples in degC and % without a time, under their transducer ids.

        With no talker in the settings the name is talker/id, so that two talkers never share a series. A blank
        line, other sentences and other transducer types are nothing at all. A set with an empty field falls alone:
        that is how a device says that it has no value; a sentence that does not hold sets of four falls whole.
        """
        line = arrival.payload.removesuffix(b"\n").removesuffix(b"\r")
        if not line.strip():
            return Decoded()
        decoded = Decoded()
        try:
            address, *fields = _checked(line).split(",")
            found = _XDR.fullmatch(address)
            if found is None:
                return decoded
            prefix = self._prefix(found[1])
            for transducer in _sets(fields):
                try:
                    if sample := _sample(prefix, *transducer):
                        decoded.samples.append(sample)
                except NotTaken as error:
                    decoded.refused.append(error.refusal)
        except NotTaken as error:
            text = f"{error.refusal.text} in {shown(line)}"
            return Decoded(refused=[NotTaken(error.refusal.kind, text).refusal])
        return decoded

    def _prefix(self, talker: str) -> str:
        if self._talker is None:
            return f"{talker}/"
        if talker != self._talker:
            raise NotTaken("other talker", f"talker {talker}; the settings take {self._talker} only")
        return ""


def _checked(line: bytes) -> str:
    """What stands between `$` and `*`, its checksum verified."""
    if len(line) > MAX_LINE:
        raise NotTaken("too long", f"more than {MAX_LINE} bytes without an end of line")
    found = _SENTENCE.fullmatch(line)
    if found is None:
        if any(byte < 0x20 or byte > 0x7E for byte in line):
            raise NotTaken("garbage", "bytes that are not ASCII text (is the baud rate right?)")
        raise NotTaken("format", "no sentence from $ to *hh; a sentence without checksum is not taken")
    actual, stated = reduce(xor, found[1], 0), int(found[2], 16)
    if actual != stated:
        raise NotTaken("checksum", f"checksum is {actual:02X}, the sentence says {stated:02X}")
    return found[1].decode("ascii")


def _sets(fields: list[str]) -> list[tuple[str, str, str, str]]:
    if not fields or len(fields) % 4:
        text = f"{len(fields)} fields; allowed: sets of four (type, value, unit, transducer id)"
        raise NotTaken("missing field", text)
    columns = [fields[start::4] for start in range(4)]
    return list(zip(*columns, strict=True))


def _sample(prefix: str, kind: str, text: str, unit: str, id: str) -> Sample | None:
    if kind and kind not in _TAKEN:
        return None
    if not (kind and text and unit and id):
        raise NotTaken(
            "missing field", f"a transducer with an empty field: {','.join((kind, text, unit, id))!r}"
        )
    quantity, wanted = _TAKEN[kind]
    if unit != wanted:
        raise NotTaken("other unit", f"{id[:40]!r} has unit {unit[:20]!r}; {kind} is taken in {wanted} only")
    if len(id) > MAX_NAME:
        raise NotTaken("bad name", f"a transducer id of {len(id)} characters; allowed: up to {MAX_NAME}")
    value = strict_number(text[1:] if re.match(r"\+[0-9]", text) else text)  # devices do send +023.1
    if value is None:
        raise NotTaken("not a number", f"{id} is {text[:40]!r}; allowed: {STRICT_FORM}")
    return Sample(prefix + id, quantity, value, None)
