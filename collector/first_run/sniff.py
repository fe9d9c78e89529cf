"""What the bytes of an unknown sender hold: names, keys and numbers, as they are sent. Pure.

The readers are those of collector.decode, so that what set-up shows is what collect will take.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from collector.arrival import Arrival, Refusal, Sample
from collector.decode import strict_json
from collector.decode.json_map import JsonMapDecoder
from collector.decode.nmea_xdr import NmeaXdrDecoder
from collector.decode.numbers import to_si
from collector.decode.senml import SenMLDecoder
from collector.decode.strict_json import NotUsable
from collector.decode.text_line import TextLineDecoder
from collector.decode.times import utc_ms
from collector.decode.w1_slave import W1SlaveDecoder
from collector.first_run.facts import NEAR_C, Reading
from collector.reading import Quantity
from collector.source_tables import UNITS_OF, FieldMap, JsonMap, NmeaXdr, SenML, TextLine, TimeField, W1Slave

MAX_KEYS = 24
"""Numbers that are shown of one message."""
OWN_TIME_MS = 10 * 60_000
"""A number that lies so near to our own clock is taken for the time of the message."""
LONGEST_KEY = 200
"""Characters of a key that a settings file may name (FieldMap)."""
_PAIR = re.compile(rf"\s([A-Za-z_][A-Za-z0-9_.]{{0,{LONGEST_KEY - 1}}})=")
_TAIL = re.compile(r"(.+[/:_.\-])(t|temp|temperature|rh|h|hum|humid|humidity|co2)", re.IGNORECASE)
_NAMES = frozenset({"id", "device", "device_id", "deviceid", "name", "node", "sensor", "mac", "serial"})
_TEMPERATURE = re.compile(r"(^|[^a-z])(t|temp|temperature|tmp)\d*(_?[cfk])?($|[^a-z])")
_HUMIDITY = re.compile(r"(^|[^a-z])(rh|h|hum|humid|humidity)\d*($|[^a-z])")


@dataclass(frozen=True)
class Number:
    """`quantity`: what the wire itself says it is; then `sent` is SI, and `key` empty."""

    name: str
    key: str
    sent: float
    quantity: Quantity | None = None


@dataclass(frozen=True)
class Sniffed:
    """One device of one arrival. `scope` as facts.Device has it; `time`: where its own time stands."""

    decode: str
    scope: str
    names: tuple[str, ...]
    numbers: tuple[Number, ...]
    time: TimeField | None = None
    inner: str = ""
    """What the payload itself calls its device, where it does."""


def sniff(kind: str, arrival: Arrival) -> tuple[list[Sniffed], Refusal | None]:
    """The devices that an arrival by a way of `kind` speaks of; or why nothing of it can be read."""
    if kind == "serial":
        return _nmea(arrival) if arrival.payload[:1] in (b"$", b"!") else _line(arrival)
    if kind == "one_wire":
        decoded = W1SlaveDecoder(W1Slave(kind="w1_slave")).decode(arrival)
        return _told("w1_slave", "", decoded.samples, _alone), _first(decoded.refused)
    if arrival.payload.lstrip()[:1] == b"[":
        decoded = SenMLDecoder(SenML(kind="senml")).decode(arrival)
        return _told("senml", arrival.topic, decoded.samples, _by_base), _first(decoded.refused)
    return _json(arrival)


def _line(arrival: Arrival) -> tuple[list[Sniffed], Refusal | None]:
    text = arrival.payload.decode("ascii", "replace")
    keys = list(dict.fromkeys(_PAIR.findall(text)))[:MAX_KEYS]
    numbers, refused = [], None
    for key in keys or ["T"]:
        field = FieldMap(key=key, quantity=Quantity.TEMPERATURE, unit="degC")
        decoded = TextLineDecoder(TextLine(kind="text_line", field=(field,))).decode(arrival)
        refused = refused or _first(decoded.refused)
        numbers += [Number(sample.name, key, sample.value) for sample in decoded.samples]
    return _devices("text_line", "", numbers), None if numbers else refused


def _nmea(arrival: Arrival) -> tuple[list[Sniffed], Refusal | None]:
    decoded = NmeaXdrDecoder(NmeaXdr(kind="nmea_xdr")).decode(arrival)
    return _told("nmea_xdr", "", decoded.samples, _one_instrument), _first(decoded.refused)


def _json(arrival: Arrival) -> tuple[list[Sniffed], Refusal | None]:
    try:
        document = strict_json.load(arrival.payload)
    except NotUsable as error:
        return [], error.refusal
    numbers, time = [], None
    for pointer, value in list(_leaves(document, ""))[: 4 * MAX_KEYS]:
        own = _own_time(pointer, value, arrival.received)
        time = time or own
        if own is not None:
            continue
        field = FieldMap(key=pointer, quantity=Quantity.TEMPERATURE, unit="degC")
        decoded = JsonMapDecoder(JsonMap(kind="json_map", field=(field,))).decode(arrival)
        numbers += [Number(arrival.topic, pointer, sample.value) for sample in decoded.samples]
    if not numbers:
        return [], Refusal("no number", "no number in it that could be a reading")
    inner = _inner(document)
    return [
        Sniffed("json_map", arrival.topic, (arrival.topic,), tuple(numbers[:MAX_KEYS]), time, inner)
    ], None


def _inner(document: object) -> str:
    """The name in the payload: two of them on one topic must not become one probe."""
    if not isinstance(document, dict):
        return ""
    named = (
        document[key] for key in document if key.lower() in _NAMES and isinstance(document[key], str | int)
    )
    return str(next(named, ""))[:64]


def _leaves(here: object, pointer: str) -> Iterator[tuple[str, object]]:
    """Each number, or text that spells one, and the JSON Pointer (RFC 6901) to it."""
    if isinstance(here, dict):
        for key, inner in here.items():
            yield from _leaves(inner, f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}")
    elif isinstance(here, list):
        for index, inner in enumerate(here):
            yield from _leaves(inner, f"{pointer}/{index}")
    elif 0 < len(pointer) <= LONGEST_KEY and (
        isinstance(here, int | float | str) and not isinstance(here, bool)
    ):
        yield pointer, here


def _own_time(pointer: str, value: object, now: int) -> TimeField | None:
    """The field as the message's own time, if it lies at our clock in one of the forms that are taken."""
    if isinstance(value, str):
        try:
            near = abs(utc_ms(value, None) - now) < OWN_TIME_MS
        except ValueError:  # no time, or one without its offset: which hour it means is not known here
            return None
        return TimeField(key=pointer, unit="iso8601") if near else None
    if isinstance(value, int | float):
        if abs(value * 1000 - now) < OWN_TIME_MS:
            return TimeField(key=pointer, unit="s")
        if abs(value - now) < OWN_TIME_MS:
            return TimeField(key=pointer, unit="ms")
    return None


