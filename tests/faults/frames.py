"""Mutated frames: every recorded sample bent in many ways, through every parser.

Whatever comes: no exception, only finite values, and nothing taken from a frame whose checksum, worked out here by
other means than the parser's, is wrong. A third of the mutants are sealed again with a right checksum, so that what
lies behind the checksum is reached too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from random import Random

import pynmeagps

from collector.arrival import Arrival, Decoded
from collector.decode import decoder_for
from collector.recording import parse_line
from collector.settings import FieldMap, NmeaXdr, Settings, TextLine, parse
from tests.house.test_registry import NOTES, SAMPLES, sampled

FIELDS = (
    FieldMap(key="T", quantity="temperature", unit="degC"),  # type: ignore[arg-type]
    FieldMap(key="RH", quantity="relative_humidity", unit="%"),  # type: ignore[arg-type]
)
TOKENS = [
    *(
        b"nan",
        b"inf",
        b"-",
        b"--",
        b"+",
        b"1e999",
        b"1_0",
        b"0x1F",
        b"21,5",
        b"9" * 400,
        b"-0.0",
        b"1" * 5000,
    ),
    *(
        b"*",
        b"$",
        b"!",
        b",",
        b",,,,",
        b"=",
        b" ",
        b"\t",
        b"\r",
        b"\n",
        b"\0",
        b"\x1b[2J",
        b"\xff",
        b"\xef\xbb\xbf",
    ),
    *(
        b"{",
        b"}",
        b"[" * 40,
        b"]",
        b'"',
        b"\\u0000",
        b"\\ud800",
        b"null",
        b"true",
        b"1e309",
        b"YES",
        b"NO",
        b"t=",
    ),
    *("٢١".encode(), "½".encode(), b"T=1", b"Cel", b"%RH", b"K", b"00 00 00 00 00 00 00 00 00", b";"),
]


@dataclass(frozen=True)
class Parser:
    """A way from bytes to samples, the frames to begin with, and what is known of its checksum.

    holds  whether this frame's checksum is right; None where the form has none
    seal   the frame with a right checksum
    """

    decode: Callable[[Arrival], Decoded]
    seeds: list[tuple[str, bytes]]
    holds: Callable[[bytes], bool] | None = None
    seal: Callable[[bytes], bytes] | None = None


@dataclass
class Score:
    """What became of the mutants."""

    mutants: int = 0
    taken: int = 0
    refused: int = 0
    unsealed: int = 0
    faults: list[str] = field(default_factory=list)


def bend(frame: bytes, others: list[tuple[str, bytes]], random: Random) -> bytes:
    """The frame with one to four changes: bits, bytes, pieces, tokens, or a piece of another frame."""
    bent = bytearray(frame)
    for _ in range(random.choice((1, 1, 1, 2, 4))):
        at = random.randrange(len(bent) + 1)
        to = min(len(bent), at + random.randrange(1, 9))
        match random.randrange(9):
            case 0 if at < len(bent):
                bent[at] ^= 1 << random.randrange(8)
            case 1 if at < len(bent):
                bent[at] = random.randrange(256)
            case 2:
                del bent[at:to]
            case 3:
                bent[at:at] = bent[at:to] * random.randrange(1, 4)
            case 4:
                del bent[at:]
            case 5:
                bent[at:to] = random.choice(TOKENS)
            case 6:
                other = random.choice(others)[1]
                bent[at:] = other[random.randrange(len(other) + 1) :]
            case 7 if at < len(bent):
                bent[at] = random.choice(b"0123456789-.")
            case _:
                bent[at:at] = bytes([random.randrange(256)])
    return bytes(bent)


def run(parser: Parser, count: int, seed: int) -> Score:
    """Bends `count` frames and judges what the parser makes of them."""
    random, score = Random(seed), Score()
    for _ in range(count):
        topic, frame = random.choice(parser.seeds)
        bent = bend(frame, parser.seeds, random)
        if parser.seal is not None and random.random() < 1 / 3:
            bent = parser.seal(bent)
        judge(parser, topic, bent, score)
    return score


def judge(parser: Parser, topic: str, frame: bytes, score: Score) -> None:
    """One frame. A fault is written down with the frame, so that it can be tried again."""
    score.mutants += 1
    try:
        decoded = parser.decode(Arrival("x", frame, 1_795_730_000_000, topic))
    except Exception as error:  # noqa: BLE001 - this is what is looked for
        score.faults.append(f"{type(error).__name__}: {error} for {frame[:300]!r}")
        return
    score.taken += bool(decoded.samples)
    score.refused += bool(decoded.refused)
    for sample in decoded.samples:
        timed = sample.at is None or 0 <= sample.at < 4_200_000_000_000
        if not (math.isfinite(sample.value) and timed and sample.name):
            score.faults.append(f"{sample} from {frame[:300]!r}")
    if any(not refusal.kind or len(refusal.text) > 2000 for refusal in decoded.refused):
        score.faults.append(f"a refusal without a kind or without end for {frame[:300]!r}")
    if parser.holds is not None and not parser.holds(frame):
        score.unsealed += 1
        if decoded.samples:
            score.faults.append(f"taken in spite of its checksum: {frame[:300]!r}")


def xor(data: bytes) -> int:
    total = 0
    for byte in data:
        total ^= byte
    return total


def line_holds(frame: bytes) -> bool:
    body, star, stated = frame.removesuffix(b"\n").removesuffix(b"\r").rpartition(b"*")
    return (
        bool(star) and re.fullmatch(rb"[0-9A-Fa-f]{2}", stated) is not None and xor(body) == int(stated, 16)
    )


def seal_line(frame: bytes) -> bytes:
    body = frame.rpartition(b"*")[0] or frame
    return body + b"*%02X" % xor(body)


def sentence_holds(frame: bytes) -> bool:
    body, star, stated = frame.removesuffix(b"\n").removesuffix(b"\r")[1:].rpartition(b"*")
    try:
        return bool(star) and pynmeagps.calc_checksum(body.decode("ascii")) == stated.decode("ascii").upper()
    except UnicodeDecodeError:
        return False


def seal_sentence(frame: bytes) -> bytes:
    body = (frame.rpartition(b"*")[0] or frame).removeprefix(b"$")
    return b"$" + body + b"*%02X" % xor(body)


def crc8(data: bytes) -> int:
    """Long division of the bits by x^8 + x^5 + x^4 + 1, each byte's lowest bit first; the remainder mirrored."""
    bits = "".join(f"{byte:08b}"[::-1] for byte in data) + "0" * 8
    rest = 0
    for bit in bits:
        rest = rest << 1 | int(bit)
        if rest & 0x100:
            rest ^= 0x131
    return int(f"{rest:08b}"[::-1], 2)


