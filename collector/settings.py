"""coldshed.toml: which probes, on which ports and brokers, and where the files lie.

People, panels, units and quiet hours are not here: people enter those on the pages (shop.db).
Every error names file, line and key, and says what is allowed. The shipped example is example.toml beside
this file; a test loads it.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, ValidationError, field_validator, model_validator
from pydantic_core import PydanticCustomError

from collector.forward_table import Forward as Forward
from collector.notice_tables import Notices, Recipient
from collector.read_from_table import ReadFrom as ReadFrom
from collector.serve_table import Serve
from collector.source_tables import (
    UNITS as UNITS,
)
from collector.source_tables import (
    UNITS_OF as UNITS_OF,
)
from collector.source_tables import (
    BrokerLogin as BrokerLogin,
)
from collector.source_tables import (
    Column as Column,
)
from collector.source_tables import (
    Decode as Decode,
)
from collector.source_tables import (
    FieldMap as FieldMap,
)
from collector.source_tables import (
    FolderSource as FolderSource,
)
from collector.source_tables import (
    JsonMap as JsonMap,
)
from collector.source_tables import (
    LoggerCsv as LoggerCsv,
)
from collector.source_tables import (
    ModbusRegisters as ModbusRegisters,
)
from collector.source_tables import (
    ModbusSource as ModbusSource,
)
from collector.source_tables import (
    MqttSource as MqttSource,
)
from collector.source_tables import (
    Name,
    Table,
    WireName,
    check_zone,
    tables_of,
)
from collector.source_tables import (
    NmeaXdr as NmeaXdr,
)
from collector.source_tables import (
    OneWireSource as OneWireSource,
)
from collector.source_tables import (
    OrderField as OrderField,
)
from collector.source_tables import (
    Register as Register,
)
from collector.source_tables import (
    ReplaySource as ReplaySource,
)
from collector.source_tables import (
    SenML as SenML,
)
from collector.source_tables import (
    SerialSource as SerialSource,
)
from collector.source_tables import (
    SimulatedSource as SimulatedSource,
)
from collector.source_tables import (
    Source as Source,
)
from collector.source_tables import (
    TextLine as TextLine,
)
from collector.source_tables import (
    TimeField as TimeField,
)
from collector.source_tables import (
    Unit as Unit,
)
from collector.source_tables import (
    W1Slave as W1Slave,
)
from collector.toml_lines import line_of, nearest

EXAMPLE = Path(__file__).with_name("example.toml")
"""The documentation of every key; a test loads it."""


class SettingsError(ValueError):
    """The settings cannot be used; the text says where, why and what is allowed."""


TOPIC_FILTER = r"^(?:(?:\+|[^+#/]*)/)*(?:\+|#|[^+#/]+)$"
"""MQTT 5, 4.7.1: + stands alone between slashes, # alone at the end."""
BROKERED = ("mqtt", "replay")
"""Kinds of sources whose arrivals have a topic that a device chose."""


class Probe(Table):
    """A channel: the series that stays when the device behind it is replaced.

    id           what pages and files call it
    source, name which source hears it, and what it calls itself there (default: its id); a list where the
                 device has a name for each quantity, as SenML devices do
    topic        of a broker's probe: the only topic, or filter of topics, on which its name is believed; together
                 with the broker's own rules no device can then pose as another (firmware_notes/broker.md)
    zone         part of the site: "shed", "warm room"
    place        what it touches: the panel's surface, the air, or the bottles
    interval_s   how often it reports; silent after three of these, and no sooner than 20 s
    accuracy_K   the device's stated temperature error (as a 95 % half-width), K
    """

    id: Name
    source: str
    name: WireName | tuple[WireName, ...] = ()
    topic: str | None = Field(default=None, pattern=TOPIC_FILTER)
    zone: Name
    place: Literal["surface", "air", "bottles"]
    interval_s: float = Field(gt=0, le=3600)
    accuracy_K: float = Field(default=0.8, gt=0, le=10)

    @property
    def wire_names(self) -> tuple[str, ...]:
        """The names it is known by on the wire."""
        return ((self.name,) if isinstance(self.name, str) else self.name) or (self.id,)


class Announce(BrokerLogin):
    """The broker to which verdicts and alarms are told (retained, with `good_until` and a last will)."""


