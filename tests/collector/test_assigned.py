"""A topic speaks only for the probes that are assigned to it: FAULTS section 3, MQTT."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from collector.arrival import Arrival, Outcome
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import Quantity
from collector.settings import SettingsError, parse
from collector.store.reader import Reader
from collector.store.writer import Writer

NOW = 1_795_600_000_000
SHOP = """
site = "invented"
time_zone = "Europe/Oslo"
[[source]]
id = "broker"
kind = "mqtt"
host = "127.0.0.1"
topic = ["shed/+/senml"]
decode = { kind = "senml" }
[[source]]
id = "usb"
kind = "serial"
port = "/dev/null"
decode = { kind = "nmea_xdr" }
"""
PROBE = '[[probe]]\nid = "{id}"\nsource = "{source}"\nzone = "shed"\nplace = "air"\ninterval_s = 10\n{more}\n'


def probe(id: str, source: str = "broker", **more: str) -> str:
    return PROBE.format(
        id=id, source=source, more="\n".join(f'{key} = "{value}"' for key, value in more.items())
    )


@pytest.mark.parametrize(
    ("assigned", "topic", "believed"),
    [
        ("shed/probe7/senml", "shed/probe7/senml", True),
        ("shed/probe7/senml", "shed/probe8/senml", False),
        ("shed/probe7/senml", "shed/probe7/senml/", False),
        ("shed/+/senml", "shed/probe8/senml", True),
        ("shed/probe7/#", "shed/probe7/senml", True),
        ("shed/probe7/#", "shed/probe70/senml", False),
        (None, "shed/probe8/senml", True),
    ],
)
def test_a_name_on_anothers_topic_is_refused_and_not_stored(
    tmp_path: Path, assigned: str | None, topic: str, believed: bool
) -> None:
    settings = parse(
        SHOP + probe("S7", **({"topic": assigned} if assigned else {})), tmp_path / "coldshed.toml"
    )
    settings.data_folder.mkdir()
    writer = Writer.open(settings.readings_db, SteppedClock(NOW))
    pipeline, told = Pipeline(settings, writer, SteppedClock(NOW)), list[Outcome]()
    payload = json.dumps([{"n": "S7", "u": "Cel", "v": 21.5}]).encode()
    pipeline.take(Arrival("broker", payload, NOW, topic, outcome=told.append))
    pipeline.flush()
    reader = Reader.open(settings.readings_db)
    assert reader.samples("S7", Quantity.TEMPERATURE, 0, 2**60)[1].tolist() == ([21.5] if believed else [])
    assert [refusal.kind for refusal in told[0].refused] == ([] if believed else ["wrong topic"])
    reader.close()
    writer.close()


def test_a_probe_on_a_wire_has_no_topic(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"coldshed.toml:21: probe.0.topic: a source of kind 'serial'"):
        parse(SHOP + probe("S1", "usb", topic="shed/s1"), tmp_path / "coldshed.toml")


def test_a_topic_that_is_no_filter_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="topic"):
        parse(SHOP + probe("S1", topic="shed/#/senml"), tmp_path / "coldshed.toml")


@pytest.mark.parametrize("topic", ["shed/a\u202eb", "shed/a\x1b[2J", "shed/" + "x" * 200, "shed/a\nb"])
def test_a_topic_that_would_read_otherwise_than_it_is_becomes_no_name(tmp_path: Path, topic: str) -> None:
    plain = SHOP.replace("senml", "json_map").replace(
        '"json_map" }', '"json_map", field = [{ key = "/t", quantity = "temperature", unit = "degC" }] }'
    )
    settings = parse(plain + probe("S7"), tmp_path / "coldshed.toml")
    settings.data_folder.mkdir()
    writer = Writer.open(settings.readings_db, SteppedClock(NOW))
    pipeline, told = Pipeline(settings, writer, SteppedClock(NOW)), list[Outcome]()
    for heard_on in (topic, "shed/probe7/json_map"):
        pipeline.take(Arrival("broker", b'{"t": 21.5}', NOW, heard_on, outcome=told.append))
    pipeline.flush()
    reader = Reader.open(settings.readings_db)
    assert [refusal.kind for one in told for refusal in one.refused] == ["bad name", "unknown name"]
    assert [one.name for one in reader.heard()] == ["shed/probe7/json_map"]
    reader.close()
    writer.close()
