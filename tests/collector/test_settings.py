"""The settings file: the shipped example loads, and every error names file, line, key and the nearest legal word."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest

from collector import settings
from collector.settings import SettingsError, load, parse, wire_names
from collector.toml_lines import line_of, nearest

EXAMPLE = files("collector").joinpath("example.toml").read_text(encoding="utf-8")
FILE = Path("shop.toml")


def test_the_shipped_example_loads_and_shows_every_kind(tmp_path: Path) -> None:
    path = tmp_path / "coldshed.toml"
    path.write_text(EXAMPLE, encoding="utf-8")
    shop = load(path)
    kinds = {source.kind for source in shop.source} | {source.decode.kind for source in shop.source}
    assert kinds == {
        *("serial", "mqtt", "folder", "one_wire", "modbus", "replay"),
        *("text_line", "senml", "json_map", "logger_csv", "nmea_xdr", "w1_slave", "modbus_registers"),
    }
    assert shop.readings_db == tmp_path / "data" / "readings.db"
    assert {probe.source for probe in shop.probe} == {source.id for source in shop.source}


def test_a_probe_is_heard_under_its_id_unless_it_has_a_name() -> None:
    names = {probe.id: probe.wire_names for probe in parse(EXAMPLE, FILE).probe}
    assert names["S1"] == ("S1",)
    assert names["A2"] == ("shed/json/a2",)


def test_one_device_may_have_a_name_for_each_quantity() -> None:
    """As SenML devices do: temperature and humidity come under two names and are one probe."""
    shop = parse(EXAMPLE, FILE)
    names = wire_names(shop)
    base = ("broker", "urn:dev:mac:0024befffe804ff1")
    assert names[base[0], base[1] + "/t"] == names[base[0], base[1] + "/rh"] == "S2"


# what to replace, with what, what stands on the line told, the key told, and what else is told
MISTAKES = [
    ("baud = 115200", "boud = 115200", "boud =", "source.0.boud", "did you mean 'baud'"),
    ("baud = 115200", 'baud = "fast"', "baud =", "source.0.baud", "integer"),
    ("baud = 115200", "baud = 12", "baud =", "source.0.baud", "300"),
    ('unit = "degC" }', 'unit = "C" }', "field = [", "source.0.decode.field.0.unit", "degC"),
    (', unit = "degC" }', " }", "field = [", "source.0.decode.field.0.unit", "a number without its unit"),
    ('"degC" }', '"%" }', "field = [", "source.0.decode.field.0", "degC, degF, K"),
    ('quantity = "temperature"', 'quantity = "temprature"', "field = [", "quantity", "'temperature'"),
    ('kind = "senml"', 'kind = "senmml"', '"senmml"', "source.1.decode.kind", "did you mean 'senml'"),
    ('kind = "serial"', 'kind = "serail"', '"serail"', "source.0.kind", "did you mean 'serial'"),
    ('source = "usb"', 'source = "usv"', '"usv"', "probe.0.source", "did you mean 'usb'"),
    ('id = "A1"', 'id = "S1"\nname = "x"', 'id = "S1"', "probe.1.id", "two probes"),
    ('id = "A1"', 'id = "A1"\nname = "S1"', 'name = "S1"', "probe.1.name", "already"),
    (
        'id = "broker-json"',
        'id = "broker"',
        'id = "broker"',
        "source.2.id",
        "two sources",
    ),
    ('time_zone = "Europe/Oslo"', 'time_zone = "Europe/Osl"', "time_zone", "time_zone", "'Europe/Oslo'"),
    ('zone = "Europe/Oslo" }', 'zone = "Mars" }', "time = { key", "source.3.decode.time.zone", "Mars"),
    (', name = "L1" }', " }", "field = [", "source.3.decode.field.0.name", "missing"),
    ("[serve]", "[serv]", "[serv]", "serv", "did you mean 'serve'"),
    ("port = 8137", 'port = 8137\nhost = "shed.lan"', "shed.lan", "serve.host", "0.0.0.0"),
    ('place = "surface"', 'place = "panel"', '"panel"', "probe.0.place", "air, bottles, surface"),
    (
        "interval_s = 10\naccuracy_K",
        "interval_s = -1\naccuracy_K",
        "= -1",
        "probe.0.interval_s",
        "greater than 0",
    ),
    (
        "interval_s = 10\naccuracy_K",
        "interval = 10\naccuracy_K",
        "interval =",
        "probe.0.interval",
        "did you mean 'interval_s'",
    ),
    (
        'negative = "ten_thousand_plus"',
        'negative = "ten_thousand"',
        "registers = [",
        "source.6.decode.registers.2.negative",
        "did you mean 'ten_thousand_plus'",
    ),
    ('host = "127.0.0.1"', 'host = "192.0.2..7"', "192.0.2..7", "source.1.host", "label empty"),
    ('host = "127.0.0.1"', 'host = "a b"', "a b", "source.1.host", "blanks"),
    ("slave = 2,", "slave = 248,", "registers = [", "source.6.decode.registers.2.slave", "247"),
    ('kind = "nmea_xdr"', 'kind = "nmea"', '"nmea"', "source.4.decode.kind", "did you mean 'nmea_xdr'"),
    ("recorded_as", "recorded", "recorded =", "source.7.recorded", "did you mean 'recorded_as'"),
    ('topic = ["shed/+/senml"]', 'topic = "shed"', 'topic = "shed"', "source.1.topic", "list"),
    ('data = "data"', 'folder = "data"', "folder =", "folder", "did you mean 'data'"),
    (
        "# [keep]\n# readings_days = 400",
        "[keep]\nreadings_days = 30",
        "readings_days",
        "keep.readings_days",
        "120",
    ),
    ("[serve]", "[serve", "[serve", "not TOML", "line"),
]


def test_a_file_that_was_cut_off_is_told_at_its_last_line() -> None:
    with pytest.raises(SettingsError, match=r"^cut\.toml:3: not TOML: "):
        parse('site = "s"\ntime_zone = "UTC"\ndata = "da', Path("cut.toml"))


@pytest.mark.parametrize(
    ("old", "new", "mark", "key", "also"), MISTAKES, ids=[f"{m[3]}:{m[1]}" for m in MISTAKES]
)
def test_a_mistake_is_told_with_file_line_key_and_what_is_legal(
    old: str, new: str, mark: str, key: str, also: str
) -> None:
    text = EXAMPLE.replace(old, new, 1)
    assert text != EXAMPLE
    with pytest.raises(SettingsError) as caught:
        parse(text, FILE)
    told = [line for line in str(caught.value).splitlines() if key in line and also in line]
    assert told, str(caught.value)
    name, line, _ = told[0].split(":", 2)
    assert name == "shop.toml"
    assert mark in text.splitlines()[int(line) - 1]


def test_readings_are_kept_for_good_unless_the_settings_say_how_many_days() -> None:
    assert parse(EXAMPLE, FILE).keep.readings_days is None
    text = EXAMPLE.replace("# [keep]\n# readings_days", "[keep]\nreadings_days")
    assert parse(text, FILE).keep.readings_days == 400


def test_a_missing_file_is_told_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"coldshed\.toml: cannot be read .* copy .*example\.toml"):
        load(tmp_path / "coldshed.toml")


def test_a_line_is_found_through_tables_arrays_and_dotted_keys() -> None:
    text = "a = 1\n[t]\nb.c = 2\n[[x]]\nk = 1\n[[x]]\n# k = 0\nk = 2\n[x.y]\nz = 3\n"
    assert line_of(text, ["a"]) == 1
    assert line_of(text, ["t", "b", "c"]) == 3
    assert line_of(text, ["x", 1, "k"]) == 8
    assert line_of(text, ["x", 1, "y", "z"]) == 10
    assert line_of(text, ["x", 0, "missing"]) == 4
    assert line_of(text, ["nowhere"]) == 1


def test_the_nearest_word_or_all_that_are_allowed() -> None:
    assert nearest("seril", ["serial", "mqtt"]) == "did you mean 'serial'?"
    assert nearest("xyz", ["b", "a"]) == "allowed here: a, b"


def test_units_are_listed_once() -> None:
    assert {unit for units in settings.UNITS_OF.values() for unit in units} == set(settings.UNITS)
