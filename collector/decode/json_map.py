"""Plain JSON, mapped in the settings: a JSON Pointer (RFC 6901) and a unit for each quantity, and the time.

Numbers are JSON numbers, or text in the strict form: many small devices print "21.5" in quotes, and that form
has only one reading. Anything looser ("21,5", "21.5C", true, null) is refused. A time is read in the unit the
settings give, and refused if that puts it outside 2000 to 2100: it is never guessed which unit was meant.
"""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

from collector import settings
from collector.arrival import Arrival, Decoded, Sample
from collector.decode import strict_json
from collector.decode.numbers import STRICT_FORM, TO_SI, strict_number, to_si
from collector.decode.strict_json import HUGE, NotUsable, plain_table
from collector.decode.times import FORM, utc_ms

EARLIEST_MS = 946_684_800_000
"""2000-01-01 UTC."""
LATEST_MS = 4_102_444_800_000
"""2100-01-01 UTC."""
MAX_NAME = 64
LONGEST_AGE_MS = 24 * 3_600_000

_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")

Pointer = tuple[str, ...]
_tuple = tuple.__new__


def parse_pointer(text: str) -> Pointer:
    """The reference tokens of a JSON Pointer. Raises ValueError saying what is allowed."""
    if text and not text.startswith("/"):
        raise ValueError(
            f"{text!r} is not a JSON Pointer: it begins with /, such as '/temp' or '/sensors/0/t'"
        )
    if re.search(r"~(?![01])", text):
        raise ValueError(f"{text!r} is not a JSON Pointer: write ~0 for ~ and ~1 for / in a key")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text.split("/")[1:])


def at_pointer(document: object, pointer: Pointer) -> object:
    """The value a pointer leads to (RFC 6901 section 4). Raises KeyError if there is none."""
    here = document
    for token in pointer:
        if isinstance(here, dict) and token in here:
            here = here[token]
        elif isinstance(here, list) and _INDEX.fullmatch(token) and int(token) < len(here):
            here = here[int(token)]
        else:
            raise KeyError(token)
    return here


class JsonMapDecoder:
    """One JSON document to samples; never raises for any bytes. ValueError at once for a bad pointer."""

    def __init__(self, settings: settings.JsonMap) -> None:
        self._fields = [(field, parse_pointer(field.key)) for field in settings.field]
        self._name = None if settings.name is None else parse_pointer(settings.name)
        self._time = settings.time
        zone = settings.time.zone if settings.time else None
        self._zone = None if zone is None else ZoneInfo(zone)
        self._time_at = None if settings.time is None else parse_pointer(settings.time.key)
        self._order = None if settings.order is None else _Order(settings.order)
        self.plain = PlainMap.of(settings)

    def decode(self, arrival: Arrival) -> Decoded:
        """Samples in SI. at = None if no time is configured, or this payload has none (missing, or null)."""
        if self.plain is not None and (samples := self.plain.samples(arrival)) is not None:
            return Decoded(samples, [])
        return self.by_pointer(arrival)

    def by_pointer(self, arrival: Arrival) -> Decoded:
        """Like decode(), always by the pointers, one by one."""
        decoded = Decoded()
        try:
            document = strict_json.load(arrival.payload)
            at, ours, number = self._own_time(document), False, None
            if self._order is not None:
                number = self._order.number(document)
                if at is None and arrival.live:
                    at, ours = self._order.at(document, arrival.received)
            for field, pointer in self._fields:
                try:
                    value = to_si(_number(document, pointer, field.key), field.unit)
                    name = field.name or self._own_name(document, arrival)
                    decoded.samples.append(Sample(name, field.quantity, value, at, ours, number))
                except NotUsable as error:
                    decoded.refused.append(error.refusal)
        except NotUsable as error:
            return Decoded(refused=[error.refusal])
        return decoded

    def _own_name(self, document: object, arrival: Arrival) -> str:
        if self._name is None:
            return arrival.topic
        try:
            name = at_pointer(document, self._name)
        except KeyError as error:
            raise NotUsable("missing field", "the probe's name is missing; allowed: text") from error
        if not isinstance(name, str) or not 0 < len(name) <= MAX_NAME or not name.isprintable():
            raise NotUsable(
                "bad name", f"the probe's name is {str(name)[:40]!r}; allowed: 1 to {MAX_NAME} letters"
            )
        return name

    def _own_time(self, document: object) -> int | None:
        if self._time is None or self._time_at is None:
            return None
        try:
            value = at_pointer(document, self._time_at)
        except KeyError:
            return None
        if value is None:
            return None
        if self._time.unit == "iso8601":
            at = self._from_text(value)
        else:
            seconds = _number(document, self._time_at, self._time.key)
            scale = 1000 if self._time.unit == "s" else 1
            at = round(max(-1e15, min(1e15, seconds * scale)))
        if not EARLIEST_MS <= at < LATEST_MS:
            text = f"{self._time.key} = {str(value)[:40]} is not between 2000 and 2100 in {self._time.unit}"
            raise NotUsable("time", f"{text}; if the device counts in another unit, write it at time.unit")
        return at

    def _from_text(self, value: object) -> int:
        if not isinstance(value, str):
            raise NotUsable("time", f"time {str(value)[:40]!r} is not text; allowed: {FORM}")
        try:
            return utc_ms(value, self._zone)
        except ValueError as error:
            raise NotUsable("time", str(error)) from error


