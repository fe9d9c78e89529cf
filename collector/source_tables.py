"""The tables of coldshed.toml that say where bytes come from and how they are read: [[source]] and its decode.

Each kind is one table here. Its fields are the documentation; example.toml shows each.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self, get_args
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from collector.reading import Quantity
from collector.toml_lines import nearest

Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[^\x00-\x1f\x7f/+#]+$")]
WireName = Annotated[str, Field(min_length=1, max_length=200)]
Unit = Literal["degC", "degF", "K", "%", "1", "ppm"]
UNITS: tuple[str, ...] = get_args(Unit)
UNITS_OF: dict[Quantity, tuple[str, ...]] = {
    Quantity.TEMPERATURE: ("degC", "degF", "K"),
    Quantity.RELATIVE_HUMIDITY: ("%", "1"),
    Quantity.CO2: ("ppm",),
}


class Table(BaseModel):
    """A table of the file: no key but those named here."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def check_zone(value: str | None) -> str | None:
    """The same name. Raises ValueError with the nearest one if no time zone has it."""
    if value is not None:
        try:
            ZoneInfo(value)
        except (ValueError, OSError, KeyError) as error:
            near = nearest(
                value, {"Europe/Oslo", "UTC"} | {zone for zone in available_timezones() if "/" in zone}
            )
            raise ValueError(f"no time zone is called {value!r}; {near}") from error
    return value


class Measured(Table):
    """What a number is, and in which unit it comes."""

    quantity: Quantity
    unit: Unit

    @model_validator(mode="after")
    def _unit_fits(self) -> Self:
        allowed = UNITS_OF[self.quantity]
        if self.unit not in allowed:
            raise ValueError(f"unit {self.unit!r} is not one of {self.quantity}: {', '.join(allowed)}")
        return self


class FieldMap(Measured):
    """One measured quantity in a payload: where it stands (`key`), what it is and in which unit."""

    key: str = Field(min_length=1, max_length=200)
    name: Name | None = None


class Column(FieldMap):
    """A logger's column: it must say which probe it belongs to."""

    name: Name


class TimeField(Table):
    """Where a payload carries its own time. `zone` is needed only by local times written as text."""

    key: str = Field(min_length=1, max_length=200)
    unit: Literal["s", "ms", "iso8601"]
    zone: str | None = None

    _zone_exists = field_validator("zone")(check_zone)


class OrderField(Table):
    """Where a device that numbers its messages says which one it is, and of which start: all JSON Pointers.

    sequence   counts up by one from each start
    boot       names the start: a number kept through resets, or one drawn at random
    age        how old the sample is when it is sent, in `unit`; without it, and without `time`, it is of now
    """

    sequence: str = Field(max_length=200)
    boot: str = Field(max_length=200)
    age: str | None = Field(default=None, max_length=200)
    unit: Literal["s", "ms"] = "s"


class TextLine(Table):
    """Lines such as `S1 T=12.50 RH=81.2`: a name, key=value; `*hh` (XOR of all bytes before) may end it."""

    kind: Literal["text_line"]
    field: tuple[FieldMap, ...] = Field(min_length=1)
    checksum: bool = False


class JsonMap(Table):
    """Plain JSON; each `key` is a JSON Pointer (RFC 6901). The probe's name: at `name`, or else the topic."""

    kind: Literal["json_map"]
    field: tuple[FieldMap, ...] = Field(min_length=1)
    name: str | None = None
    time: TimeField | None = None
    order: OrderField | None = None


class SenML(Table):
    """RFC 8428 JSON. Units Cel and %RH are in the payload; each resolved name is a probe's name."""

    kind: Literal["senml"]


class LoggerCsv(Table):
    """A logger's CSV with a header row; each `key` is a column's heading, `name` the probe it belongs to."""

    kind: Literal["logger_csv"]
    field: tuple[Column, ...] = Field(min_length=1)
    time: TimeField
    delimiter: Literal[",", ";", "\t"] = ","
    decimal: Literal[".", ","] = "."


class NmeaXdr(Table):
    """NMEA 0183 XDR sentences: the transducer's id is the probe's name; without `talker`, talker/id is."""

    kind: Literal["nmea_xdr"]
    talker: str | None = Field(default=None, pattern=r"^[A-Z][A-Z0-9]$")


class W1Slave(Table):
    """Linux' file of a one-wire temperature sensor; the device's id is the probe's name."""

    kind: Literal["w1_slave"]


class Register(Measured):
    """One 16-bit Modbus register: `slave` 1 to 247, `address` counted from 0 as on the wire, value = number * scale.

    negative: how numbers below zero are written: "twos_complement", "ten_thousand_plus" (10205 is -205),
    "sign_bit" (0x80CD is -205) or "never".
    """

    name: WireName
    slave: int = Field(ge=1, le=247)
    function: Literal["input", "holding"]
    address: int = Field(ge=0, le=65535)
    scale: float = Field(default=1.0, gt=0, le=1000)
    negative: Literal["twos_complement", "ten_thousand_plus", "sign_bit", "never"] = "twos_complement"


