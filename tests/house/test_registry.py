"""Registry, settings, the shipped example and the notes for builders say the same: none can drift from the others."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path
from typing import get_args

import pytest

from collector import settings
from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.decode import decoder_for
from collector.recording import arrivals
from collector.settings import parse
from collector.sources import source_for

ROOT = Path(__file__).parents[2]
NOTES = ROOT / "firmware_notes"
EXAMPLE = (files("collector") / "example.toml").read_text(encoding="utf-8")
RECEIVED = 1_795_730_000_000
"""After the times in the samples: a logger whose file lies in the future is refused."""
SAMPLES = {
    "text_line": "text_line.txt",
    "senml": "senml.json",
    "json_map": "json_map.json",
    "logger_csv": "logger.csv",
    "nmea_xdr": "nmea_xdr.txt",
    "w1_slave": "w1_slave.txt",
    "modbus_registers": "modbus_registers.rec",
}
TOPICS = {"json_map": "shed/json/a2", "w1_slave": "28-00000000ab01"}


def sampled(kind: str) -> list[Arrival]:
    """The arrivals of a recorded sample: lines, one file, or a recording."""
    path = NOTES / "samples" / SAMPLES[kind]
    if path.suffix == ".rec":
        return list(arrivals(path))
    parts = path.read_bytes().splitlines() if kind in ("text_line", "nmea_xdr") else [path.read_bytes()]
    return [Arrival(kind, part, RECEIVED, TOPICS.get(kind, "")) for part in parts]


def kinds(union: object) -> set[str]:
    """The `kind` of every table in one of the settings' unions."""
    tables = get_args(get_args(union)[0])
    return {get_args(table.model_fields["kind"].annotation)[0] for table in tables}


def test_every_kind_has_a_reader_an_example_and_a_sample(tmp_path: Path) -> None:
    """A kind without one of them cannot be added."""
    shop = parse(EXAMPLE, tmp_path / "coldshed.toml")
    assert {source.kind for source in shop.source} | {"simulated"} == kinds(settings.Source)
    assert {source.decode.kind for source in shop.source} == kinds(settings.Decode) == set(SAMPLES)
    assert {path.name for path in (NOTES / "samples").iterdir()} == set(SAMPLES.values())
    for source in shop.source:
        assert source_for(source, shop, SteppedClock(0)).id == source.id


@pytest.mark.parametrize("kind", sorted(SAMPLES))
def test_the_recorded_sample_is_read_with_the_examples_settings(kind: str, tmp_path: Path) -> None:
    """Every probe of a sample is one of the example's, and the values are those written in the notes, in SI."""
    shop = parse(EXAMPLE, tmp_path / "coldshed.toml")
    source = next(item for item in shop.source if item.decode.kind == kind)
    decoder = decoder_for(source.decode)
    decoded = [decoder.decode(arrival) for arrival in sampled(kind)]
    assert [refusal.text for item in decoded for refusal in item.refused] == []
    samples = [sample for item in decoded for sample in item.samples]
    known = settings.wire_names(shop)
    assert all((source.id, sample.name) in known for sample in samples)
    values = sorted(round(sample.value, 2) for sample in samples)
    assert (
        values
        == {
            "text_line": [9.81, 12.5, 84.2],
            "senml": [12.5, 84.2],
            "json_map": [12.5, 84.2],
            "logger_csv": [8.0, 8.2, 9.7, 9.9, 86.0, 87.0],
            "nmea_xdr": [12.5, 84.2],
            "w1_slave": [12.5],
            "modbus_registers": [-2.1, 84.2],
        }[kind]
    )


def test_the_notes_show_the_samples_as_they_are() -> None:
    """What a builder reads is what the tests parse."""
    text = re.sub(r"\s+", " ", (NOTES / "README.md").read_text(encoding="utf-8"))
    for name in SAMPLES.values():
        for line in (NOTES / "samples" / name).read_text(encoding="utf-8").splitlines():
            if name != "logger.csv" or "22:20" not in line:
                assert line.strip() in text, (name, line)


def test_the_broker_notes_keep_what_is_acknowledged() -> None:
    """The defaults would drop a night without a word: no persistence, and a queue of 1,000.

    Saved once a minute: what a dying broker forgets of that minute, probes send again (firmware.md).
    """
    lines = (NOTES / "mosquitto.conf").read_text(encoding="utf-8").splitlines()
    for line in (
        "max_queued_messages 0",
        "persistence true",
        "autosave_on_changes false",
        "autosave_interval 60",
    ):
        assert line in lines
    assert "listener 1883 127.0.0.1" in lines