class _Order:
    """Which message of which start this is, and how long ago it was measured."""

    def __init__(self, settings: settings.OrderField) -> None:
        self._settings = settings
        self._sequence, self._boot = parse_pointer(settings.sequence), parse_pointer(settings.boot)
        self._age = None if settings.age is None else parse_pointer(settings.age)

    def number(self, document: object) -> tuple[str, int]:
        number = _number(document, self._sequence, self._settings.sequence)
        if not number.is_integer() or not 0 <= number < 2**53:
            text = f"{self._settings.sequence} is {number:g}; allowed: whole numbers from 0 on"
            raise NotUsable("sequence", text)
        try:
            boot = at_pointer(document, self._boot)
        except KeyError as error:
            text = (
                f"nothing at {self._settings.boot}; allowed: a number or text that names the device's start"
            )
            raise NotUsable("missing field", text) from error
        if isinstance(boot, bool) or not isinstance(boot, str | int | float) or len(str(boot)) > MAX_NAME:
            text = (
                f"{self._settings.boot} is {str(boot)[:40]!r}; allowed: a number or up to {MAX_NAME} letters"
            )
            raise NotUsable("sequence", text)
        return str(boot), int(number)

    def at(self, document: object, received: int) -> tuple[int | None, bool]:
        """UTC ms by our clock, counted back from now; None if it is of now."""
        if self._age is None:
            return None, False
        age = _number(document, self._age, str(self._settings.age))
        scale = 1000 if self._settings.unit == "s" else 1
        if not 0 <= age * scale <= LONGEST_AGE_MS:
            text = f"{self._settings.age} = {age:g} {self._settings.unit}; allowed: 0 to 24 h"
            raise NotUsable("time", text)
        return received - round(age * scale), True


class PlainMap:
    """The short way for what nearly every device sends: a flat table of numbers, taken whole or not at all."""

    def __init__(self, time_key: str | None, time_ms: int, fields: list[settings.FieldMap]) -> None:
        self._time_key = time_key
        self._time_ms = time_ms
        self._fields = [(f.key[1:], f.name, f.quantity, TO_SI[f.unit]) for f in fields]

    @classmethod
    def of(cls, mapping: settings.JsonMap) -> PlainMap | None:
        """None if the settings look deeper than the top, or for anything but numbers."""
        time = mapping.time
        keys = [field.key for field in mapping.field] + ([time.key] if time else [])
        flat = all(key.rfind("/") == 0 and "~" not in key for key in keys)
        if (
            not flat
            or mapping.name is not None
            or mapping.order is not None
            or (time is not None and time.unit == "iso8601")
        ):
            return None
        ms = 1000 if time is not None and time.unit == "s" else 1
        return cls(time.key[1:] if time else None, ms, list(mapping.field))

    def samples(self, arrival: Arrival) -> list[Sample] | None:
        """None if there are no numbers()."""
        found = self.numbers(arrival.payload)
        if found is None:
            return None
        at, values = found
        samples, topic = [], arrival.topic
        for (_, name, quantity, convert), value in zip(self._fields, values, strict=True):
            in_SI = value if convert is None else convert(value)
            # Past the named tuple's own constructor, which costs as much as all the rest of this loop.
            samples.append(_tuple(Sample, (name or topic, quantity, in_SI, at, False, None)))
        return samples

    def numbers(self, payload: bytes) -> tuple[int | None, list[float]] | None:
        """The time in UTC ms and each field's number as it was sent, bounded and finite.

        None if the table is not flat, lacks a field, or holds anything that is not a plain number.
        """
        table = plain_table(payload)
        if table is None:
            return None
        at: int | None = None
        if self._time_key is not None:
            count = table.get(self._time_key)
            if type(count) is not int:
                return None
            at = count * self._time_ms
            if not EARLIEST_MS <= at < LATEST_MS:
                return None
        values = []
        for field in self._fields:
            value = table.get(field[0])
            if type(value) is not float:
                if type(value) is not int or not -HUGE < value < HUGE:  # float() raises beyond a double
                    return None
                value = float(value)
            if not -HUGE < value < HUGE:
                return None
            values.append(value)
        return at, values


def _number(document: object, pointer: Pointer, key: str) -> float:
    try:
        value = at_pointer(document, pointer)
    except KeyError as error:
        raise NotUsable("missing field", f"nothing at {key}; allowed: a number") from error
    number = None
    if isinstance(value, str):
        number = strict_number(value)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        number = float(value)
    if number is None:
        text = f"{key} is {str(value)[:40]!r}; allowed: a JSON number, or text of {STRICT_FORM}"
        raise NotUsable("not a number", text)
    return number
