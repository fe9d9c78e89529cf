"""What it costs to send readings on to a time-series server, beside bare HTTP requests with lines made before."""

from __future__ import annotations

import http.client
import tempfile
import time
from collections.abc import Iterator
from itertools import count
from pathlib import Path

from influxdb_client import InfluxDBClient, WriteOptions

from collector.clock import SystemClock
from collector.forward.forwarder import Forwarder
from collector.forward.link import Link
from collector.forward.portion import LINES
from collector.reading import ProbeFacts, Quantity, Reading
from collector.settings import Forward
from collector.store.reader import Reader
from collector.store.time_series.lines import reading_line
from collector.store.writer import Writer
from tests.bench.rows import Found, Row, Section, compared, each, scaled, turns
from tests.services import Server, influxdb, running, victoria_metrics

PROBES, COMMITS = 10, 2_000
READINGS = PROBES * COMMITS
ROUNDS = 3
RAW, BATCHING = "bare HTTP, lines made before", "influxdb-client's own batches"
ROWS = {
    "influxdb-1": Row("readings sent on to InfluxDB", "/s", RAW),
    "influxdb-1 cpu": Row("  processor time of each", "µs", RAW),
    "victoria-metrics": Row("readings sent on to VictoriaMetrics", "/s", RAW),
    "victoria-metrics cpu": Row("  processor time of each", "µs", RAW),
    "written": Row("lines made before, written as forward writes them", "/s", BATCHING, at_least=4.0),
}


def readings() -> list[list[Reading]]:
    """Commits as ten probes make them every ten seconds, of the last hours."""
    start = SystemClock().now() - COMMITS * 10_000
    return [
        [
            Reading(f"P{probe}", Quantity.TEMPERATURE, 10.0 + (number + probe) % 700 / 100, at, at)
            for probe in range(PROBES)
        ]
        for number in range(COMMITS)
        if (at := start + number * 10_000)
    ]


def measure() -> dict[str, Found]:
    with tempfile.TemporaryDirectory() as name:
        folder, found, commits = Path(name), {}, readings()
        writer = Writer.open(folder / "readings.db", SystemClock())
        writer.describe([ProbeFacts(f"P{probe}", "shed", "surface", 10.0, 0.8) for probe in range(PROBES)])
        for commit in commits:
            writer.commit(commit)
        writer.close()
        with running(influxdb(folder / "influx")) as server:
            found |= dict(_server(Work(folder, commits, "influxdb-1", server, 1)))
        with running(victoria_metrics(folder / "victoria")) as server:
            work = Work(folder, commits, "victoria-metrics", server, 3)
            found |= dict(_server(work))
            ours, theirs = turns(ROUNDS, work.written, work.batches, clock=time.perf_counter)
            return found | {"written": compared(each(READINGS, ours), each(READINGS, theirs))}


def _server(work: Work) -> Iterator[tuple[str, Found]]:
    both = turns(ROUNDS, work.forward, work.raw, clock=lambda: time.perf_counter() + 1j * time.process_time())
    ours, raw = ([taken.real for taken in of] for of in both)
    yield work.kind, compared(each(READINGS, ours), each(READINGS, raw))
    ours, raw = (scaled(1e6 / READINGS, [taken.imag for taken in of]) for of in both)
    yield f"{work.kind} cpu", compared(ours, raw)


class Work:
    """One server and the ways to bring it the same readings, each time as another site's, so that all are new."""

    def __init__(
        self, folder: Path, commits: list[list[Reading]], kind: str, server: Server, sets: int
    ) -> None:
        """sets: how many of the ways want lines that were made before."""
        self.kind = kind
        self._folder = folder
        self._port = server.port
        self._settings = Forward.model_validate(
            {"server": kind, "url": f"http://127.0.0.1:{server.port}", "bucket": "coldshed"}
        )
        self._sites = (f"site{number}" for number in count())
        self._path = (
            "/write?db=coldshed&precision=ms" if kind == "influxdb-1" else "/api/v2/write?precision=ms"
        )
        numbered = [(reading, seq) for seq, commit in enumerate(commits, 1) for reading in commit]
        self._prepared = iter([self._site_lines(numbered) for _ in range(sets * (ROUNDS + 1))])

    def _site_lines(self, numbered: list[tuple[Reading, int]]) -> list[str]:
        site = next(self._sites)
        return [reading_line(site, reading, seq) for reading, seq in numbered]

    def raw(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=30)
        lines = next(self._prepared)
        for at in range(0, READINGS, LINES):
            body = "\n".join(lines[at : at + LINES]).encode()
            connection.request("POST", self._path, body)
            answer = connection.getresponse()
            assert answer.status == 204, answer.read()
            answer.read()
        connection.close()

    def batches(self) -> None:
        """A write() for each line: the library collects them."""
        lines = next(self._prepared)
        options = WriteOptions(batch_size=LINES, flush_interval=60_000)
        with (
            InfluxDBClient(url=f"http://127.0.0.1:{self._port}", token="-", org="-") as client,
            client.write_api(options) as writer,
        ):
            for line in lines:
                writer.write("coldshed", record=line, write_precision="ms")

    def written(self) -> None:
        lines, link = next(self._prepared), Link(self._settings, SystemClock().now)
        for at in range(0, READINGS, LINES):
            link.write(lines[at : at + LINES])
        link.close()

    def forward(self) -> None:
        site = next(self._sites)
        forwarder = Forwarder(
            lambda: Reader.open(self._folder / "readings.db"),
            self._settings,
            site,
            self._folder / f"{self.kind}-{site}.db",
            SystemClock(),
        )
        while forwarder.send_some():
            pass
        assert forwarder.state == "connected", forwarder.state
        forwarder.close()


SECTION = Section("sending-on", "Sending on to a server", ROWS, measure)
