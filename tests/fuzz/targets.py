"""Every reader of bytes that others write, as something that can be fed: what it may raise is taken, all else is a bug.

`reads` names the modules of the product that a target covers. A module that turns bytes into values stands in one
target's `reads`, or in OURS with the reason why nobody hostile writes those bytes; a test holds the tree to that.
"""

from __future__ import annotations

import functools
import math
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo

from starlette.datastructures import Headers

from collector.arrival import Arrival, Decoder
from collector.clock import SteppedClock
from collector.decode import decoder_for, decoder_of
from collector.decode.modbus_registers import ModbusRegistersDecoder, queries
from collector.first_run import loggers
from collector.first_run.facts import CannotSetUp
from collector.first_run.sniff import sniff
from collector.recording import RecordingError, arrivals, parse_line
from collector.settings import (
    EXAMPLE,
    FieldMap,
    JsonMap,
    ModbusRegisters,
    OrderField,
    ReplaySource,
    SettingsError,
    load,
)
from collector.sources.serial_port import CUT, Impression, LineAssembler
from collector.store.backup import MANIFEST, verify
from collector.store.schema import StoreError
from dashboard.announce import read_verdict
from dashboard.asked import NotAsked, question
from dashboard.cards import CardFileError, card_of
from dashboard.cli.assess import read_header
from dashboard.cli.errors import CommandError
from dashboard.display import View
from dashboard.door.door import Door
from dashboard.door.limits import too_deep
from dashboard.forecast_file import Forecast, ForecastError
from dashboard.forecast_file import parse as parse_forecast
from dashboard.mix_asked import AskError, Given, asked_of, mix_of
from dashboard.panel import Panel
from dashboard.picture import Picture, PictureError
from dashboard.record.document import RecordError, differing, read
from tests.fuzz.server_targets import SERVER_TARGETS
from tests.fuzz.target import Target, unless

NOW = 1_795_604_832_000
ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "firmware_notes" / "samples"
CARDS = ROOT / "model" / "resin_cards"


@functools.cache
def _scratch() -> Path:
    """A folder for readers that want a path, gone when the process ends."""
    folder = tempfile.TemporaryDirectory()
    _scratch.kept = folder  # type: ignore[attr-defined]
    return Path(folder.name)


def _file(name: str, data: bytes) -> Path:
    path = _scratch() / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    return path


def _decoding(decoder: Decoder, topic: str = "shed/probe7/senml") -> Callable[[bytes], None]:
    def feed(data: bytes) -> None:
        for live in (True, False):
            decoded = decoder.decode(Arrival("any", data, NOW, topic, live))
            assert all(math.isfinite(sample.value) for sample in decoded.samples)
            assert all(sample.at is None or type(sample.at) is int for sample in decoded.samples)
            assert all(refusal.kind and refusal.text.isprintable() for refusal in decoded.refused)

    return feed


def _sniffed(data: bytes) -> None:
    for kind in ("serial", "one_wire", "mqtt"):
        sniff(kind, Arrival("any", data, NOW, "shed/any"))


def _serial(data: bytes) -> None:
    lines, impression = LineAssembler(), Impression()
    for start in range(0, len(data), 7):
        impression.add(data[start : start + 7])
        assert all(len(line) <= CUT for line in lines.feed(data[start : start + 7]))


def _recorded(data: bytes) -> None:
    parse_line(data)
    list(arrivals(_file("night.rec", data)))


def _forecast(data: bytes) -> None:
    for name in ("any.csv", "any.json"):
        with suppress(ForecastError):
            assert isinstance(parse_forecast(data, name, NOW), Forecast)


def _settings(data: bytes) -> None:
    load(_file("coldshed.toml", data))


def _card(data: bytes) -> None:
    with suppress(UnicodeDecodeError):
        card_of(data.decode(), "any.toml")


def _record(data: bytes) -> None:
    list(differing(read(_file("record.json", data))))


def _backup(data: bytes) -> None:
    verify(_file(f"backup/{MANIFEST}", data).parent)


def _layout(data: bytes) -> None:
    loggers.layout_of(_file("logger/any.csv", data).parent, "Europe/Oslo")


def _verdict(data: bytes) -> None:
    read_verdict(data, b"here", NOW)


@functools.cache
def _door() -> Door:
    folder = _scratch() / "door"
    folder.mkdir()
    return Door(folder, SteppedClock(NOW), lan=True, public_url="https://shop.example").open()


def _headers(data: bytes) -> None:
    """Cookie, token and the proxy's line, as they come off the wire: no bytes make somebody of a stranger."""
    door = _door()
    for name in (b"cookie", b"authorization", b"x-forwarded-for", b"host"):
        headers = Headers(raw=[(name, data), (b"cookie", b"coldshed=" + data)])
        assert not door.visitor(headers).known
        assert len(door.address("127.0.0.1", headers)) <= 64
        door.is_secure(headers)


def _address(data: bytes) -> None:
    """What stands in an address behind its question mark: of the mix, and of a what-if's form."""
    pairs = parse_qsl(data.decode("utf-8", "replace"), keep_blank_values=True)
    given, panel = Given(pairs), Panel("rib", "Rib", "shed", "S1", "A1", "wood")
    with suppress(AskError):
        mix_of(given)
    with suppress(AskError):
        asked_of(given, panel)
    with suppress(NotAsked):
        question(dict(pairs), View(ZoneInfo("Europe/Oslo"), "degC", NOW), 22 * 60, None, ("slow",))


def _body(data: bytes) -> None:
    assert too_deep(data) in (True, False)


