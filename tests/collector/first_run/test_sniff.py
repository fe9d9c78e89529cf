"""What unknown bytes hold: the recorded samples of every wire, and what a number may be."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from collector.arrival import Arrival
from collector.first_run.facts import CannotSetUp, Device, Value, apart, in_hand
from collector.first_run.loggers import layout_of
from collector.first_run.sniff import looks_named, may_be, sniff
from collector.reading import Quantity

SAMPLES = Path(__file__).parents[3] / "firmware_notes" / "samples"
NOW = 1_795_604_900_000
T, RH = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


def heard(
    kind: str, payload: bytes, topic: str = ""
) -> list[tuple[str, tuple[str, ...], list[tuple[str, float]]]]:
    """Decode kind, names and (key, number) of each device of an arrival."""
    found, _ = sniff(kind, Arrival("way", payload, NOW, topic))
    return [(one.decode, one.names, [(n.key, n.sent) for n in one.numbers]) for one in found]


def test_a_text_line_is_a_name_with_a_number_for_each_key() -> None:
    assert heard("serial", b"S1 T=12.50 RH=81.2 BAT=3.1") == [
        ("text_line", ("S1",), [("T", 12.5), ("RH", 81.2), ("BAT", 3.1)])
    ]
    assert heard("serial", b"S1 T=1.0*00") == []
    _, refused = sniff("serial", Arrival("way", b"S1 T=1.0*00", NOW))
    assert refused is not None
    assert refused.kind == "checksum"


def test_a_line_that_says_nothing_of_ours_comes_with_a_reason() -> None:
    _, refused = sniff("serial", Arrival("way", b"booting...", NOW))
    assert refused is not None
    assert "key=value" in refused.text


def test_a_key_longer_than_a_settings_file_may_name_is_none() -> None:
    assert heard("serial", b"S1 " + 201 * b"k" + b"=1 T=12.50") == [("text_line", ("S1",), [("T", 12.5)])]
    assert heard("serial", b"S1 " + 201 * b"k" + b"=1") == []
    assert heard("mqtt", b'{"' + 200 * b"k" + b'": 1, "t": 12.5}', "shed") == [
        ("json_map", ("shed",), [("/t", 12.5)])
    ]


def test_two_transducers_of_one_sentence_are_one_instrument() -> None:
    """The sentence of collector/decode/nmea_xdr.py, its checksum by NMEA 0183's rule."""
    body = b"WIXDR,C,12.5,C,T1,H,84.2,P,H1"
    total = 0
    for byte in body:
        total ^= byte
    ((decode, names, numbers),) = heard("serial", b"$%s*%02X" % (body, total))
    assert (decode, names) == ("nmea_xdr", ("WI/H1", "WI/T1"))
    assert numbers == [("", 12.5), ("", 84.2)]


def test_senml_records_that_differ_in_the_quantitys_word_are_one_device() -> None:
    """Names as in RFC 8428 section 5.1.1 are resolved from bn and n."""
    pack = (
        b'[{"bn":"urn:dev:ow:10e2073a01080063/","n":"t","u":"Cel","v":12.5},{"n":"rh","u":"%RH","v":81},'
        b'{"bn":"urn:dev:ow:other/","n":"t","u":"Cel","v":9}]'
    )
    found = heard("mqtt", pack, "shed/senml")
    assert [names for _, names, _ in found] == [
        ("urn:dev:ow:10e2073a01080063/rh", "urn:dev:ow:10e2073a01080063/t"), ("urn:dev:ow:other/t",)
    ]  # fmt: skip


def test_plain_json_is_its_numbers_by_pointer_without_its_own_time() -> None:
    """Pointers by RFC 6901, where ~1 stands for a slash in a key."""
    payload = b'{"temp": 53.6, "in/out": {"hum": "81"}, "ts": 1795604832, "on": true, "id": "a2"}'
    (found,), _ = sniff("mqtt", Arrival("way", payload, NOW, "shed/json/a2"))
    assert [(number.key, number.sent) for number in found.numbers] == [
        ("/temp", 53.6),
        ("/in~1out/hum", 81.0),
    ]
    assert found.time is not None
    assert (found.time.key, found.time.unit) == ("/ts", "s")
    (far,), _ = sniff("mqtt", Arrival("way", payload, NOW + 86_400_000, "shed/json/a2"))
    assert far.time is None, "a clock that is a day off is not taken for one"


