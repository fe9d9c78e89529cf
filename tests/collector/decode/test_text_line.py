"""Lines such as `S1 T=12.50 RH=81.2`: what is a reading, and what is refused and why."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from collector.arrival import Arrival, Sample
from collector.decode import decoder_for
from collector.reading import Quantity
from collector.settings import FieldMap, TextLine

FIELDS = (
    FieldMap(key="T", quantity=Quantity.TEMPERATURE, unit="degC"),
    FieldMap(key="RH", quantity=Quantity.RELATIVE_HUMIDITY, unit="%"),
    FieldMap(key="TF", quantity=Quantity.TEMPERATURE, unit="degF"),
    FieldMap(key="P", quantity=Quantity.TEMPERATURE, unit="K", name="panel"),
)


def decode(line: bytes, checksum: bool = False):
    decoder = decoder_for(TextLine(kind="text_line", field=FIELDS, checksum=checksum))
    return decoder.decode(Arrival("usb", line, received=0))


def with_sum(body: bytes) -> bytes:
    total = 0
    for byte in body:
        total ^= byte
    return body + b"*%02X" % total


def test_a_line_gives_a_sample_for_each_known_key() -> None:
    decoded = decode(b"S1 T=12.50 RH=81.2 V=3.31\r\n")
    assert decoded.samples == [
        Sample("S1", Quantity.TEMPERATURE, 12.5, None),
        Sample("S1", Quantity.RELATIVE_HUMIDITY, 81.2, None),
    ]
    assert decoded.refused == []


@pytest.mark.parametrize(
    ("text", "degC"), [("TF=53.6", 12.0), ("TF=-40", -40.0), ("P=273.15", 0.0), ("T=-0.5", -0.5)]
)
def test_units_become_degC(text: str, degC: float) -> None:
    (sample,) = decode(b"S1 " + text.encode()).samples
    assert sample.value == pytest.approx(degC, abs=1e-9)


def test_a_fields_own_name_comes_before_the_lines() -> None:
    assert decode(b"S1 P=280").samples[0].name == "panel"


NOT_NUMBERS = [
    "21,5",
    "nan",
    "inf",
    "-inf",
    "1e5",
    "1e999",
    "1_0",
    "٢١",
    "--",
    "-",
    "21.5C",
    ".5",
    "5.",
    "0x10",
    "1.2.3",
]


@pytest.mark.parametrize("text", [*NOT_NUMBERS, ""])
def test_what_float_might_take_but_is_no_plain_number_is_refused(text: str) -> None:
    decoded = decode(f"S1 T={text} RH=81.2".encode())
    assert decoded.samples == []
    assert len(decoded.refused) == 1
    assert decoded.refused[0].kind in ("not a number", "garbage")


REFUSED = [
    (b"S1", "format"),
    (b"T=12.5", "format"),
    (b"12.5", "format"),
    (b"=1 T=2", "format"),
    (b"S1 T", "format"),
    (b"S1 T=1 T=2", "format"),
    (b"S1 T=12.S1 T=12.50", "not a number"),
    (b"S1 V=3.3", "missing field"),
    (b"boot: 5 sensors found", "format"),
    (b"S1 T=12.5\xb0", "garbage"),
    (b"S1 T=1\x002.5", "garbage"),
    (b"S1 T=12.5\rS1 T=12.6", "garbage"),
    ("S1 T=12.5".encode("utf-16"), "garbage"),
    (b"\xf8\x80\xfe\xc0", "garbage"),
    (b"S1 T=12.5*", "checksum"),
    (b"*00", "format"),
    (b"S1 T=" + b"1" * 300, "too long"),
    (b"N" * 65 + b" T=1", "format"),
]


@pytest.mark.parametrize(("line", "kind"), REFUSED)
def test_a_malformed_line_is_refused_whole_with_its_reason(line: bytes, kind: str) -> None:
    decoded = decode(line)
    assert decoded.samples == []
    assert [refusal.kind for refusal in decoded.refused] == [kind]


@pytest.mark.parametrize("line", [b"", b"\r\n", b"   "])
def test_a_blank_line_is_nothing(line: bytes) -> None:
    decoded = decode(line)
    assert (decoded.samples, decoded.refused) == ([], [])


def test_a_checksum_is_the_xor_of_the_bytes_before_it() -> None:
    # value from memory: 'A' ^ 'B' is 0x03; the rest follows by hand: "S T=1" -> 0x53^0x20^0x54^0x3D^0x31 = 0x2B
    assert decode(b"S T=1*2B").samples == [Sample("S", Quantity.TEMPERATURE, 1.0, None)]
    assert decode(b"S T=1*2b").samples
    assert [refusal.kind for refusal in decode(b"S T=1*2C").refused] == ["checksum"]


def test_a_missing_checksum_is_refused_only_if_it_is_demanded() -> None:
    assert decode(b"S1 T=12.5").samples
    assert [refusal.kind for refusal in decode(b"S1 T=12.5", checksum=True).refused] == ["checksum"]


@given(st.integers(0, 26), st.integers(0, 7))
def test_one_flipped_bit_never_passes_a_demanded_checksum(place: int, bit: int) -> None:
    line = bytearray(with_sum(b"S1 T=12.50 RH=81.2 V=3.1"))
    line[place] ^= 1 << bit
    decoded = decode(bytes(line), checksum=True)
    # Flipping the letter case of a hex digit is the one change that says the same.
    assert decoded.samples == [] or bytes(line).lower() == with_sum(b"S1 T=12.50 RH=81.2 V=3.1").lower()


@given(st.binary(max_size=400) | st.text(max_size=100).map(str.encode))
@example(b"S1 T=" + b"9" * 11)
def test_no_bytes_raise_and_no_number_is_unfinite(line: bytes) -> None:
    for sample in decode(line).samples:
        assert math.isfinite(sample.value)


@given(st.from_regex(r"S1 T=-?[0-9]{1,3}(\.[0-9]{1,4})? RH=[0-9]{1,2}(\.[0-9])?", fullmatch=True), st.data())
def test_a_shortened_line_is_refused_once_checksums_are_on(line: str, data: st.DataObject) -> None:
    whole = with_sum(line.encode("ascii"))
    cut = data.draw(st.integers(0, len(whole) - 1))
    assert decode(whole, checksum=True).samples
    assert decode(whole[:cut], checksum=True).samples == []