def _seeds(*names: str) -> tuple[bytes, ...]:
    return tuple(line for name in names for line in [(SAMPLES / name).read_bytes()])


FIELDS = (
    FieldMap(key="/temp", quantity="temperature", unit="degF"),  # type: ignore[arg-type]
    FieldMap(key="/hum", quantity="relative_humidity", unit="%"),  # type: ignore[arg-type]
)
ORDERED = JsonMap(
    kind="json_map", field=FIELDS, order=OrderField(sequence="/n", boot="/boot", age="/age", unit="s")
)


def _kinds() -> Iterator[tuple[str, Target]]:
    """One target for each way to decode that the example of the settings shows."""
    seeds = {
        "text_line": (b"S1 T=12.50 RH=81.2", b"S1 T=12.50 RH=81.2*4F"),
        "json_map": (b'{"temp": 53.6, "hum": 81, "ts": 1795604832}',),
        "senml": _seeds("senml.json"),
        "logger_csv": _seeds("logger.csv"),
        "nmea_xdr": (b"$WIXDR,C,12.5,C,T1,H,84.2,P,H1*5C",),
        "w1_slave": _seeds("w1_slave.txt"),
    }
    own = ("collector.decode.strict_json", "collector.decode.times", "collector.decode.numbers")
    for source in load(EXAMPLE).source:
        kind = source.decode.kind
        if isinstance(source.decode, ModbusRegisters) or isinstance(source, ReplaySource):
            continue
        yield kind, Target(_decoding(decoder_of(source)), seeds[kind], (f"collector.decode.{kind}", *own))


def _modbus() -> Target:
    decode = next(s.decode for s in load(EXAMPLE).source if isinstance(s.decode, ModbusRegisters))
    query = queries(decode.registers)[0]
    good = bytes([query.slave, 4, 2 * query.count]) + bytes(2 * query.count) + b"\0\0"
    return Target(
        _decoding(ModbusRegistersDecoder(decode), query.topic),
        (good, bytes([query.slave, 0x84, 2, 0, 0])),
        ("collector.decode.modbus_registers",),
    )


DOCUMENT = b'{"format":1,"used":{"series":[]},"results":{},"sha256":""}'
TARGETS: dict[str, Target] = {
    **dict(_kinds()),
    **SERVER_TARGETS,
    "modbus_registers": _modbus(),
    "json_map in order": Target(
        _decoding(decoder_for(ORDERED)),
        (b'{"temp": 53.6, "hum": 81, "n": 7, "boot": "a", "age": 3}',),
        ("collector.decode.json_map",),
    ),
    "serial stream": Target(_serial, (b"S1 T=12.50\r\nS1 T=12.51\n",), ("collector.sources.serial_port",)),
    "set-up's ear": Target(
        _sniffed,
        (b"S1 T=1 RH=2", b'{"a":{"temp":1}}', b'[{"n":"a","u":"Cel","v":1}]'),
        ("collector.first_run.sniff",),
    ),
    "set-up's logger": Target(
        unless(CannotSetUp, _layout), _seeds("logger.csv"), ("collector.first_run.loggers",)
    ),
    "recording": Target(
        unless(RecordingError, _recorded), _seeds("modbus_registers.rec"), ("collector.recording",)
    ),
    "forecast": Target(
        _forecast,
        (
            b"time,air [degC],air [%RH]\n2026-11-25T18:00+01:00,3.5,88\n2026-11-25T19:00+01:00,3.1,90\n",
            b'{"hours":[{"time":"2026-11-25T18:00Z","air_C":3},{"time":"2026-11-25T19:00Z","air_C":2}]}',
        ),
        ("dashboard.forecast_file",),
    ),
    "settings": Target(
        unless(SettingsError, _settings),
        (EXAMPLE.read_bytes()[:1500],),
        ("collector.settings", "collector.toml_lines"),
    ),
    "card": Target(
        unless(CardFileError, _card),
        tuple(p.read_bytes() for p in sorted(CARDS.glob("*.toml"))[:2]),
        ("dashboard.cards",),
    ),
    "record": Target(
        unless(RecordError, _record), (DOCUMENT,), ("dashboard.record.document", "dashboard.record.used")
    ),
    "backup": Target(
        unless(StoreError, _backup),
        (b'{"format":"coldshed backup 1","made":"","files":[]}',),
        ("collector.store.backup",),
    ),
    "file to assess": Target(
        unless(CommandError, read_header), _seeds("logger.csv"), ("dashboard.cli.assess",)
    ),
    "verdict": Target(
        unless(ValueError, _verdict),
        (
            b'{"headline":"Wait","good_until":1795604832000}',
            b'{"headline":"","good_until":17e5604832400}',
        ),
        ("dashboard.announce",),
    ),
    "photo": Target(
        unless(PictureError, Picture.of),
        (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF....WEBP"),
        ("dashboard.picture",),
    ),
    "headers": Target(
        _headers, (b"coldshed=abc; x=y", b"Bearer abc", b"192.0.2.1, 198.51.100.1"), ("dashboard.door.door",)
    ),
    "address": Target(
        _address,
        (
            b"spot=lid-4&onto=film&bottles_C=18,5&area_m2=2&cloth_gm2=300&plies=2&weave=woven&peel=1",
            b"hold=21&from=21:30&to=06:00&rise=5&card=slow&until=sand&by=08:00&ask=least&step=hold%2B",
        ),
        ("dashboard.mix_asked", "dashboard.asked"),
    ),
    "body": Target(_body, (b'{"a":[1,"[[["]}',), ("dashboard.door.limits",)),
}