class ModbusRegisters(Table):
    """Which registers of which slaves are what."""

    kind: Literal["modbus_registers"]
    registers: tuple[Register, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        names = [(register.name, register.quantity) for register in self.registers]
        for name, quantity in names:
            if names.count((name, quantity)) > 1:
                raise ValueError(f"two registers are the {quantity} of {name!r}: each needs its own name")
        return self


Decode = Annotated[
    TextLine | JsonMap | SenML | LoggerCsv | NmeaXdr | W1Slave | ModbusRegisters,
    Field(discriminator="kind"),
]


class SerialSource(Table):
    """A serial port, best named by its /dev/serial/by-id link, which survives replugging."""

    id: Name
    kind: Literal["serial"]
    port: str = Field(min_length=1)
    baud: int = Field(default=115200, ge=300, le=4_000_000)
    decode: Decode


class BrokerLogin(Table):
    """Where a broker is and how it lets us in. Files are relative to the settings.

    user, password_file  the password stands in its file in one line
    ca_file              PEM of the authority that signed the broker's certificate; with it the connection is TLS
    cert_file, key_file  our own certificate and its key, where the broker wants one
    """

    host: str = Field(min_length=1)
    port: int = Field(default=1883, ge=1, le=65535)
    user: str | None = Field(default=None, min_length=1)
    password_file: str | None = Field(default=None, min_length=1)
    ca_file: str | None = Field(default=None, min_length=1)
    cert_file: str | None = Field(default=None, min_length=1)
    key_file: str | None = Field(default=None, min_length=1)

    @field_validator("host")
    @classmethod
    def _can_be_asked_for(cls, host: str) -> str:
        """The system's resolver does not refuse such a name but fails at it, and takes the library's thread with it."""
        try:
            host.encode("idna")
        except UnicodeError as error:
            raise ValueError(f"{host[:80]!r} is no name or address of a computer: {error}") from error
        if not host.isprintable() or " " in host:
            raise ValueError(
                f"{host[:80]!r} is no name or address of a computer: it has blanks or controls in it"
            )
        return host

    @model_validator(mode="after")
    def _keys_go_together(self) -> Self:
        if self.password_file is not None and self.user is None:
            raise ValueError("password_file without user: name the user whose password it is")
        if (self.cert_file is None) != (self.key_file is None):
            raise ValueError("cert_file and key_file go together: our certificate, and its key")
        if self.cert_file is not None and self.ca_file is None:
            raise ValueError("cert_file without ca_file: name the authority of the broker's certificate too")
        return self

    def with_files_in(self, folder: Path) -> Self:
        """The same, its files' names made whole."""
        named = {key: getattr(self, key) for key in ("password_file", "ca_file", "cert_file", "key_file")}
        whole = {key: str(folder / name) for key, name in named.items() if name is not None}
        return self.model_copy(update=whole)


class MqttSource(BrokerLogin):
    """A broker. QoS 1, a session the broker keeps while we are away, acknowledged only after the commit."""

    id: Name
    kind: Literal["mqtt"]
    topic: tuple[str, ...] = Field(min_length=1)
    decode: Decode


class FolderSource(Table):
    """A watched folder: each file put there is read once, then moved to its `done` or `refused` folder."""

    id: Name
    kind: Literal["folder"]
    folder: str
    decode: Decode


class SimulatedSource(Table):
    """Weather, a shed and panels that obey physics, for the demo and for trying the house without a probe."""

    id: Name
    kind: Literal["simulated"]
    scene: Literal["cold_night"] = "cold_night"
    seed: int = 1
    decode: Decode


class OneWireSource(Table):
    """One-wire sensors as Linux shows them: a folder for each device below `folder`, read every `interval_s`."""

    id: Name
    kind: Literal["one_wire"]
    folder: str = "/sys/bus/w1/devices"
    interval_s: float = Field(default=10.0, gt=0, le=3600)
    decode: W1Slave


class ModbusSource(Table):
    """Modbus RTU slaves on one RS-485 line, asked every `interval_s`; one that is silent for `timeout_s` is told."""

    id: Name
    kind: Literal["modbus"]
    port: str = Field(min_length=1)
    baud: int = Field(default=9600, ge=300, le=4_000_000)
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    interval_s: float = Field(default=10.0, gt=0, le=3600)
    timeout_s: float = Field(default=0.5, ge=0.05, le=10)
    decode: ModbusRegisters


class ReplaySource(Table):
    """What `coldshed listen --record FILE` recorded of one source, sent again `speed` times as fast.

    recorded_as  the id it was recorded under (default: its own)
    shift_s      seconds added to every recorded time, also to those inside the payloads
    """

    id: Name
    kind: Literal["replay"]
    file: str = Field(min_length=1)
    speed: float = Field(default=1.0, gt=0, le=1_000_000)
    shift_s: float = Field(default=0.0, ge=-4e9, le=4e9)
    recorded_as: Name | None = None
    decode: Decode

    @property
    def shift_ms(self) -> int:
        return round(self.shift_s * 1000)


Source = Annotated[
    SerialSource | MqttSource | FolderSource | OneWireSource | ModbusSource | SimulatedSource | ReplaySource,
    Field(discriminator="kind"),
]


def tables_of(union: object) -> dict[str, type[Table]]:
    """kind -> table of one of the unions above."""
    tables: tuple[type[Table], ...] = get_args(get_args(union)[0])
    return {get_args(table.model_fields["kind"].annotation)[0]: table for table in tables}
