"""Sends committed readings on to a time-series server: line protocol over the v2 write API, past a cursor.

The cursor is the last batch that the server has acknowledged, kept in a small file beside the store; it moves
only after the acknowledgement, so an outage costs time and nothing else. A reading is its site, probe, quantity
and time: sent twice, it overwrites itself. All fields are floats, since a server fixes a field's type by its
first value; all times are stated in milliseconds.

    reading,site=,probe=,quantity=  value=,quality=    at the reading's own time
    commit,site=                    seq=,t_min=,t_max= at the time of sending: all batches up to seq have been
                                                       sent, and the new readings lie between these times (ms)
    heartbeat,site=                 seq=               at the time of sending, also when there is nothing new
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from collector import settings
from collector.clock import Clock
from collector.durable import replace_whole
from collector.patience import GrowingWait, rest
from collector.reading import Reading
from collector.store.schema import StoreError

PORTION = 5000
"""Readings in one request."""
TIMEOUT_MS = 4000
"""For one request, so that we end within 5 s when asked to, whatever the server does."""
HEARTBEAT_S = 30.0
IDLE_S = 0.5

log = logging.getLogger("coldshed.forward")


class Committed(Protocol):
    """What we need of the store's reader."""

    def readings_after(self, seq: int, limit: int) -> tuple[list[Reading], int]: ...

    def close(self) -> None: ...


class ServerError(Exception):
    """The server did not take what we sent; the text says why."""


class Cursor:
    """The last batch sent, in a file that is replaced whole: after a power cut it holds the old or the new one."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def read(self) -> int:
        """0 if nothing was sent yet. Raises ValueError if the file is not ours."""
        try:
            text = self._path.read_text(encoding="ascii")
        except FileNotFoundError:
            return 0
        if not text.strip().isdecimal():
            raise ValueError(
                f"{self._path} holds {text[:40]!r}, not a batch's number: delete it to send all again"
            )
        return int(text)

    def write(self, seq: int) -> None:
        """Returns once it survives a power cut."""
        replace_whole(self._path, f"{seq}\n")


class Forwarder:
    """One server of the settings. `open_store` is called in run(), and again after the store could not be read."""

    def __init__(
        self,
        open_store: Callable[[], Committed],
        settings: settings.Forward,
        site: str,
        cursor: Cursor,
        clock: Clock,
    ) -> None:
        self._open_store = open_store
        self._settings = settings
        self._site = site
        self._cursor = cursor
        self._clock = clock
        self._store: Committed | None = None
        self._client: Any = None
        self._beat: float | None = None
        self._state = "waiting"

    @property
    def state(self) -> str:
        """ "waiting", "connected" or "failed: <why>"."""
        return self._state

    def run(self, stop: Callable[[], bool]) -> None:
        """Sends until stopped. Nothing the server does ends it; what is not acknowledged is sent again later."""
        wait = GrowingWait()
        try:
            while not stop():
                try:
                    sent = self.send_some()
                except (ServerError, StoreError, OSError, ValueError) as error:
                    if not self._state.startswith("failed"):
                        log.warning("not sent on: %s", error)
                    self._state = f"failed: {error}"
                    self.close()
                    wait.pause(stop)
                    continue
                wait.reset()
                self._state = "connected"
                if not sent:
                    rest(IDLE_S, stop)
        finally:
            self.close()

    def send_some(self) -> int:
        """Sends the next portion and moves the cursor; returns how many readings it held.

        Raises ServerError if the server did not take it, StoreError if the store cannot be read, OSError or
        ValueError if the cursor or token file cannot; the cursor stays where it was.
        """
        if self._store is None:
            self._store = self._open_store()
        seq = self._cursor.read()
        readings, last = self._store.readings_after(seq, PORTION)
        now = self._clock.now()
        lines = [reading_line(reading, self._site) for reading in readings]
        if readings:
            lines.append(commit_line(self._site, last, readings, now))
        if readings or self._beat is None or time.monotonic() - self._beat >= HEARTBEAT_S:
            lines.append(f"heartbeat,site={escaped(self._site)} seq={float(last)!r} {now}")
            self._write(lines)
            self._beat = time.monotonic()
        if last != seq:
            self._cursor.write(last)
        return len(readings)

    def close(self) -> None:
        """Closes the store and the connection; send_some() opens them again."""
        if self._store is not None:
            self._store.close()
            self._store = None
        if self._client is not None:
            self._client.close()
            self._client = None
        self._beat = None

    def _write(self, lines: list[str]) -> None:
        # Imported here so that a shop without such a server needs no such library.
        from influxdb_client.client.write_api import SYNCHRONOUS
        from influxdb_client.domain.write_precision import WritePrecision
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError

        if self._client is None:
            self._client = self._connect()
        writer = self._client.write_api(write_options=SYNCHRONOUS)
        try:
            writer.write(self._settings.bucket, record="\n".join(lines), write_precision=WritePrecision.MS)
        except ApiException as error:
            raise ServerError(f"{self._settings.url} answers {error.status} {error.reason}") from error
        except (HTTPError, OSError) as error:
            raise ServerError(f"{self._settings.url} does not answer: {error}") from error

    def _connect(self) -> Any:
        try:
            from influxdb_client.client.influxdb_client import InfluxDBClient
        except ImportError as error:
            raise ServerError("the influxdb-client library is missing: install coldshed[server]") from error
        token = "-"
        if self._settings.token_file is not None:
            token = Path(self._settings.token_file).read_text(encoding="utf-8").strip()
        return InfluxDBClient(
            url=self._settings.url,
            token=token,
            org=self._settings.org,
            timeout=TIMEOUT_MS,
            enable_gzip=False,
        )


def reading_line(reading: Reading, site: str) -> str:
    """One reading in line protocol; SI, quality as the number of its flags, time in ms."""
    tags = f"site={escaped(site)},probe={escaped(reading.probe)},quantity={reading.quantity.value}"
    return f"reading,{tags} value={reading.value!r},quality={float(reading.quality)!r} {reading.at}"


def commit_line(site: str, seq: int, readings: list[Reading], now: int) -> str:
    """What a follower needs to know: how far the server is, and which span of time has new readings."""
    t_min = min(reading.at for reading in readings)
    t_max = max(reading.at for reading in readings)
    fields = f"seq={float(seq)!r},t_min={float(t_min)!r},t_max={float(t_max)!r}"
    return f"commit,site={escaped(site)} {fields} {now}"


_ESCAPES = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ "})


def escaped(text: str) -> str:
    """A tag's value in line protocol. Names from the settings hold no line ends.

    A backslash at the end would escape what follows: the form of the client library puts a blank behind it.
    """
    value = text.translate(_ESCAPES)
    return value + " " if value.endswith("\\") else value
