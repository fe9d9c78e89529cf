"""Where this machine's readings are: readings.db beside it, or the server that [read_from] names."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from collector.clock import Clock, SystemClock
from collector.read_from_table import ReadFrom
from collector.reading import ProbeFacts
from collector.settings import Settings
from collector.store.reads import Reads, Where, open_store
from collector.store.schema import StoreError
from collector.store.time_series.asking import Asking, Scheme
from collector.store.time_series.export_api import ExportApi
from collector.store.time_series.influxql import InfluxQL
from collector.store.time_series.rows import Engine
from collector.store.time_series.sites import Sites


def readings_of(settings: Settings, clock: Clock | None = None) -> Where:
    """One store for a process: a sum of batches means something only to who has counted it.

    clock   of this process, by which it is told how long ago a site was heard; None: the machine's
    """
    table = settings.read_from
    if table is None:
        return settings.readings_db
    key = table, settings.folder
    if key not in _stores:
        _stores[key] = Sites(engine_of(table, settings.folder), table.sites, clock or SystemClock())
    return _stores[key]


def open_now(settings: Settings) -> Reads:
    """For a command. Raises StoreError also where a server does not answer just now: what it had said is not here."""
    reader = open_store(readings_of(settings))
    for why in [site.why for site in reader.sites() if site.why][:1]:
        reader.close()
        raise StoreError(f"read_from: {why}")
    return reader


def probes_of(settings: Settings) -> list[ProbeFacts]:
    """The probes of the settings, or those of the sites. Raises StoreError where a server does not tell them."""
    if settings.read_from is None:
        return [
            ProbeFacts(probe.id, probe.zone, probe.place, probe.interval_s, probe.accuracy_K)
            for probe in settings.probe
        ]
    with closing(open_now(settings)) as reader:
        return reader.probes()


_stores: dict[tuple[ReadFrom, Path], Sites] = {}


def engine_of(table: ReadFrom, folder: Path) -> Engine:
    """The engine that asks such a server; `folder`: of the settings."""
    token, authority = (None if name is None else folder / name for name in (table.token_file, table.ca_file))
    if table.server == "victoria-metrics":
        return ExportApi(Asking(table.url, "Bearer", token, authority))
    scheme: Scheme = "Basic" if table.server == "influxdb-1" else "Token"
    return InfluxQL(Asking(table.url, scheme, token, authority), table.bucket)
