"""XDR sentences, against published sentences and an independent reader (pynmeagps)."""

from __future__ import annotations

from functools import reduce

import pynmeagps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Arrival, Decoded
from collector.decode.nmea_xdr import NmeaXdrDecoder
from collector.reading import Quantity
from collector.settings import NmeaXdr

T, RH = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


def sentence(body: str) -> bytes:
    return f"${body}*{reduce(lambda total, c: total ^ ord(c), body, 0):02X}".encode()


def decode(line: bytes, talker: str | None = "WI") -> Decoded:
    return NmeaXdrDecoder(NmeaXdr(kind="nmea_xdr", talker=talker)).decode(Arrival("mast", line, 0))


def values(decoded: Decoded) -> list[tuple[str, Quantity, float]]:
    assert all(sample.at is None for sample in decoded.samples)
    return [(sample.name, sample.quantity, sample.value) for sample in decoded.samples]


def kinds(decoded: Decoded) -> list[str]:
    return [refusal.kind for refusal in decoded.refused]


PUBLISHED = {
    # The gpsd project's "NMEA Revealed", XDR - Transducer Measurement.
    b"$IIXDR,P,1.0154,B,Barometer*16": [],
    b"$IIXDR,P,1.015,B,Baro,C,22.0,C,AirTemp*21": [("AirTemp", T, 22.0)],
    # A sentence in the tests of a public parser.
    b"$WIXDR,C,+023.1,C,TEMP,P,0.9989,B,PRESS,H,040,P,RH*25": [("TEMP", T, 23.1), ("RH", RH, 40.0)],
}


@pytest.mark.parametrize("line", PUBLISHED)
def test_published_sentences_are_read_with_their_published_checksums(line: bytes) -> None:
    decoded = decode(line + b"\r", talker=line[1:3].decode())
    assert values(decoded) == PUBLISHED[line]
    assert decoded.refused == []


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["C", "H"]),
            st.decimals(-99, 99, places=2).map(str),
            st.text("ABCDEFGHT0123456789", min_size=1, max_size=8),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_an_independent_reader_sees_the_same_values(sets: list[tuple[str, str, str]]) -> None:
    units = {"C": "C", "H": "P"}
    line = sentence("WIXDR," + ",".join(f"{kind},{value},{units[kind]},{id}" for kind, value, id in sets))
    theirs = pynmeagps.NMEAReader.parse(line + b"\r\n", validate=pynmeagps.VALCKSUM)
    ours = decode(line)
    assert ours.refused == []
    for number, sample in enumerate(ours.samples, start=1):
        assert sample.name == getattr(theirs, f"tdrid_{number:02d}")
        assert sample.value == pytest.approx(float(getattr(theirs, f"data_{number:02d}")), abs=1e-9)
    assert len(ours.samples) == len(sets)


def test_without_a_talker_in_the_settings_the_names_say_who_spoke() -> None:
    two = [decode(sentence(f"{talker}XDR,C,12.5,C,T1"), talker=None) for talker in ("WI", "II")]
    assert [values(decoded)[0][0] for decoded in two] == ["WI/T1", "II/T1"]


def test_another_sentence_or_a_blank_line_is_nothing_at_all() -> None:
    for line in (b"", b"\r\n", sentence("GPGGA,1,2"), sentence("PXYZ,1"), sentence("WIMTW,12.0,C")):
        assert decode(line) == Decoded()


REFUSED = {
    "a number that float() would take": (sentence("WIXDR,C,nan,C,T1"), "not a number"),
    "an exponent": (sentence("WIXDR,C,1e1,C,T1"), "not a number"),
    "a plus before a minus": (sentence("WIXDR,C,+-5,C,T1"), "not a number"),
    "degrees of another scale": (sentence("WIXDR,C,54.5,F,T1"), "other unit"),
    "an endless id": (sentence("WIXDR,C,12.5,C," + "x" * 70), "bad name"),
    "no checksum": (b"$WIXDR,C,12.5,C,T1", "format"),
    "two sentences in one line": (sentence("WIXDR,C,1.5,C,T1") * 2, "checksum"),
    "garbage": (b"$WIXDR,C,\xff2.5,C,T1*00", "garbage"),
    "a line without end": (b"$" + b"x" * 300, "too long"),
}


@pytest.mark.parametrize(("line", "kind"), REFUSED.values(), ids=REFUSED.keys())
def test_what_has_more_than_one_reading_is_refused_with_its_reason(line: bytes, kind: str) -> None:
    decoded = decode(line)
    assert decoded.samples == []
    assert kinds(decoded) == [kind]


def test_a_sentence_cut_at_any_byte_is_refused_whole() -> None:
    whole = sentence("WIXDR,C,12.5,C,T1,H,84.2,P,H1")
    for length in range(1, len(whole)):
        decoded = decode(whole[:length])
        assert decoded.samples == []
        assert len(decoded.refused) == 1
