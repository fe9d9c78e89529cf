"""From coldshed.toml to what the page Settings says of it: each value with its line, and nothing that is secret."""

from __future__ import annotations

import logging
import sys
import tomllib
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path
from typing import Any

import apsw

from collector import settings as settings_file
from collector.last_good import good_copy
from collector.settings import Settings, Source
from collector.source_tables import (
    FolderSource,
    ModbusSource,
    MqttSource,
    OneWireSource,
    ReplaySource,
    SerialSource,
)
from collector.toml_lines import line_of
from collector.web_address import without_login
from dashboard.shop_settings import Group, Line, ShopSettings
from dashboard.words import LABELS
from model.mix_now import BOTTLES_C, CEILING_RH_PC, START_MARGIN_K
from model.reasons import MARGIN_K
from model.verdict import Say
from model.wood import MOISTURE_CAUTION_PC, MOISTURE_NO_PC

log = logging.getLogger("coldshed.serve")
PARTS = ("coldshed", "fastapi", "numpy", "plotly")
"""Packages whose version is told."""


class _File:
    """The text that the settings were read from: where a key stands in it.

    Of a file that is broken by now that is its last good copy; if neither says the same, no line is told.
    """

    def __init__(self, path: Path, settings: Settings) -> None:
        self.name, self._text = path.name, ""
        for one in (path, good_copy(path)):
            try:
                text = one.read_text(encoding="utf-8")
                same = settings_file.parse(text, path) == settings
            except (OSError, ValueError) as error:
                log.debug("%s is not what the settings were read from: %s", one, error)
                continue
            if same:
                self.name, self._text = one.name, text
                break
        self._raw: Any = tomllib.loads(self._text)

    def line(self, *keys: str | int) -> int | None:
        here = self._raw
        for key in keys:
            if isinstance(here, list):
                here = here[int(key)]
            elif key in here:
                here = here[key]
            else:
                return None
        return line_of(self._text, list(keys))


def told_settings(path: Path, settings: Settings) -> ShopSettings:
    """`settings` as they were read from `path`."""
    file = _File(path, settings)
    groups = (
        ("group_shop", _shop(file, settings)),
        ("group_probes", _probes(file, settings)),
        ("group_sources", _sources(file, settings)),
        ("group_outlook", _outlook(file, settings)),
        ("group_telling", _telling(file, settings)),
        ("group_files", _files(file, path, settings)),
        ("group_limits", _limits()),
        ("group_versions", _versions()),
    )
    return ShopSettings(file.name, tuple(Group(LABELS[title], tuple(lines)) for title, lines in groups))


def _shop(file: _File, settings: Settings) -> Iterable[Line]:
    yield Line(LABELS["set_site"], settings.site, file.line("site"))
    yield Line(LABELS["set_zone"], settings.time_zone, file.line("time_zone"))
    yield Line(LABELS["set_leave"], settings.shop.leave_at, file.line("shop", "leave_at"))


def _probes(file: _File, settings: Settings) -> Iterable[Line]:
    for index, probe in enumerate(settings.probe):
        at = file.line("probe", index, "id")
        every = f"{probe.interval_s:g} s"
        text = LABELS["set_probe"].format(
            place=probe.place, zone=probe.zone, every=every, source=probe.source
        )
        yield Line(probe.id, text, at)
        error = Say("set_accuracy", {"accuracy_K": probe.accuracy_K})
        yield Line(LABELS["set_error"].format(probe=probe.id), error, file.line("probe", index, "accuracy_K"))


def _sources(file: _File, settings: Settings) -> Iterable[Line]:
    for index, source in enumerate(settings.source):
        yield Line(f"{source.id} ({source.kind})", _where(source), file.line("source", index, "id"))