def _told(
    decode: str, scope: str, samples: list[Sample], device_of: Callable[[Sample, list[Sample]], str]
) -> list[Sniffed]:
    """Samples whose wire says what they are, gathered by device."""
    found: dict[str, list[Number]] = {}
    for sample in samples:
        number = Number(sample.name, "", sample.value, sample.quantity)
        found.setdefault(device_of(sample, samples), []).append(number)
    return [
        Sniffed(decode, scope, tuple(sorted({number.name for number in numbers})), tuple(numbers))
        for numbers in found.values()
    ]


def _alone(sample: Sample, _: list[Sample]) -> str:
    return sample.name


def _by_base(sample: Sample, _: list[Sample]) -> str:
    """SenML: names that differ only in the word for the quantity belong to one device."""
    found = _TAIL.fullmatch(sample.name)
    return found[1] if found else sample.name


def _one_instrument(sample: Sample, samples: list[Sample]) -> str:
    """NMEA: one sentence is one instrument, unless it has two of a quantity."""
    kinds = [one.quantity for one in samples]
    return sample.name if len(set(kinds)) < len(kinds) else "*"


def _devices(decode: str, scope: str, numbers: list[Number]) -> list[Sniffed]:
    names = dict.fromkeys(number.name for number in numbers)
    return [
        Sniffed(decode, scope, (name,), tuple(number for number in numbers if number.name == name))
        for name in names
    ]


def _first(refused: list[Refusal]) -> Refusal | None:
    return refused[0] if refused else None


def may_be(key: str, sent: float) -> list[Reading]:
    """What a number may be, the most plausible first; a person chooses, seeing each value."""
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", key).lower()
    all_of = [
        Reading(quantity, unit, to_si(sent, unit)) for quantity, units in UNITS_OF.items() for unit in units
    ]
    humid, warm = bool(_HUMIDITY.search(name)), bool(_TEMPERATURE.search(name))
    wanted = Quantity.RELATIVE_HUMIDITY if humid and not warm else Quantity.TEMPERATURE
    if "co2" in name:
        wanted = Quantity.CO2
    return sorted(all_of, key=lambda one: (one.quantity is not wanted, not plausible(one)))


def looks_named(key: str) -> bool:
    """True if the key's own name says which quantity it is: others are left out unless a person says otherwise."""
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", key).lower()
    return bool(_HUMIDITY.search(name) or _TEMPERATURE.search(name) or "co2" in name)


def plausible(one: Reading) -> bool:
    """Whether a shop's panel or air may be so; common practice, no source."""
    low, high = {
        Quantity.TEMPERATURE: NEAR_C,
        Quantity.RELATIVE_HUMIDITY: (3.0, 105.0),
        Quantity.CO2: (250.0, 10_000.0),
    }[one.quantity]
    return low <= one.value <= high
