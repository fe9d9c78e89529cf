"""Payloads that are wrong in form: refused with a reason, acknowledged so that they do not come again, counted."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.decode import decoder_for
from collector.decode.logger_csv import LoggerCsvDecoder
from collector.pipeline import Pipeline
from collector.settings import Column, JsonMap, LoggerCsv, TimeField
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.collector.decode.test_nmea_xdr import decode as decode_sentence
from tests.collector.decode.test_nmea_xdr import sentence
from tests.collector.shops import LINES, probe, shop

T0 = 1_795_604_832_000
JSON = """
[source.decode]
kind = "json_map"
field = [{ key = "/temp", quantity = "temperature", unit = "degC" }]
name = "/name"
time = { key = "/ts", unit = "s" }
"""


class House:
    """The real pipeline and store behind three sources; `done` holds what was acknowledged."""

    def __init__(self, at: Path) -> None:
        tables = [
            f'[[source]]\nid = "{id}"\nkind = "simulated"\n{decode}'
            for id, decode in (
                ("lines", LINES),
                ("json", JSON),
                ("senml", '[source.decode]\nkind = "senml"\n'),
            )
        ]
        probes = [probe(id, source) for id, source in (("S1", "lines"), ("S2", "json"), ("S3", "senml"))]
        settings = shop(at, *tables, *probes)
        self.writer = Writer.open(settings.readings_db, SteppedClock(T0))
        self.pipeline = Pipeline(settings, self.writer, SteppedClock(T0))
        self.reader = Reader(self.writer.connection)
        self.done: list[bytes] = []

    def take(self, source: str, payload: bytes) -> tuple[int, set[str]]:
        """How many rows the payload gave, and the kinds it was refused for."""
        before = len(self.reader.readings_after(0, 1000)[0])
        self.pipeline.take(Arrival(source, payload, T0, "topic", done=lambda: self.done.append(payload)))
        self.pipeline.flush()
        kinds = {tally.kind for tally in self.reader.tallies()}
        return len(self.reader.readings_after(0, 1000)[0]) - before, kinds


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path)
    yield house
    house.writer.close()


POISON: dict[str, tuple[bytes, str]] = {
    "an empty payload": (b"", "empty"),
    "a payload of 1 MB": (b'{"temp": 12.5, "pad": "' + b"x" * 1_000_000 + b'"}', "too large"),
    "binary": (bytes(range(128, 256)), "not JSON"),
    "a byte order mark": (b'\xef\xbb\xbf{"temp": 12.5}', "not JSON"),
    "deep nesting": (b"[" * 50_000, "too deep"),
    "a key twice": (b'[{"n": "S3", "n": "S4", "u": "Cel", "v": 1}]', "not clear"),
    "an integer of 5,000 digits": (b"[" + b"9" * 5000 + b"]", "not clear"),
    "a number too large for a double": (b"[1e999]", "not clear"),
    "NaN": (b"[NaN]", "not clear"),
}


@pytest.mark.parametrize("source", ["json", "senml"])
@pytest.mark.parametrize(("payload", "kind"), POISON.values(), ids=POISON.keys())
def test_b30_a_poisoned_payload_is_refused_with_its_reason_acknowledged_and_counted(
    house: House, source: str, payload: bytes, kind: str
) -> None:
    assert house.take(source, payload) == (0, {kind})
    assert house.done == [payload]
    (tally,) = house.reader.tallies()
    assert (tally.source, tally.n) == (source, 1)
    assert len(tally.last_text) < 500


@pytest.mark.parametrize(
    ("source", "payload", "kind"),
    [
        ("json", b'{"name": "S2", "temp": true}', "not a number"),
        ("json", b'{"name": "S2", "temp": [12.5]}', "not a number"),
        ("json", b'{"name": "S2", "temp": ' + b"9" * 400 + b"}", "not clear"),
        ("json", b'{"name": 7, "temp": 12.5}', "bad name"),
        ("json", b'{"name": "S2"}', "missing field"),
        ("json", b'{"temp": 12.5}', "missing field"),
        ("json", b'"text"', "missing field"),
        ("senml", b'[{"n": "S3", "u": "Cel", "v": "12.5"}]', "wrong type"),
        ("senml", b'[{"n": 3, "u": "Cel", "v": 12.5}]', "wrong type"),
        ("senml", b'[{"n": "S3", "v": 12.5}]', "no unit"),
        ("senml", b'[{"n": "S3", "u": "Cel"}]', "no value"),
        ("senml", b'[{"u": "Cel", "v": 12.5}]', "bad name"),
        ("senml", b'{"n": "S3", "u": "Cel", "v": 12.5}', "not SenML"),
    ],
)
def test_b30_a_wrong_type_or_a_missing_field_is_refused_with_its_reason_and_acknowledged(
    house: House, source: str, payload: bytes, kind: str
) -> None:
    assert house.take(source, payload) == (0, {kind})
    assert house.done == [payload]


@pytest.mark.parametrize("number", ["9" * 400, "-" + "9" * 5000, "1e400"])
def test_b30_a_flat_table_with_a_number_that_no_double_holds_is_refused_too(number: str) -> None:
    """Flat tables have a faster way through the reader, which must not be a way round."""
    table = JsonMap.model_validate(
        {"kind": "json_map", "field": [{"key": "/temp", "quantity": "temperature", "unit": "degC"}]}
    )
    decoded = decoder_for(table).decode(Arrival("json", b'{"temp": ' + number.encode() + b"}", T0, "S2"))
    assert decoded.samples == []
    assert [refusal.kind for refusal in decoded.refused] in (["not clear"], ["not JSON"])


def test_b36_a_clock_in_another_unit_than_configured_is_refused_and_never_guessed(house: House) -> None:
    """1795604832 s and 1795604832000 ms are 2026-11-25 11:07:12 UTC (POSIX time)."""
    assert house.take("json", b'{"name": "S2", "temp": 12.5, "ts": 1795604832}') == (1, set())
    assert house.take("json", b'{"name": "S2", "temp": 12.5, "ts": 1795604832000}') == (0, {"time"})
    in_ms = JsonMap.model_validate(
        {
            "kind": "json_map",
            "field": [{"key": "/temp", "quantity": "temperature", "unit": "degC"}],
            "time": {"key": "/ts", "unit": "ms"},
        }
    )
    decoder = decoder_for(in_ms)
    for text, taken in ((b"1795604832000", 1), (b"1795604832", 0)):
        decoded = decoder.decode(Arrival("json", b'{"temp": 12.5, "ts": ' + text + b"}", T0, "S2"))
        assert (len(decoded.samples), len(decoded.refused)) == (taken, 1 - taken)


def test_b36_a_local_time_is_refused_unless_its_zone_is_configured() -> None:
    payload = b'{"temp": 12.5, "ts": "2026-11-25 12:07:12"}'
    for zone, at in ((None, []), ("Europe/Oslo", [1_795_604_832_000]), ("UTC", [1_795_608_432_000])):
        table = JsonMap.model_validate(
            {
                "kind": "json_map",
                "field": [{"key": "/temp", "quantity": "temperature", "unit": "degC"}],
                "time": {"key": "/ts", "unit": "iso8601", "zone": zone},
            }
        )
        decoded = decoder_for(table).decode(Arrival("json", payload, T0, "S2"))
        assert [sample.at for sample in decoded.samples] == at
        assert [refusal.kind for refusal in decoded.refused] == ["time"] * (not at)


NOT_NUMBERS = [
    "21,5",
    "nan",
    "inf",
    "-inf",
    "1e999",
    "1e1",
    "1_0",
    "٢١",
    "--",
    "21.5C",
    "0x15",
    "",
    " 21",
    "1.",
    ".5",
]


@pytest.mark.parametrize("text", NOT_NUMBERS)
def test_b18_only_one_strict_form_of_number_is_taken_by_every_reader_of_text(house: House, text: str) -> None:
    """Most of these are numbers to float(), or to somebody: none has only one reading."""
    assert house.take("lines", f"S1 T={text}".encode())[0] == 0
    assert house.take("json", f'{{"name": "S2", "temp": "{text}"}}'.encode())[0] == 0
    assert decode_sentence(sentence_of(text)).samples == []
    table = LoggerCsv(
        kind="logger_csv",
        field=(Column(key="t", quantity="temperature", unit="degC", name="L1"),),
        time=TimeField(key="time", unit="s"),
        delimiter=";",
    )
    row = f"time;t\n1795604832;{text.strip()}x\n".encode()
    assert LoggerCsvDecoder(table).decode(Arrival("csv", row, T0)).samples == []


def sentence_of(text: str) -> bytes:
    return sentence(f"WIXDR,C,{text},C,T1") if text.isascii() else f"$WIXDR,C,{text},C,T1*00".encode()
