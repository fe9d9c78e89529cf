"""coldshed.toml: which probes, on which ports and brokers, and where the files lie.

People, panels, units and quiet hours are not here: people enter those on the pages (shop.db).
Every error names file, line and key, and says what is allowed. The shipped example is example.toml beside
this file; a test loads it.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from collector.reading import Quantity
from collector.toml_lines import line_of, nearest

Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[^\x00-\x1f\x7f/+#]+$")]
TemperatureUnit = Literal["degC", "degF", "K"]
Unit = Literal["degC", "degF", "K", "%", "1", "ppm"]
UNITS_OF: dict[Quantity, tuple[str, ...]] = {
    Quantity.TEMPERATURE: ("degC", "degF", "K"),
    Quantity.RELATIVE_HUMIDITY: ("%", "1"),
    Quantity.CO2: ("ppm",),
}


class SettingsError(ValueError):
    """The settings cannot be used; the text says where, why and what is allowed."""


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Field_(_Table):
    """One measured quantity in a payload: where it stands (`key`), what it is and in which unit."""

    key: str = Field(min_length=1, max_length=200)
    quantity: Quantity
    unit: Unit
    name: Name | None = None

    @model_validator(mode="after")
    def _unit_fits(self) -> Self:
        allowed = UNITS_OF[self.quantity]
        if self.unit not in allowed:
            raise ValueError(f"unit {self.unit!r} is not one of {self.quantity}: {', '.join(allowed)}")
        return self


class TimeField(_Table):
    """Where a payload carries its own time. `zone` is needed only by local times written as text."""

    key: str = Field(min_length=1, max_length=200)
    unit: Literal["s", "ms", "iso8601"]
    zone: str | None = None

    _zone_exists = field_validator("zone")(lambda value: _check_zone(value))


class TextLine(_Table):
    """Lines such as `S1 T=12.50 RH=81.2`: a name, then key=value; `*hh` (XOR of the bytes before it) may end it."""

    kind: Literal["text_line"]
    field: tuple[Field_, ...] = Field(min_length=1)
    checksum: bool = False


class JsonMap(_Table):
    """Plain JSON; each `key` is a JSON Pointer (RFC 6901). The probe's name: at `name`, or else the whole topic."""

    kind: Literal["json_map"]
    field: tuple[Field_, ...] = Field(min_length=1)
    name: str | None = None
    time: TimeField | None = None


class SenML(_Table):
    """RFC 8428 JSON. Units Cel and %RH are in the payload; each resolved name is a probe's name."""

    kind: Literal["senml"]


class LoggerCsv(_Table):
    """A logger's CSV with a header row; each `key` is a column's heading, `name` the probe it belongs to."""

    kind: Literal["logger_csv"]
    field: tuple[Field_, ...] = Field(min_length=1)
    time: TimeField
    delimiter: Literal[",", ";", "\t"] = ","
    decimal: Literal[".", ","] = "."


Decode = Annotated[TextLine | JsonMap | SenML | LoggerCsv, Field(discriminator="kind")]


class SerialSource(_Table):
    """A serial port, best named by its /dev/serial/by-id link, which survives replugging."""

    id: Name
    kind: Literal["serial"]
    port: str = Field(min_length=1)
    baud: int = Field(default=115200, ge=300, le=4_000_000)
    decode: Decode


class MqttSource(_Table):
    """A broker. QoS 1, a session the broker keeps while we are away, acknowledged only after the commit."""

    id: Name
    kind: Literal["mqtt"]
    host: str = Field(min_length=1)
    port: int = Field(default=1883, ge=1, le=65535)
    topic: tuple[str, ...] = Field(min_length=1)
    user: str | None = None
    password_file: str | None = None
    decode: Decode


class FolderSource(_Table):
    """A watched folder: each file put there is read once, then moved to its `done` or `refused` folder."""

    id: Name
    kind: Literal["folder"]
    folder: str
    decode: Decode


class SimulatedSource(_Table):
    """Weather, a shed and panels that obey physics, for the demo and for trying the house without a probe."""

    id: Name
    kind: Literal["simulated"]
    scene: Literal["cold_night"] = "cold_night"
    seed: int = 1
    decode: Decode


Source = Annotated[
    SerialSource | MqttSource | FolderSource | SimulatedSource, Field(discriminator="kind")
]


class Probe(_Table):
    """A channel: the series that stays when the device behind it is replaced.

    id           what pages and files call it
    source, name which source hears it, and what it calls itself there (default: its id)
    zone         part of the site: "shed", "warm room"
    place        what it touches: the panel's surface, the air, or the bottles
    interval_s   how often it reports; silent after three of these
    accuracy_K   the device's stated temperature error (as a 95 % half-width), K
    """

    id: Name
    source: str
    name: str = ""
    zone: Name
    place: Literal["surface", "air", "bottles"]
    interval_s: float = Field(gt=0, le=3600)
    accuracy_K: float = Field(default=0.8, gt=0, le=10)

    @property
    def wire_name(self) -> str:
        return self.name or self.id


class Serve(_Table):
    """Where the pages are served. Only loopback until accounts exist."""

    host: Literal["127.0.0.1", "::1", "localhost"] = "127.0.0.1"
    port: int = Field(default=8137, ge=1, le=65535)


