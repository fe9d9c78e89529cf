"""RFC 8428 in JSON. Examples: the RFC's own, by section number, with its published resolved records."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Arrival, Decoded
from collector.decode.senml import SenMLDecoder
from collector.reading import Quantity
from collector.settings import SenML

NOW = 1_795_604_832_000
DEVICE = "urn:dev:ow:10e2073a01080063"
T, RH = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY
decoder = SenMLDecoder(SenML(kind="senml"))


def decode(payload: object, *, live: bool = True) -> Decoded:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return decoder.decode(Arrival("broker", raw, NOW, live=live))


def kinds(decoded: Decoded) -> list[str]:
    return [refusal.kind for refusal in decoded.refused]


def rows(decoded: Decoded) -> list[tuple[str, Quantity, float, int | None]]:
    return [(sample.name, sample.quantity, sample.value, sample.at) for sample in decoded.samples]


def test_a_single_data_point_has_no_time_of_its_own():
    """RFC 8428 section 5.1.1."""
    decoded = decode(b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]')
    assert rows(decoded) == [(DEVICE, T, 23.1, None)]
    assert decoded.refused == []


def test_two_readings_carry_the_full_name_and_the_base_unit():
    """core-wg/senml-spec ex11.json and its published resolution: both records Cel under the base name."""
    decoded = decode(
        [{"bn": DEVICE, "bu": "Cel", "t": 1276020076, "v": 23.5}, {"u": "Cel", "t": 1276020091, "v": 23.6}]
    )
    assert rows(decoded) == [(DEVICE, T, 23.5, 1_276_020_076_000), (DEVICE, T, 23.6, 1_276_020_091_000)]


PAST = (
    b'[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V",'
    b'"v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},'
    b'{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]'
)


def test_times_before_a_base_time_resolve_to_the_millisecond():
    """RFC 8428 section 5.1.2, second example; K in place of its A, so that they are quantities of ours."""
    decoded = decode(PAST.replace(b'"bu":"A"', b'"bu":"K"'))
    assert [sample.at for sample in decoded.samples] == [1_276_020_071_001 + 1000 * i for i in range(6)]
    assert [sample.value for sample in decoded.samples] == pytest.approx(
        [v / 10 - 273.15 for v in range(12, 18)]
    )
    assert kinds(decoded) == ["other unit"]


def test_voltage_and_current_are_counted_and_nothing_else():
    """RFC 8428 section 5.1.2: units of no quantity of ours."""
    decoded = decode(PAST)
    assert decoded.samples == []
    assert kinds(decoded) == ["other unit"] * 7


def test_a_stream_of_humidity_counts_from_its_base_time():
    """RFC 8428 section 5.1.2, third example (its published part, closed with a bracket)."""
    pack = [{"bn": DEVICE, "bt": 1.320067464e09, "bu": "%RH", "v": 21.2}]
    pack += [{"t": 10 * i, "v": v} for i, v in enumerate([21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7], 1)]
    decoded = decode(pack)
    assert [sample.at for sample in decoded.samples] == [1_320_067_464_000 + 10_000 * i for i in range(9)]
    assert {sample.quantity for sample in decoded.samples} == {RH}


MIXED = (
    b'[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},{"u":"lon","v":24.30621},'
    b'{"u":"lat","v":60.07965},{"t":60,"v":20.3},{"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},'
    b'{"t":120,"v":20.7},{"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},'
    b'{"u":"%EL","t":150,"v":98},{"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},'
    b'{"u":"lat","t":180,"v":60.07967}]'
)


def test_mixed_units_yield_the_humidity_of_the_published_resolution():
    """RFC 8428 sections 5.1.3 and 5.1.4: four %RH records, nine of position and battery."""
    decoded = decode(MIXED)
    assert rows(decoded) == [
        (DEVICE, RH, 20.0, 1_320_067_464_000),
        (DEVICE, RH, 20.3, 1_320_067_524_000),
        (DEVICE, RH, 20.7, 1_320_067_584_000),
        (DEVICE, RH, 21.2, 1_320_067_644_000),
    ]
    assert kinds(decoded) == ["other unit"] * 9


def test_text_truth_and_data_values_are_passed_over():
    """RFC 8428 section 5.1.5."""
    bn = DEVICE + ":"
    decoded = decode(
        [
            {"bn": bn, "n": "temp", "u": "Cel", "v": 23.1},
            {"n": "label", "vs": "Machine Room"},
            {"n": "open", "vb": False},
            {"n": "nfv-reader", "vd": "aGkgCg"},
        ]
    )
    assert rows(decoded) == [(bn + "temp", T, 23.1, None)]
    assert decoded.refused == []


def test_a_new_base_name_keeps_the_old_base_time():
    """RFC 8428 section 5.1.6: "the last record would use the Base Name from the 3rd record but the Base Time
    from the first record"."""
    decoded = decode(
        b'[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},'
        b'{"n":"humidity","u":"%RH","v":30},{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},'
        b'{"n":"humidity","u":"%RH","v":67}]'
    )
    assert rows(decoded) == [
        ("2001:db8::2/temperature", T, 25.2, 1_320_078_429_000),
        ("2001:db8::2/humidity", RH, 30.0, 1_320_078_429_000),
        ("2001:db8::1/temperature", T, 12.3, 1_320_078_429_000),
        ("2001:db8::1/humidity", RH, 67.0, 1_320_078_429_000),
    ]