@pytest.mark.parametrize(("name", "kind", "topic"), [
    ("text_line.txt", "serial", ""), ("nmea_xdr.txt", "serial", ""), ("senml.json", "mqtt", "shed/senml"),
    ("json_map.json", "mqtt", "shed/json/a2"), ("w1_slave.txt", "one_wire", "28-00000000ab01"),
])  # fmt: skip
def test_the_recorded_sample_of_every_wire_is_heard(name: str, kind: str, topic: str) -> None:
    payload = (SAMPLES / name).read_bytes()
    parts = payload.splitlines() if kind == "serial" else [payload]
    assert any(heard(kind, part, topic) for part in parts)


def test_54_in_a_cold_shed_is_offered_as_fahrenheit_first_and_both_values_are_shown() -> None:
    """54 degF is 12.2 degC: (54 - 32) / 1.8."""
    offered = [(one.unit, round(one.value, 1)) for one in may_be("/temp", 54.0) if one.quantity is T]
    assert offered[:2] == [("degF", 12.2), ("degC", 54.0)]
    assert may_be("T", 12.5)[0].unit == "degC"
    assert (may_be("hum", 0.81)[0].unit, may_be("hum", 0.81)[0].value) == ("1", 81.0)
    assert may_be("rh", 81.0)[0].unit == "%"
    assert may_be("T", 285.6)[0].unit == "K"


@pytest.mark.parametrize(("key", "named"), [
    ("T", True), ("/temp", True), ("roomTemperature", True), ("RH1", True), ("/humidity", True), ("co2", True),
    ("BAT", False), ("/rssi", False), ("/ts", False), ("/height", False), ("/test", False),
])  # fmt: skip
def test_a_key_speaks_for_a_reading_or_not(key: str, named: bool) -> None:
    assert looks_named(key) is named


def device(key: str, value: float, rise: float = 0.0, quantity: Quantity = T) -> Device:
    number = Value("T", value, quantity, "degC", value, quantity, rise)
    return Device("usb", (key,), "", "text_line", (number,), 1.0, NOW)


def test_the_one_in_the_hand_is_the_one_that_clearly_rises_most() -> None:
    still, warmed = device("S1", 12.0, 0.2), device("S2", 15.0, 3.0)
    assert in_hand([still, warmed]) == "usb S2"
    assert in_hand([still, device("S3", 12, 0.9)]) is None
    assert in_hand([warmed, device("S3", 15, 2.0)]) is None, "a door was opened, or two are warmed"
    assert in_hand([device("A1", 80, 10.0, RH), still]) == "usb A1"


def test_two_probes_of_a_shop_that_lie_far_apart_are_asked_about() -> None:
    assert apart([device("S1", 12.0), device("S2", 54.0)]) == ("usb S2", "usb S1", 42.0)
    assert apart([device("S1", 12.0), device("S2", 16.0)]) is None


def test_a_loggers_newest_file_shows_its_columns(tmp_path: Path) -> None:
    (tmp_path / "old.csv").write_text("x\n")
    (tmp_path / "new.CSV").write_text(
        "Zeit;Platte;Luft\n2026-01-10 18:20:00;12,5;9,1\n2026-01-10 18:21:00;12,4;9,0\n"
    )
    os.utime(tmp_path / "old.csv", (1, 1))
    layout = layout_of(tmp_path, "Europe/Berlin")
    assert (layout.delimiter, layout.decimal, layout.numbers) == (";", ",", {"Platte": 12.4, "Luft": 9.0})
    assert (layout.time.key, layout.time.unit, layout.time.zone) == ("Zeit", "iso8601", "Europe/Berlin")
    (tmp_path / "empty").mkdir()
    with pytest.raises(CannotSetUp, match="holds no"):
        layout_of(tmp_path / "empty", "UTC")