def _where(source: Source) -> str:
    match source:
        case SerialSource() | ModbusSource():
            return LABELS["set_source_serial"].format(at=source.port, rate=source.baud)
        case MqttSource():
            at = f"{source.host}:{source.port}"
            return LABELS["set_source_broker"].format(at=at, topics=", ".join(source.topic))
        case FolderSource() | OneWireSource():
            return LABELS["set_source_folder"].format(at=source.folder)
        case ReplaySource():
            return LABELS["set_source_file"].format(at=source.file)
    return LABELS["set_source_simulated"]


def _outlook(file: _File, settings: Settings) -> Iterable[Line]:
    told, name = settings.forecast, LABELS["set_forecast"]
    if told is None:
        yield Line(name, LABELS["set_no_forecast"])
        return
    text = LABELS["set_forecast_file"].format(file=told.file, hours=f"{told.max_age_h:g}")
    yield Line(name, text, file.line("forecast", "file"))
    if told.probe is not None:
        text = LABELS["set_forecast_probe"].format(probe=told.probe)
        yield Line(name, text, file.line("forecast", "probe"))


def _telling(file: _File, settings: Settings) -> Iterable[Line]:
    serve = settings.serve
    at = LABELS["set_serve_at"].format(host=serve.host, port=serve.port)
    yield Line(LABELS["set_serve"], at, file.line("serve", "port"))
    public = serve.public_url or LABELS["set_no_public"]
    yield Line(LABELS["set_public"], public, file.line("serve", "public_url"))
    told = ", ".join(to.name for to in settings.notices.to) if settings.notices else LABELS["set_nobody"]
    yield Line(LABELS["set_notices"], told, file.line("notices"))
    broker = settings.announce
    text = LABELS["set_nowhere"] if broker is None else f"{broker.host}:{broker.port}"
    yield Line(LABELS["set_announce"], text, file.line("announce"))
    server = settings.forward
    text = LABELS["set_nowhere"]
    if server is not None:
        text = LABELS["set_forward_at"].format(at=without_login(server.url), bucket=server.bucket)
    yield Line(LABELS["set_forward"], text, file.line("forward"))
    if settings.read_from is not None:
        at, sites = without_login(settings.read_from.url), ", ".join(settings.read_from.sites)
        text = LABELS["set_read_from_at"].format(at=at, sites=sites)
        yield Line(LABELS["set_read_from"], text, file.line("read_from"))


def _files(file: _File, path: Path, settings: Settings) -> Iterable[Line]:
    yield Line(LABELS["set_settings_file"], str(path.absolute()), fixed=True)
    yield Line(LABELS["set_data"], str(settings.data_folder.absolute()), file.line("data"))
    yield Line(LABELS["set_cards_folder"], str((settings.folder / "cards").absolute()), fixed=True)
    days = settings.keep.readings_days
    kept = LABELS["set_keep_good"] if days is None else LABELS["set_keep_days"].format(n=days)
    yield Line(LABELS["set_keep"], kept, file.line("keep", "readings_days"))


def _limits() -> Iterable[Line]:
    said = (
        ("set_start", Say("set_start_margin", {"margin_K": START_MARGIN_K})),
        ("set_surface", Say("set_ceiling", {"surface_pc": CEILING_RH_PC})),
        ("set_wood_name", Say("set_wood", {"caution_pc": MOISTURE_CAUTION_PC, "limit_pc": MOISTURE_NO_PC})),
        ("set_bottles_name", Say("set_bottles", {"low_C": BOTTLES_C[0], "high_C": BOTTLES_C[1]})),
        ("set_young", Say("set_young_margin", {"margin_K": MARGIN_K})),
        ("set_silent", LABELS["set_silent_after"]),
        ("set_safe", LABELS["set_safe_share"]),
    )
    for name, value in said:
        yield Line(LABELS[name], value, fixed=True)


def _versions() -> Iterable[Line]:
    for part in PARTS:
        yield Line(part, version(part), fixed=True)
    yield Line("SQLite", apsw.sqlite_lib_version(), fixed=True)
    yield Line("Python", sys.version.partition(" ")[0], fixed=True)