def test_a_record_of_base_fields_alone_is_no_reading():
    """RFC 8428 section 5.1.7, first example."""
    bn = DEVICE + ":"
    decoded = decode([{"bn": bn}, {"n": "temp", "u": "Cel", "v": 23.1}, {"n": "heat", "u": "/", "v": 1}])
    assert rows(decoded) == [(bn + "temp", T, 23.1, None)]
    assert kinds(decoded) == ["other unit"]


def test_the_first_absolute_time_is_2_to_the_28():
    """RFC 8428 section 4.5.3: 2**28 is 1978-07-04 21:24:16 UTC, and anything below counts from now."""
    decoded = decode(
        [{"bn": "a", "bu": "Cel", "v": 1, "t": 2**28}, {"v": 1, "t": 2**28 - 1}, {"v": 1, "t": -90}]
    )
    assert [sample.at for sample in decoded.samples] == [
        268_435_456_000,
        NOW + 268_435_455_000,
        NOW - 90_000,
    ]


def test_base_time_and_time_are_added_before_they_are_judged():
    """RFC 8428 section 4.5.3: the sum decides whether a time is absolute."""
    decoded = decode([{"bn": "a", "bu": "Cel", "bt": 2**28 - 10, "t": 10, "v": 1}])
    assert [sample.at for sample in decoded.samples] == [268_435_456_000]


def test_a_time_from_now_counts_as_none_once_now_is_unknown():
    """An hour-old payload that says "90 s ago" must not become a reading of 90 s ago (section 4.5.3)."""
    decoded = decode(
        [{"n": "a", "u": "Cel", "t": -90, "v": 1}, {"n": "a", "u": "Cel", "t": 1276020076, "v": 2}],
        live=False,
    )
    assert [sample.at for sample in decoded.samples] == [None, 1_276_020_076_000]


def test_a_base_value_is_added_and_kelvin_becomes_celsius():
    """RFC 8428 section 4.1 (bv) and 12.1 (K); 273.15 K is 0 degC by definition of the Celsius scale."""
    decoded = decode([{"bn": "a", "bu": "K", "bv": 273, "v": 0.15}, {"u": "Cel", "bv": 20, "v": 1.5}])
    assert [sample.value for sample in decoded.samples] == pytest.approx([0.0, 21.5], abs=1e-12)