class Announce(_Table):
    """The broker to which verdicts and alarms are told (retained, with `good_until` and a last will)."""

    host: str = Field(min_length=1)
    port: int = Field(default=1883, ge=1, le=65535)
    user: str | None = None
    password_file: str | None = None


class Forward(_Table):
    """A time-series server that takes line protocol over the v2 write API."""

    url: str = Field(pattern=r"^https?://")
    bucket: str = Field(min_length=1)
    org: str = "-"
    token_file: str | None = None


class Settings(_Table):
    """The whole file. `data` is the folder of readings.db, watch.db and shop.db, relative to the file."""

    site: Name
    time_zone: str
    data: str = "data"
    source: tuple[Source, ...] = ()
    probe: tuple[Probe, ...] = ()
    serve: Serve = Serve()
    announce: Announce | None = None
    forward: Forward | None = None
    folder: Path = Path()

    _zone_exists = field_validator("time_zone")(lambda value: _check_zone(value))

    @model_validator(mode="after")
    def _names_fit(self) -> Self:
        sources = [source.id for source in self.source]
        for name in sources:
            if sources.count(name) > 1:
                raise ValueError(f"two sources are called {name!r}: each needs an id of its own")
        seen: set[str] = set()
        wires: set[tuple[str, str]] = set()
        for probe in self.probe:
            if probe.id in seen:
                raise ValueError(f"two probes are called {probe.id!r}: each needs an id of its own")
            seen.add(probe.id)
            if probe.source not in sources:
                raise ValueError(
                    f"probe {probe.id!r}: no source is called {probe.source!r}; {nearest(probe.source, sources)}"
                )
            wire = (probe.source, probe.wire_name)
            if wire in wires:
                raise ValueError(f"two probes listen to the name {wire[1]!r} on source {wire[0]!r}")
            wires.add(wire)
        return self

    @property
    def data_folder(self) -> Path:
        return self.folder / self.data

    @property
    def readings_db(self) -> Path:
        return self.data_folder / "readings.db"

    @property
    def watch_db(self) -> Path:
        return self.data_folder / "watch.db"

    @property
    def shop_db(self) -> Path:
        return self.data_folder / "shop.db"


def load(path: Path) -> Settings:
    """Reads a settings file. Raises SettingsError naming file, line, key and what is allowed."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read ({error.strerror}). Copy example.toml and edit it") from error
    return parse(text, path)


def parse(text: str, path: Path) -> Settings:
    """Like load(), from text; `path` names the file in errors and anchors relative folders."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{path}: not TOML: {error}") from error
    if "folder" in raw:
        raise SettingsError(f"{path}:{line_of(text, ['folder'])}: folder: unknown key at the top; did you mean 'data'?")
    try:
        return Settings(**raw, folder=path.parent)
    except ValidationError as error:
        raise SettingsError("\n".join(_explain(item, text, raw, path) for item in error.errors())) from error


def _explain(item: Any, text: str, raw: dict[str, Any], path: Path) -> str:
    """One pydantic error as 'file:line: key: what is wrong; what is allowed'."""
    where = [part for part in item["loc"] if part not in _TAGS or _in_file(raw, item["loc"], part)]
    line = line_of(text, where)
    key = ".".join(str(part) for part in where) or "settings"
    message = str(item["msg"]).removeprefix("Value error, ")
    if item["type"] == "extra_forbidden":
        message = f"unknown key; {nearest(str(where[-1]), _allowed(item['loc']))}"
    elif item["type"] == "missing":
        message = "missing; it must be given"
        if where[-1] == "unit":
            message = "missing: a number without its unit is not a measurement; write unit = \"degC\", \"degF\", \"K\", \"%\" or \"ppm\""
    return f"{path}:{line}: {key}: {message}"


_MODELS: dict[str, type[_Table]] = {
    "serial": SerialSource, "mqtt": MqttSource, "folder": FolderSource, "simulated": SimulatedSource,
    "text_line": TextLine, "json_map": JsonMap, "senml": SenML, "logger_csv": LoggerCsv,
}
_TAGS = frozenset(_MODELS)


def _in_file(raw: Any, loc: tuple[str | int, ...], part: str | int) -> bool:
    """Pydantic puts a union's tag into the path; a tag is a real key only if the file has it there."""
    here = raw
    for step in loc:
        if isinstance(here, dict) and step in here:
            if step == part:
                return True
            here = here[step]
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            here = here[step]
    return False


def _allowed(loc: tuple[str | int, ...]) -> list[str]:
    """The keys of the table an unknown key stands in."""
    model: type[BaseModel] = Settings
    for part in loc[:-1]:
        if isinstance(part, str) and part in _MODELS:
            model = _MODELS[part]
        elif isinstance(part, str):
            model = {
                "probe": Probe, "serve": Serve, "announce": Announce, "forward": Forward,
                "field": Field_, "time": TimeField,
            }.get(part, model)
    return [name for name in model.model_fields if not (model is Settings and name == "folder")]


def _check_zone(value: str | None) -> str | None:
    if value is not None:
        try:
            ZoneInfo(value)
        except (ValueError, OSError, KeyError) as error:
            raise ValueError(f"no time zone is called {value!r}; write one such as 'Europe/Oslo' or 'UTC'") from error
    return value