class Keep(Table):
    """How long single readings are kept: the newest so many days that have any. None: for good.

    Of older days hourly summaries stay. A panel's course and a record need the readings themselves; so choose it
    longer than any panel is followed.
    """

    readings_days: int | None = Field(default=None, ge=120, le=100_000)


class ShopHours(Table):
    """leave_at: the shop's own time of day at which the last person leaves: "before you leave" is asked before it."""

    leave_at: str = "22:00"

    @field_validator("leave_at")
    @classmethod
    def _is_a_time(cls, text: str) -> str:
        if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
            raise ValueError(f'{text!r} is no time of day; write it like "22:00"')
        return text

    @property
    def leave_minute(self) -> int:
        """The same as minutes since midnight."""
        return int(self.leave_at[:2]) * 60 + int(self.leave_at[3:])


class Forecast(Table):
    """A file with a forecast of the air outdoors, which something of the shop's own keeps fresh.

    file        CSV or JSON; its layout stands in dashboard/forecast_file.py and in the README
    probe       a probe that hangs outdoors: how the shop follows the weather is learned from it. Without one, from
                the past hours that stand in the file
    max_age_h   an older forecast is not used
    """

    file: str = Field(min_length=1)
    probe: Name | None = None
    max_age_h: float = Field(default=12.0, gt=0, le=72)


class Settings(Table):
    """The whole file. `data` is the folder of readings.db, watch.db and shop.db, relative to the file."""

    site: Name
    time_zone: str
    data: str = "data"
    source: tuple[Source, ...] = ()
    probe: tuple[Probe, ...] = ()
    serve: Serve = Serve()
    keep: Keep = Keep()
    shop: ShopHours = ShopHours()
    forecast: Forecast | None = None
    announce: Announce | None = None
    forward: Forward | None = None
    read_from: ReadFrom | None = None
    notices: Notices | None = None
    folder: Path = Path()

    _zone_exists = field_validator("time_zone")(check_zone)

    @model_validator(mode="after")
    def _names_fit(self) -> Self:
        sources = [source.id for source in self.source]
        for index, name in enumerate(sources):
            if name in sources[:index]:
                raise _misfit(
                    "source", index, "id", f"two sources are called {name!r}: each needs its own id"
                )
        seen: set[str] = set()
        wires: set[tuple[str, str]] = set()
        for index, probe in enumerate(self.probe):
            if probe.id in seen:
                raise _misfit(
                    "probe", index, "id", f"two probes are called {probe.id!r}: each needs its own id"
                )
            if probe.source not in sources:
                text = f"no source is called {probe.source!r}; {nearest(probe.source, sources)}"
                raise _misfit("probe", index, "source", text)
            kind = self.source[sources.index(probe.source)].kind
            if probe.topic is not None and kind not in BROKERED:
                text = f"a source of kind {kind!r} has no topics: leave this out"
                raise _misfit("probe", index, "topic", text)
            for name in probe.wire_names:
                if (probe.source, name) in wires:
                    text = f"another probe listens to the name {name!r} on source {probe.source!r} already"
                    raise _misfit("probe", index, "name" if probe.name else "id", text)
                wires.add((probe.source, name))
            seen.add(probe.id)
        if self.read_from is not None:
            self._only_reads()
        elif self.forecast is not None and self.forecast.probe not in (None, *seen):
            text = f"no probe is called {self.forecast.probe!r}; {nearest(str(self.forecast.probe), sorted(seen))}"
            raise PydanticCustomError("misfit", "{text}", {"text": text, "where": ["forecast", "probe"]})
        return self

    def _only_reads(self) -> None:
        """A machine that reads from a server has no probes of its own: what it collected nobody would look at."""
        beside = [name for name in ("source", "probe", "forward") if getattr(self, name)]
        if beside:
            text = f"{beside[0]!r} stands beside it: a machine either collects, or reads from a server; leave one out"
            raise PydanticCustomError("misfit", "{text}", {"text": text, "where": ["read_from"]})

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

    @property
    def notices_db(self) -> Path:
        return self.data_folder / "notices.db"

    @property
    def forward_db(self) -> Path:
        return self.data_folder / "forward.db"


def _misfit(table: str, index: int, key: str, text: str) -> PydanticCustomError:
    """An error between tables, which knows where it stands."""
    return PydanticCustomError("misfit", "{text}", {"text": text, "where": [table, index, key]})


