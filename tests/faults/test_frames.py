"""100,000 mutated frames through every parser: none crashes it, none is taken in spite of its checksum."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.arrival import Arrival, Decoded, Sample
from collector.reading import Quantity
from tests.faults.frames import Parser, Score, crc8, crc16, judge, parsers, run

PARSERS = parsers()
MUTANTS = 100_000


def assert_survives(name: str, count: int, seed: int) -> Score:
    score = run(PARSERS[name], count, seed)
    assert score.faults == []
    assert score.mutants == count
    if name != "recording":
        assert score.refused > count // 20
        assert score.taken > count // 200
    if PARSERS[name].holds is not None:
        assert score.unsealed > count // 5
    return score


@pytest.mark.parametrize("name", PARSERS)
def test_mutated_frames_never_crash_a_parser_nor_pass_a_wrong_checksum(name: str) -> None:
    assert_survives(name, -(-MUTANTS // len(PARSERS)), seed=1)


@pytest.mark.parametrize("name", PARSERS)
def test_every_frame_cut_anywhere_and_with_any_one_bit_flipped_is_survived(name: str) -> None:
    parser, score = PARSERS[name], Score()
    for topic, frame in parser.seeds:
        for length in range(len(frame)):
            judge(parser, topic, frame[:length], score)
        for bit in range(8 * len(frame)):
            bent = bytearray(frame)
            bent[bit // 8] ^= 1 << bit % 8
            judge(parser, topic, bytes(bent), score)
    assert score.faults == []


def test_the_checksums_of_the_harness_are_the_published_ones() -> None:
    """CRC-8: a captured scratchpad (raspberrypi.stackexchange.com question 48106). CRC-16: the specification's
    example of function 3, as public guides print it on a serial line."""
    assert crc8(bytes.fromhex("5e01ffff7fffffff")) == 0x52
    assert crc16(bytes.fromhex("1103006B0003")).to_bytes(2, "little") == bytes.fromhex("7687")


@pytest.mark.parametrize("name", [name for name, parser in PARSERS.items() if parser.holds is not None])
def test_a_parser_that_does_not_look_at_its_checksum_is_caught(name: str) -> None:
    """So the harness bites: the same frames through a reader that seals each one before it decodes it."""
    parser = PARSERS[name]
    seal = parser.seal
    assert seal is not None

    def gullible(arrival: Arrival) -> Decoded:
        return parser.decode(arrival._replace(payload=seal(arrival.payload)))

    score = run(replace(parser, decode=gullible), 500, seed=1)
    assert any("in spite of its checksum" in fault for fault in score.faults)


def test_a_parser_that_crashes_or_gives_what_is_no_number_is_caught() -> None:
    def crashing(arrival: Arrival) -> Decoded:
        raise IndexError("list index out of range")

    def careless(arrival: Arrival) -> Decoded:
        return Decoded([Sample("S1", Quantity.TEMPERATURE, float("nan"), None)])

    for decode, what in ((crashing, "IndexError"), (careless, "nan")):
        score = run(Parser(decode, [("", b"S1 T=12.5")]), 3, seed=1)
        assert len(score.faults) == 3
        assert what in score.faults[0]
