"""An invented night in a real readings.db, a forwarder over it, a server that answers as it is told, and real ones
asked directly what they hold."""

from __future__ import annotations

import http.server
import json
import ssl
import threading
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import apsw

from collector.clock import SteppedClock
from collector.forward.corrected import Corrections
from collector.forward.forwarder import Forwarder
from collector.forward.state import Progress, progress
from collector.reading import Quality, Quantity, Reading
from collector.settings import Forward
from collector.store.reader import Reader
from collector.store.time_series.lines import reading_line
from collector.store.writer import Writer
from tests.services import Server, flush

EVENING = 1_795_604_832_000
NOW = EVENING + 28_800_000
SITE = "example shed, north=1"

Series = dict[tuple[str, ...], list[tuple[int, float]]]
"""By site, probe, quantity and rev: UTC ms and value, in order."""


def night(minutes: int = 480) -> list[Reading]:
    """Two series, a value each minute, invented; one value in fifty is flagged."""
    readings = []
    for minute in range(minutes):
        at = EVENING + 60_000 * minute
        quality = Quality.IMPOSSIBLE_RATE if minute % 50 == 49 else Quality.GOOD
        readings.append(Reading("S1", Quantity.TEMPERATURE, round(18 - minute / 60, 2), at, at + 40, quality))
        readings.append(Reading("A 1", Quantity.RELATIVE_HUMIDITY, round(60 + minute / 40, 1), at, at + 40))
    return readings


def commit(store: Path, *batches: Sequence[Reading]) -> None:
    """Each sequence in a batch of its own."""
    writer = Writer.open(store, SteppedClock(EVENING))
    for rows in batches:
        writer.commit(rows)
    writer.close()


def filled(folder: Path, rows: list[Reading]) -> Path:
    path = folder / "readings.db"
    commit(path, *by_24(rows))
    return path


def all_lines(rows: list[Reading]) -> list[str]:
    return sorted(reading_line(SITE, row, seq) for seq, batch in enumerate(by_24(rows), 1) for row in batch)


def announce_revised(store: Path) -> None:
    """Batch 41 of the night says that all of it is to be read again, as when a run is found to lie elsewhere."""
    connection = apsw.Connection(str(store))
    connection.execute(
        "INSERT INTO batch(seq, t_min, t_max, run, committed, revised) VALUES(41, ?, ?, 1, ?, 2)",
        (EVENING, EVENING + 480 * 60_000, NOW),
    )
    connection.close()


def by_24(rows: Sequence[Reading]) -> list[Sequence[Reading]]:
    return [rows[start : start + 24] for start in range(0, len(rows), 24)]


def last_batch(store: Path) -> int:
    with closing(Reader.open(store)) as reader:
        return reader.last_batch()


@dataclass
class Ticking:
    """Seconds that go by when a test says so."""

    at: float = 1000.0

    def __call__(self) -> float:
        return self.at


def forwarder(
    store: Path,
    port: int,
    clock: SteppedClock | None = None,
    monotonic: Callable[[], float] | None = None,
    corrections: Corrections | None = None,
    site: str = SITE,
    **more: Any,
) -> Forwarder:
    settings = Forward(
        **{"url": f"http://127.0.0.1:{port}", "bucket": "coldshed", "server": "victoria-metrics"} | more
    )
    return Forwarder(
        lambda: Reader.open(store),
        settings,
        site,
        store.with_name("forward.db"),
        clock or SteppedClock(NOW),
        monotonic or time.monotonic,
        corrections,
    )


def told(store: Path) -> Progress:
    """What `check` would read of it."""
    return progress(store.parent)


@contextmanager
def at_work(sender: Forwarder) -> Iterator[Forwarder]:
    stop = threading.Event()
    thread = threading.Thread(target=sender.run, args=(stop.is_set,))
    thread.start()
    try:
        yield sender
    finally:
        stop.set()
        thread.join(20)
        assert not thread.is_alive()