def wire_names(settings: Settings) -> dict[tuple[str, str], str]:
    """(source, name on the wire) -> probe."""
    return {(probe.source, name): probe.id for probe in settings.probe for name in probe.wire_names}


def load(path: Path) -> Settings:
    """Reads a settings file. Raises SettingsError naming file, line, key and what is allowed."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise SettingsError(
            f"{path}: cannot be read ({error.strerror}). 'coldshed set-up' finds your probes and writes it with you;"
            f" by hand: copy {EXAMPLE} there and edit it, or name another with --settings"
        ) from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise SettingsError(
            f"{path}:{line}: a byte that is not UTF-8 text: save the file as UTF-8"
        ) from error
    return parse(text, path)


def parse(text: str, path: Path) -> Settings:
    """Like load(), from text; `path` names the file in errors and anchors relative folders."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"at line (\d+)", str(error))
        line = found[1] if found else max(1, len(text.splitlines()))  # "(at end of document)"
        raise SettingsError(f"{path}:{line}: not TOML: {error}") from error
    if "folder" in raw:
        raise SettingsError(
            f"{path}:{line_of(text, ['folder'])}: folder: unknown key at the top; did you mean 'data'?"
        )
    try:
        return Settings(**raw, folder=path.parent)
    except ValidationError as error:
        raise SettingsError("\n".join(_explain(item, text, raw, path) for item in error.errors())) from error


def _explain(item: Any, text: str, raw: dict[str, Any], path: Path) -> str:
    """One pydantic error as 'file:line: key: what is wrong; what is allowed'."""
    context = item.get("ctx", {})
    where = context.get("where") or _in_file(raw, item["loc"])
    message = str(item["msg"]).removeprefix("Value error, ")
    match item["type"]:
        case "extra_forbidden":
            message = f"unknown key; {nearest(str(where[-1]), _allowed(item['loc']))}"
        case "missing" if where[-1] == "unit":
            message = f"missing: a number without its unit is not a measurement; allowed: {', '.join(UNITS)}"
        case "missing":
            message = "missing; it must be given"
        case "literal_error" | "enum":
            message = f"{item['input']!r} is not allowed; {nearest(str(item['input']), _quoted(context))}"
        case "tuple_type":
            message = 'must be a list, such as ["one", "two"]'
        case "union_tag_invalid":
            where = [*where, "kind"]
            message = f"no kind is called {context['tag']!r}; {nearest(context['tag'], _quoted(context))}"
        case "union_tag_not_found":
            message = "'kind' is missing: say what this is"
    key = ".".join(str(part) for part in where) or "settings"
    return f"{path}:{line_of(text, where)}: {key}: {message}"


def _quoted(context: dict[str, Any]) -> list[str]:
    """The legal words of an error, which pydantic gives as one quoted text."""
    return re.findall(r"'([^']*)'", str(context.get("expected", context.get("expected_tags", ""))))


_TAGGED = tables_of(Source) | tables_of(Decode)
_MODELS: dict[str, type[Table]] = _TAGGED | {
    "probe": Probe,
    "serve": Serve,
    "keep": Keep,
    "shop": ShopHours,
    "forecast": Forecast,
    "announce": Announce,
    "forward": Forward,
    "read_from": ReadFrom,
    "notices": Notices,
    "to": Recipient,
    "field": FieldMap,
    "registers": Register,
    "time": TimeField,
    "order": OrderField,
}


def _in_file(raw: Any, loc: tuple[str | int, ...]) -> list[str | int]:
    """The path without the tags that pydantic puts into it: a tag is the `kind` of the table it stands in."""
    where: list[str | int] = []
    here, tagged = raw, False
    for step in loc:
        if isinstance(here, dict) and not tagged and step in _TAGGED and here.get("kind") == step:
            tagged = True
            continue
        where.append(step)
        inside = isinstance(here, dict) and step in here
        inside = inside or (isinstance(here, list) and isinstance(step, int) and step < len(here))
        here, tagged = (here[step] if inside else None), False
    return where


def _allowed(loc: tuple[str | int, ...]) -> list[str]:
    """The keys of the table an unknown key stands in."""
    tables = [part for part in loc[:-1] if part in _MODELS]
    if not tables:
        return [name for name in Settings.model_fields if name != "folder"]
    return list(_MODELS[str(tables[-1])].model_fields)
