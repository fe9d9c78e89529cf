"""Readers of what a time-series server answers, as something that can be fed: see tests/fuzz/targets.py."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np

from collector.clock import SteppedClock
from collector.forward import link
from collector.forward.read_back import Sent, count_held
from collector.reading import Quantity
from collector.settings import Forward
from collector.store.time_series.asking import Unanswered
from collector.store.time_series.export_api import ExportApi
from collector.store.time_series.influxql import InfluxQL
from collector.store.time_series.rows import Engine
from collector.store.time_series.sites import Sites
from tests.fuzz.target import Target, unless

NOW = 1_795_604_832_000
SITE, PROBE = "hull", "S1"


@dataclass(frozen=True)
class Canned:
    """A server that answers whatever it is asked with the same bytes."""

    body: bytes
    url: str = "http://127.0.0.1:8428"

    def get(self, path: str, asked: Mapping[str, str]) -> bytes:
        return self.body

    def ask(self, path: str, query: Mapping[str, str]) -> str:
        return self.body.decode("utf-8", "replace")


class ByMeasurement(Canned):
    """Answers with the lines of the measurement that is asked for, and with those of none."""

    def get(self, path: str, asked: Mapping[str, str]) -> bytes:
        name = asked["match[]"].split('"')[1].split("_")[0].encode()
        lines = self.body.splitlines(keepends=True)
        return b"".join(
            one for one in lines if b'"__name__":"' + name + b"_" in one or b"__name__" not in one
        )


def _rows(engine: Engine) -> None:
    for series in engine.rows("reading", {"site": [SITE]}, ("value",), 0, NOW):
        assert all(len(column) == len(series.t) for column in series.columns.values())
        assert np.all(np.diff(series.t) >= 0) or len(series.columns) == 1


def _site(engine: Engine) -> None:
    """As the pages read it: what makes no sense is not known, and told."""
    sites = Sites(engine, [SITE], SteppedClock(NOW), steady=lambda: 0.0)
    reader = sites.open()
    reader.sites()
    with suppress(Unanswered):
        for probe in reader.probes():
            reader.samples(probe.id, Quantity.TEMPERATURE, 0, NOW)
        reader.newest()
        reader.batches_after(0)


def _export(data: bytes) -> None:
    _rows(ExportApi(Canned(data)))  # type: ignore[arg-type]  # stands for a server


def _query(data: bytes) -> None:
    _rows(InfluxQL(Canned(data), "shop"))  # type: ignore[arg-type]  # stands for a server


def _site_of_export(data: bytes) -> None:
    _site(ExportApi(ByMeasurement(data)))  # type: ignore[arg-type]  # stands for a server


def _counted(data: bytes) -> None:
    for server in ("victoria-metrics", "influxdb"):
        settings = Forward.model_validate(
            {"url": "http://127.0.0.1:1", "server": server, "bucket": "shop", "org": "shop"}
        )
        with suppress(link.ServerError):
            count_held(Canned(data), settings, SITE, Sent(0, 7, False, NOW - 1000, NOW, 3))


def _refusal(data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    assert len(link._words(SimpleNamespace(body=text))) <= link.WORDS_KEPT
    assert 0.0 <= link._retry_after({"Retry-After": text}, NOW) <= link.LONGEST_RETRY_AFTER_S


def _line(measurement: str, tags: str, **fields: float) -> bytes:
    """A row as an export gives it, a line for each field."""
    return b"".join(
        f'{{"metric":{{"__name__":"{measurement}_{name}","site":"{SITE}"{tags}}},"values":[{value}],'
        f'"timestamps":[{NOW}]}}\n'.encode()
        for name, value in fields.items()
    )


EXPORT = (
    _line("reading", f',"probe":"{PROBE}","quantity":"temperature"', value=12.5, quality=0, seq=7, lag=40)
    + _line("commit", "", seq=7, since=6, n=1, t_min=NOW, t_max=NOW, revised=0)
    + _line("heartbeat", "", seq=7, newest=7, now=NOW, kept=0)
    + _line("probe", f',"probe":"{PROBE}","zone":"shed","place":"surface"', interval_s=30, accuracy_K=0.8)
    + _line("facts", "", probes=1, suspicions=0, runs=0, fields=2)
)
ANSWER = (
    b'{"results":[{"statement_id":0,"series":[{"name":"reading","tags":{"site":"hull","probe":"S1"},'
    b'"columns":["time","value"],"values":[[1795604832000,12.5],[1795604833000,null]]}]}]}'
)
COUNT = b'{"results":[{"series":[{"name":"reading","columns":["time","count"],"values":[[0,3]]}]}]}'
OF_A_SERVER = ("collector.store.time_series.export_api", "collector.store.time_series.asking")

SERVER_TARGETS: dict[str, Target] = {
    "export of a server": Target(unless(Unanswered, _export), (EXPORT,), OF_A_SERVER),
    "a site by an export": Target(_site_of_export, (EXPORT,), OF_A_SERVER),
    "query of a server": Target(
        unless(Unanswered, _query), (ANSWER,), ("collector.store.time_series.influxql",)
    ),
    "count of a server": Target(_counted, (COUNT, EXPORT), ("collector.forward.read_back",)),
    "refusal of a server": Target(
        _refusal,
        (b'{"error":"partial write: dropped=3"}', b"120", b"Wed, 25 Nov 2026 06:00:00 GMT"),
        ("collector.forward.link",),
    ),
}