def scratchpad_holds(frame: bytes) -> bool:
    """The nine bytes of the first line, and the number behind t= in the second."""
    words = frame.split()
    try:
        nine = bytes(int(word, 16) for word in words[:9])
        told = int(words[-1].removeprefix(b"t="))
    except (ValueError, IndexError):
        return False
    raw = int.from_bytes(nine[:2], "little", signed=True)
    bits = 64 if len(nine) > 4 and nine[4] & 0x80 else 16
    return len(nine) == 9 and crc8(nine[:8]) == nine[8] and (bits == 64 or int(raw * 1000 / 16) == told)


def seal_scratchpad(frame: bytes) -> bytes:
    """A w1_slave file of eight of the frame's bytes, taken for the sensor's."""
    eight = (frame[::5] + b"\x10" * 8)[:8]
    nine = (eight + bytes([crc8(eight)])).hex(" ").encode()
    told = int(int.from_bytes(eight[:2], "little", signed=True) * 1000 / 16)
    return nine + b" : crc=%02x YES\n" % crc8(eight) + nine + b" t=%d\n" % told


def crc16(data: bytes) -> int:
    """MODBUS over Serial Line V1.02, 6.2.2: register of ones, each byte's bits shifted through A001."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def answer_holds(frame: bytes) -> bool:
    return len(frame) >= 3 and crc16(frame[:-2]) == int.from_bytes(frame[-2:], "little")


def seal_answer(frame: bytes) -> bytes:
    return frame[:-2] + crc16(frame[:-2]).to_bytes(2, "little")


@cache
def example() -> Settings:
    text = (files("collector") / "example.toml").read_text(encoding="utf-8")
    return parse(text, Path("example.toml"))


def of_example(kind: str) -> Callable[[Arrival], Decoded]:
    return decoder_for(next(item.decode for item in example().source if item.decode.kind == kind)).decode


def recorded_line(arrival: Arrival) -> Decoded:
    """A recording's reader gives an arrival or None; its payload's bytes must be what they were."""
    found = parse_line(arrival.payload)
    assert found is None or isinstance(found.payload, bytes)
    return Decoded()


def parsers() -> dict[str, Parser]:
    """Every reader of foreign bytes, by name; the registry's test sees that each kind has a sample."""
    seeds = {kind: [(arrival.topic, arrival.payload) for arrival in sampled(kind)] for kind in SAMPLES}
    lines = [("", seal_line(line)) for _, line in seeds["text_line"]] + [("", b"A1 T=-9.81 RH=84.2*1D\r\n")]
    recording = (NOTES / "samples" / SAMPLES["modbus_registers"]).read_bytes().splitlines()
    sealed = {
        "text_line": (line_holds, seal_line),
        "nmea_xdr": (sentence_holds, seal_sentence),
        "w1_slave": (scratchpad_holds, seal_scratchpad),
        "modbus_registers": (answer_holds, seal_answer),
    }
    found = {
        kind: Parser(of_example(kind), seeds[kind], *sealed.get(kind, ()))
        for kind in SAMPLES
        if kind != "text_line"
    }
    strict = decoder_for(TextLine(kind="text_line", field=FIELDS, checksum=True)).decode
    found["text_line"] = Parser(strict, lines, *sealed["text_line"])
    found["text_line with or without checksum"] = Parser(
        of_example("text_line"),
        seeds["text_line"] + lines,
        lambda frame: b"*" not in frame or line_holds(frame),
        seal_line,
    )
    any_talker = decoder_for(NmeaXdr(kind="nmea_xdr")).decode
    found["nmea_xdr of any talker"] = Parser(any_talker, seeds["nmea_xdr"], *sealed["nmea_xdr"])
    plain = [("28-00000000ab01/temperature", b"12500\n"), ("28-00000000ab01/temperature", b"-62\n")]
    found["temperature file"] = Parser(of_example("w1_slave"), plain)
    found["recording"] = Parser(recorded_line, [("", line) for line in recording])
    return found
