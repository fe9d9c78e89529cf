"""NMEA 0183: a sentence that may have lost bytes, or comes from somebody else, is no reading."""

from __future__ import annotations

import pytest

from tests.collector.decode.test_nmea_xdr import decode, kinds, sentence, values


def test_b17_a_bad_checksum_is_refused() -> None:
    good = sentence("WIXDR,C,12.5,C,T1,H,84.2,P,H1")
    for place in range(1, len(good)):
        for bit in range(8):
            bad = bytearray(good)
            bad[place] ^= 1 << bit
            decoded = decode(bytes(bad))
            assert decoded.samples == [] or bytes(bad).upper() == good, bytes(bad)


@pytest.mark.parametrize(
    ("body", "taken", "refused"),
    [
        ("WIXDR,C,,C,T1,H,84.2,P,H1", ["H1"], ["missing field"]),
        ("WIXDR,C,12.5,,T1,H,84.2,P,H1", ["H1"], ["missing field"]),
        ("WIXDR,C,12.5,C,,H,84.2,P,H1", ["H1"], ["missing field"]),
        ("WIXDR,,12.5,C,T1,H,84.2,P,H1", ["H1"], ["missing field"]),
        ("WIXDR,C,12.5,C,T1,H,84.2,P", [], ["missing field"]),
        ("WIXDR,C,12.5,T1", [], ["missing field"]),
        ("WIXDR", [], ["missing field"]),
    ],
)
def test_b17_a_missing_field_is_refused(body: str, taken: list[str], refused: list[str]) -> None:
    """An empty field refuses its own transducer; a missing one the sentence, whose fields may all have moved."""
    decoded = decode(sentence(body))
    assert [name for name, _, _ in values(decoded)] == taken
    assert kinds(decoded) == refused


def test_b17_a_second_talker_is_refused_and_never_shares_a_series() -> None:
    """Two instruments on one line, both with a transducer T1."""
    assert kinds(decode(sentence("IIXDR,C,30.0,C,T1"))) == ["other talker"]
    names = [
        values(decode(sentence(f"{talker}XDR,C,30.0,C,T1"), talker=None))[0][0] for talker in ("WI", "II")
    ]
    assert len(set(names)) == 2