def exported(server: Server, name: str) -> Series:
    """All samples of a series as victoria-metrics gives them out."""
    flush(server)
    query = urllib.parse.urlencode({"match[]": name, "start": 0, "end": NOW // 1000 + 86_400 * 30})
    series: Series = {}
    url = f"http://127.0.0.1:{server.port}/api/v1/export?{query}"
    with urllib.request.urlopen(url, timeout=60) as answer:
        for line in answer:
            row = json.loads(line)
            key = tuple(row["metric"].get(tag, "") for tag in ("site", "probe", "quantity", "rev"))
            series.setdefault(key, []).extend(zip(row["timestamps"], row["values"], strict=True))
    return {key: sorted(values) for key, values in series.items()}


def selected(server: Server, measurement: str, name: str) -> Series:
    """All values of a field as InfluxQL gives them out."""
    question = f'SELECT "{name}" FROM "{measurement}" GROUP BY site, probe, quantity, rev'
    query = urllib.parse.urlencode({"db": "coldshed", "q": question, "epoch": "ms"})
    url = f"http://127.0.0.1:{server.port}/query?{query}"
    with urllib.request.urlopen(url, timeout=60) as answer:
        found = json.load(answer)["results"][0].get("series", [])
    return {
        tuple(part["tags"].get(tag, "") for tag in ("site", "probe", "quantity", "rev")): [
            (at, value) for at, value in part["values"]
        ]
        for part in found
    }


def expected(rows: Sequence[Reading], of: str) -> Series:
    """What a server is to hold of readings that came once and were never revised."""
    series: Series = {}
    for reading in rows:
        key = (SITE, reading.probe, reading.quantity.value, "")
        series.setdefault(key, []).append((reading.at, float(getattr(reading, of))))
    return series


Answer = tuple[int, dict[str, str], str]
"""Status, headers, body."""
TAKEN: Answer = (204, {}, "")
CUT: Answer = (0, {}, "")
"""The connection ends without a word."""


@dataclass
class Stub:
    """Answers each write as `answer` says, and remembers what was sent; to questions it answers `count`."""

    answer: Callable[[str, list[str]], Answer] = lambda path, lines: TAKEN
    count: Callable[[], int] | None = None
    behind: int | None = None
    """The port of a real server that answers questions instead."""
    port: int = 0
    writes: list[tuple[str, list[str]]] = field(default_factory=list)
    tokens: list[str] = field(default_factory=list)
    taken: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)

    def readings(self) -> list[str]:
        """Lines of readings that were taken, each once."""
        return sorted({line for line in self.taken if line.startswith("reading,")})


@contextmanager
def stub(
    answer: Callable[[str, list[str]], Answer] | None = None,
    keep_alive: bool = True,
    tls: ssl.SSLContext | None = None,
) -> Iterator[Stub]:
    """On a free loopback port, until the block ends."""
    told = Stub() if answer is None else Stub(answer)

    class Handler(http.server.BaseHTTPRequestHandler):
        wbufsize = -1  # one packet for an answer
        protocol_version = "HTTP/1.1" if keep_alive else "HTTP/1.0"

        def do_POST(self) -> None:
            lines = self.rfile.read(int(self.headers["Content-Length"])).decode().split("\n")
            told.writes.append((self.path, lines))
            told.tokens.append(self.headers.get("Authorization", ""))
            status, headers, body = told.answer(self.path, lines)
            if not status:
                self.close_connection = True
                return
            if status == 204:
                told.taken += lines
            self._say(status, headers, body)

        def do_GET(self) -> None:
            told.questions.append(self.path)
            if told.behind is not None:
                with urllib.request.urlopen(
                    f"http://127.0.0.1:{told.behind}{self.path}", timeout=30
                ) as answer:
                    self._say(200, {}, answer.read().decode())
                return
            if told.count is None:
                self._say(404, {}, "no questions here")
                return
            values = [[int(line.rsplit(" ")[-1]), 1] for line in told.taken if line.startswith("commit,")]
            if "count(value)" in urllib.parse.unquote_plus(self.path):
                values = [[0, told.count()]]
            self._say(200, {}, json.dumps({"results": [{"series": [{"values": values}]}]}))

        def _say(self, status: int, headers: dict[str, str], body: str) -> None:
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(body.encode())))
            self.end_headers()
            self.wfile.write(body.encode())

        def log_message(self, *args: object) -> None:
            pass

    class Quiet(http.server.ThreadingHTTPServer):
        def handle_error(self, request: Any, client_address: Any) -> None:
            """A client that went away is no news."""

    with Quiet(("127.0.0.1", 0), Handler) as server:
        server.daemon_threads = True
        if tls is not None:
            server.socket = tls.wrap_socket(server.socket, server_side=True)
        told.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield told
        finally:
            server.shutdown()
            thread.join(10)
