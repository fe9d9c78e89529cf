"""Plain JSON mapped by the settings; JSON Pointer by the examples of RFC 6901."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Arrival, Decoded
from collector.decode import strict_json
from collector.decode.json_map import JsonMapDecoder, at_pointer, parse_pointer
from collector.reading import Quantity
from collector.settings import JsonMap

NOW = 1_795_604_832_000
T, RH, CO2 = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY, Quantity.CO2
FIELDS = [
    {"key": "/temp", "quantity": "temperature", "unit": "degF"},
    {"key": "/hum", "quantity": "relative_humidity", "unit": "%"},
]


def mapped(**more: Any) -> JsonMapDecoder:
    return JsonMapDecoder(JsonMap.model_validate({"kind": "json_map", "field": FIELDS, **more}))


def decode(decoder: JsonMapDecoder, payload: object) -> Decoded:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return decoder.decode(Arrival("broker-json", raw, NOW, topic="shed/json/a2"))


def kinds(decoded: Decoded) -> list[str]:
    return [refusal.kind for refusal in decoded.refused]


RFC6901 = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", RFC6901),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_json_pointers_lead_where_the_standard_says(pointer: str, value: object):
    """RFC 6901 section 5, all twelve examples."""
    assert at_pointer(RFC6901, parse_pointer(pointer)) == value


@pytest.mark.parametrize("pointer", ["/foo/2", "/foo/-", "/foo/00", "/foo/0/x", "/nothing", "/foo/+1"])
def test_a_pointer_to_nothing_is_told(pointer: str):
    """RFC 6901 section 4: no leading zeros, "-" is past the end, a scalar has no members."""
    with pytest.raises(KeyError):
        at_pointer(RFC6901, parse_pointer(pointer))


def test_an_escaped_tilde_is_not_an_escaped_slash():
    """RFC 6901 section 4: "~01" is "~1", not "/"."""
    assert parse_pointer("/~01") == ("~1",)


@pytest.mark.parametrize("text", ["temp", "/a~2", "/a~"])
def test_a_bad_pointer_is_an_error_when_the_settings_are_used(text: str):
    with pytest.raises(ValueError, match="JSON Pointer"):
        mapped(name=text)


def test_the_examples_of_the_settings_file_become_si_under_the_topic():
    """53.6 degF is 12 degC exactly: (53.6 - 32) / 1.8 by definition of the Fahrenheit scale."""
    decoded = decode(mapped(time={"key": "/ts", "unit": "s"}), {"temp": 53.6, "hum": 81, "ts": 1795604832})
    assert [(sample.name, sample.quantity, sample.at) for sample in decoded.samples] == [
        ("shed/json/a2", T, 1_795_604_832_000),
        ("shed/json/a2", RH, 1_795_604_832_000),
    ]
    assert [sample.value for sample in decoded.samples] == pytest.approx([12.0, 81.0], abs=1e-12)
    assert decoded.refused == []


def test_every_unit_of_the_settings_becomes_si():
    """-40 degF is -40 degC; 273.15 K is 0 degC; 0.5 is 50 %: definitions."""
    field = [
        {"key": "/0", "quantity": "temperature", "unit": "degC"},
        {"key": "/1", "quantity": "temperature", "unit": "degF"},
        {"key": "/2", "quantity": "temperature", "unit": "K"},
        {"key": "/3", "quantity": "relative_humidity", "unit": "1"},
        {"key": "/4", "quantity": "co2", "unit": "ppm"},
    ]
    decoded = decode(mapped(field=field), [12.5, -40, 273.15, 0.5, 417])
    assert [sample.value for sample in decoded.samples] == pytest.approx([12.5, -40, 0, 50, 417])
    assert [sample.quantity for sample in decoded.samples] == [T, T, T, RH, CO2]


def test_the_name_stands_in_the_payload_or_in_the_settings():
    field = [
        {"key": "/t", "quantity": "temperature", "unit": "degC"},
        {"key": "/p", "quantity": "temperature", "unit": "degC", "name": "panel"},
    ]
    decoded = decode(mapped(field=field, name="/id"), {"id": "node 7", "t": 1, "p": 2})
    assert [sample.name for sample in decoded.samples] == ["node 7", "panel"]


def test_a_number_in_quotes_is_taken_in_the_strict_form():
    decoded = decode(mapped(), {"temp": "53.6", "hum": "-1"})
    assert [sample.value for sample in decoded.samples] == pytest.approx([12.0, -1.0])


@pytest.mark.parametrize(
    "value",
    [
        *("21,5", "21.5C", "nan", "inf", "1e5", "1_0", " 1", "1 ", "", "--1", "+1", ".5", "5.", "٢١", "0x10"),
        *(True, None, [], {}),
    ],
)
def test_anything_else_than_a_number_is_refused_alone(value: object):
    decoded = decode(mapped(), {"temp": value, "hum": 80})
    assert [sample.quantity for sample in decoded.samples] == [RH]
    assert kinds(decoded) == ["not a number"]
    assert "/temp" in decoded.refused[0].text


def test_a_missing_quantity_is_told_and_the_other_is_taken():
    decoded = decode(mapped(), {"hum": 80})
    assert [sample.quantity for sample in decoded.samples] == [RH]
    assert kinds(decoded) == ["missing field"]


@pytest.mark.parametrize("payload", [{"temp": 53.6, "hum": 80}, {"temp": 53.6, "hum": 80, "ts": None}])
def test_a_payload_without_its_time_is_timeless(payload: object):
    decoded = decode(mapped(time={"key": "/ts", "unit": "s"}), payload)
    assert [sample.at for sample in decoded.samples] == [None, None]


@pytest.mark.parametrize(
    ("unit", "value"),
    [
        ("s", 1_795_604_832),
        ("s", "1795604832"),
        ("ms", 1_795_604_832_000),
        ("iso8601", "2026-11-25T06:07:12-05:00"),
        ("iso8601", "2026-11-25T11:07:12Z"),
    ],
)
def test_times_are_read_in_the_unit_of_the_settings(unit: str, value: object):
    """1795604832 s is 2026-11-25 11:07:12 UTC (POSIX time; checked with date -u -d @1795604832)."""
    decoded = decode(mapped(time={"key": "/ts", "unit": unit}), {"temp": 53.6, "hum": 81, "ts": value})
    assert {sample.at for sample in decoded.samples} == {1_795_604_832_000}


def test_a_local_time_needs_the_zone_of_the_settings():
    """Oslo in winter is UTC+1 (IANA time zone database)."""
    payload = {"temp": 53.6, "hum": 81, "ts": "2026-11-25 12:07:12"}
    with_zone = decode(mapped(time={"key": "/ts", "unit": "iso8601", "zone": "Europe/Oslo"}), payload)
    assert {sample.at for sample in with_zone.samples} == {1_795_604_832_000}
    assert kinds(decode(mapped(time={"key": "/ts", "unit": "iso8601"}), payload)) == ["time"]


@pytest.mark.parametrize(
    ("unit", "value"),
    [
        ("s", 1_795_604_832_000),
        ("ms", 1_795_604_832),
        ("s", 0),
        ("s", -5),
        ("s", 1e300),
        ("iso8601", 1_795_604_832),
        ("iso8601", "yesterday"),
        ("iso8601", "2026-02-30T00:00:00Z"),
        ("iso8601", "0001-01-01T00:00:00Z"),
    ],
)
def test_a_time_in_another_unit_is_refused_and_not_guessed(unit: str, value: object):
    decoded = decode(mapped(time={"key": "/ts", "unit": unit}), {"temp": 53.6, "hum": 81, "ts": value})
    assert decoded.samples == []
    assert kinds(decoded) == ["time"]


@pytest.mark.parametrize(
    ("payload", "kind"),
    [
        (b"", "empty"),
        (b"not json", "not JSON"),
        (b'{"temp":1,"temp":2,"hum":1}', "not clear"),
        (b'{"temp":NaN}', "not clear"),
        (b"[" * 1000, "too deep"),
        (b" " * 70_000, "too large"),
    ],
)
def test_a_payload_that_is_not_clear_json_is_refused_whole(payload: bytes, kind: str):
    decoded = decode(mapped(), payload)
    assert decoded.samples == []
    assert kinds(decoded) == [kind]


@pytest.mark.parametrize("name", ["", "x" * 65, "a\nb", 7, None])
def test_a_name_that_is_no_name_is_refused(name: object):
    decoded = decode(mapped(name="/id"), {"id": name, "temp": 1, "hum": 1})
    assert decoded.samples == []
    assert set(kinds(decoded)) == {"bad name"}


ANY = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(st.fixed_dictionaries({}, optional={"temp": ANY, "hum": ANY, "ts": ANY, "id": ANY}))
def test_any_document_decodes_without_an_error_to_finite_values(document: object):
    for unit in ("s", "ms", "iso8601"):
        decoded = decode(
            mapped(name="/id", time={"key": "/ts", "unit": unit, "zone": "Europe/Oslo"}), document
        )
        assert all(math.isfinite(sample.value) for sample in decoded.samples)


@given(st.binary(max_size=200))
def test_any_bytes_decode_without_an_error(payload: bytes):
    assert decode(mapped(), payload).samples == []


DOCUMENTS = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=4),
)
ODD = [
    b'{"a":1,"a":2}',
    b'{"a" :1,"a":2}',
    b'{"a":1,\n"a"\t:2}',
    b'{"a":{"b":1,"b":2}}',
    b'[{"a":1,"a":":"}]',
    rb'{"a":1,"\u0061":2}',
    rb'{"a":"\":","a":2}',
    rb'{"a":"\ud800"}',
    b'{"a":1e999}',
    b'{"a":[1e999]}',
    b'{"a":' + b"9" * 31 + b"}",
    b'{"a":-0}',
    b'{"a":NaN}',
    b"[" * 16 + b"]" * 16,
    b"[" * 17 + b"]" * 17,
    b'\xef\xbb\xbf{"a":1}',
    b'{"a":"\xff"}',
]


def read_both_ways(raw: bytes) -> tuple[object, object]:
    """What the quick and the strict reader make of it, exactly: also the kinds of its numbers, or the refusal."""

    def said(load: Any) -> object:
        try:
            return repr(load(raw))
        except strict_json.NotUsable as error:
            return error.refusal

    return said(strict_json.load), said(strict_json.strictly)


@given(st.builds(json.dumps, DOCUMENTS, separators=st.sampled_from([None, (",", ":"), (" ,", " : ")])))
def test_the_quick_reader_gives_what_the_strict_one_gives(text: str):
    quick, strict = read_both_ways(text.encode())
    assert quick == strict


@pytest.mark.parametrize("raw", ODD, ids=range(len(ODD)))
def test_the_quick_reader_takes_nothing_that_the_strict_one_refuses(raw: bytes):
    quick, strict = read_both_ways(raw)
    assert quick == strict


NUMBERS = st.integers(-(10**35), 10**35) | st.floats() | st.booleans() | st.none() | st.just("21.5")


@given(st.dictionaries(st.sampled_from(["temp", "hum", "ts", "x"]), NUMBERS | st.lists(NUMBERS, max_size=2)))
def test_the_short_way_of_a_flat_table_gives_what_the_pointers_give(table: dict[str, object]):
    decoder = mapped(time={"key": "/ts", "unit": "s"})
    for text in (json.dumps(table), json.dumps({"ts": 1_795_604_832, **table})):
        arrival = Arrival("broker-json", text.encode(), NOW, topic="shed/json/a2")
        assert decoder.decode(arrival) == decoder.by_pointer(arrival)