@pytest.mark.parametrize(
    ("payload", "kind"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"\xef\xbb\xbf[]", "not JSON"),
        (b"\xff\xfe", "not JSON"),
        (b'[{"n":"a","u":"Cel","v":23.1}', "not JSON"),
        (b'[{"n":"a","u":"Cel","v":NaN}]', "not clear"),
        (b'[{"n":"a","u":"Cel","v":-Infinity}]', "not clear"),
        (b'[{"n":"a","u":"Cel","v":1e999}]', "not clear"),
        (b'[{"n":"a","u":"Cel","v":' + b"9" * 5000 + b"}]", "not clear"),
        (b'[{"n":"a","u":"Cel","v":1,"v":2}]', "not clear"),
        (b"[" * 30000 + b"]" * 30000, "too deep"),
        (b'[{"n":"' + b"a" * 66000 + b'"}]', "too large"),
        (json.dumps([{"n": "a", "u": "Cel", "v": 1}] * 1001).encode(), "too large"),
        (b"{}", "not SenML"),
        (b"[]", "not SenML"),
        (b"[1]", "not SenML"),
        (b'[{"n":"a","u":"Cel","v":1,"bver":11}]', "version"),
        (b'[{"n":"a","u":"Cel","v":1,"bver":5},{"bver":6}]', "version"),
        (b'[{"n":"a","u":"Cel","v":1,"bver":2.5}]', "version"),
        (b'[{"n":"a","u":"Cel","v":1,"new_":1}]', "unknown field"),
        (b'[{"bn":7,"u":"Cel","v":1}]', "wrong type"),
        (b'[{"bn":"a","bt":"now","u":"Cel","v":1}]', "wrong type"),
        (b'[{"bn":"a","bt":true,"u":"Cel","v":1}]', "wrong type"),
    ],
)
def test_a_pack_that_cannot_be_trusted_is_refused_whole_with_one_reason(payload: bytes, kind: str):
    decoded = decode(payload)
    assert decoded.samples == []
    assert kinds(decoded) == [kind]
    assert len(decoded.refused[0].text) < 300


@pytest.mark.parametrize(
    ("record", "kind"),
    [
        ({"n": "b", "u": "Cel", "v": "23.1"}, "wrong type"),
        ({"n": "b", "u": "Cel", "v": True}, "wrong type"),
        ({"n": "b", "u": "Cel", "v": None}, "wrong type"),
        ({"n": "b", "u": "Cel"}, "no value"),
        ({"n": "b", "v": 1}, "no unit"),
        ({"n": "b", "u": "degC", "v": 1}, "other unit"),
        ({"n": "<script>", "u": "Cel", "v": 1}, "bad name"),
        ({"n": "../b", "u": "Cel", "v": 1}, "bad name"),
        ({"u": "Cel", "v": 1}, "bad name"),
        ({"n": "b", "u": "Cel", "v": 1, "t": 1.7e12}, "time"),
        ({"n": "b", "u": "Cel", "v": 1, "t": -1e308}, "time"),
        ({"n": "b", "u": "Cel", "v": 1.7e308, "bv": 1.7e308}, "not clear"),
    ],
)
def test_a_bad_record_falls_alone(record: dict[str, object], kind: str):
    decoded = decode([{"n": "a", "u": "Cel", "v": 23.1}, record])
    assert rows(decoded) == [("a", T, 23.1, None)]
    assert kinds(decoded) == [kind]


LABELS = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x_"]
)
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=5),
    st.sampled_from(["Cel", "%RH", "K"]),
    st.lists(st.integers(), max_size=2),
)


@given(st.lists(st.dictionaries(LABELS, VALUES, max_size=8), max_size=6), st.booleans())
def test_any_records_decode_without_an_error_to_finite_values(pack: list[dict[str, object]], live: bool):
    decoded = decode(pack, live=live)
    assert all(math.isfinite(sample.value) for sample in decoded.samples)
    assert all(sample.at is None or abs(sample.at) < 2**53 for sample in decoded.samples)


@given(st.binary(max_size=200))
def test_any_bytes_decode_without_an_error(payload: bytes):
    assert decode(payload).samples == []
