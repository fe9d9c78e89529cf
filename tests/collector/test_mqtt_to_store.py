"""From a real broker through the real pipeline into the store, with the broker or the collector dying on the way.

The collector runs as a process of its own, so that it can be killed.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import publish
from paho.mqtt.enums import MQTTProtocolVersion

from collector.reading import Quantity
from collector.store.reader import Reader
from collector.store.schema import NotYet
from tests.services import Server, mosquitto, running, wait_until
from tests.soak.link import Link

NAME = "urn:dev:mac:0024befffe804ff1"
SENML, PLAIN = "shed/s2/senml", "shed/json/a2"
T0 = 1_795_000_000
MAIN = """
import sys
from pathlib import Path
from collector import app, settings
from collector.clock import SystemClock
app.collect(settings.load(Path(sys.argv[1])), SystemClock(), lambda: False)
"""
SETTINGS = """
site = "example-shed"
time_zone = "Europe/Oslo"

[[source]]
id = "broker"
kind = "mqtt"
host = "127.0.0.1"
port = PORT
topic = ["shed/+/senml"]
[source.decode]
kind = "senml"

[[source]]
id = "broker-json"
kind = "mqtt"
host = "127.0.0.1"
port = PORT
topic = ["shed/json/+"]
[source.decode]
kind = "json_map"
field = [
  { key = "/temp", quantity = "temperature", unit = "degF" },
  { key = "/hum", quantity = "relative_humidity", unit = "%" },
]
time = { key = "/ts", unit = "s" }

[[probe]]
id = "S2"
source = "broker"
name = "urn:dev:mac:0024befffe804ff1"
zone = "warm room"
place = "surface"
interval_s = 0.001 # these tests send as fast as they can

[[probe]]
id = "A2"
source = "broker-json"
name = "shed/json/a2"
zone = "warm room"
place = "air"
interval_s = 60
"""


class Collector:
    """The collector's process, over one settings file and one data folder."""

    def __init__(self, folder: Path, broker: Server | Link, before: str = "") -> None:
        """`before`: what its process does first."""
        self._code = before + MAIN
        self.settings = folder / "coldshed.toml"
        self.settings.write_text(SETTINGS.replace("PORT", str(broker.port)))
        self.db = folder / "data" / "readings.db"
        self._log = folder / "collector.log"
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-c", self._code, str(self.settings)],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
            )

    def kill(self) -> None:
        """As a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(20)
            self._process = None

    def log(self) -> str:
        """What it said."""
        return self._log.read_text(errors="replace")

    def seen(self) -> Seen:
        try:
            reader = Reader.open(self.db)
        except NotYet:
            return Seen({}, {}, 0)
        try:
            values = {
                (probe, quantity): dict(zip(*(column.tolist() for column in samples[:2]), strict=True))
                for probe, quantity, samples in (
                    (probe, quantity, reader.samples(probe, quantity, 0, 2**52)) for probe, quantity in SERIES
                )
            }
            tallies = {(tally.source, tally.kind): tally.n for tally in reader.tallies()}
            return Seen(values, tallies, reader.conflicts())
        finally:
            reader.close()


SERIES = [
    ("S2", Quantity.TEMPERATURE),
    ("A2", Quantity.TEMPERATURE),
    ("A2", Quantity.RELATIVE_HUMIDITY),
]


class Seen:
    """What the store holds: UTC ms to value for each series, refusals by source and kind, conflicts."""

    def __init__(
        self,
        values: dict[tuple[str, Quantity], dict[int, float]],
        tallies: dict[tuple[str, str], int],
        conflicts: int,
    ) -> None:
        self.values = values
        self.tallies = tallies
        self.conflicts = conflicts

    def of(self, probe: str, quantity: Quantity = Quantity.TEMPERATURE) -> dict[int, float]:
        return self.values.get((probe, quantity), {})

    def count(self, source: str, kind: str) -> int:
        return self.tallies.get((source, kind), 0)


@contextlib.contextmanager
def collecting(folder: Path, broker: Server | Link, before: str = "") -> Iterator[Collector]:
    collector = Collector(folder, broker, before)
    collector.start()
    try:
        yield collector
    finally:
        collector.kill()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Server]:
    with running(mosquitto(tmp_path / "broker")) as server:
        yield server


def send(broker: Server, *messages: tuple[str, bytes], retain: bool = False) -> None:
    """Returns once the broker has acknowledged all of them."""
    publish.multiple(
        [(topic, payload, 1, retain) for topic, payload in messages],
        hostname="127.0.0.1",
        port=broker.port,
        protocol=MQTTProtocolVersion.MQTTv5,
    )


def timed(number: int) -> tuple[str, bytes]:
    """A SenML pack with its own time and a value that tells which one it is."""
    record = {"n": NAME, "u": "Cel", "t": T0 + number, "v": 10 + number / 1000}
    return SENML, json.dumps([record]).encode()


def timeless(number: int) -> tuple[str, bytes]:
    return SENML, json.dumps([{"n": NAME, "u": "Cel", "v": 10 + number / 1000}]).encode()


def at_home(broker: Server, collector: Collector) -> None:
    """Returns once both sources are subscribed and take live messages."""
    probe = {"n": NAME, "u": "Cel", "v": 9.0}

    def live() -> bool:
        send(broker, (SENML, json.dumps([probe]).encode()), (PLAIN, b'{"temp": 48.2, "hum": 80}'))
        seen = collector.seen()
        return 9.0 in seen.of("S2").values() and bool(seen.of("A2"))

    wait_until(live, "live messages of both sources in the store", 30)


def all_stored_once(collector: Collector, count: int) -> None:
    """Waits for the timed messages 0 to count - 1; each must be there, once, and nothing beside them."""
    with contextlib.suppress(AssertionError):
        wait_until(lambda: len(numbered(collector.seen().of("S2"))) >= count, "all that was acknowledged", 40)
    seen = collector.seen()
    assert numbered(seen.of("S2")) == [10 + number / 1000 for number in range(count)], collector.log()
    assert seen.conflicts == 0


def settle(broker: Server) -> None:
    """One more message, of which nothing is expected.

    Mosquitto 2.0.11 saves after it has acknowledged, at the end of its round: killed in between, it loses the
    last message (measured: in two kills of four). Its next round proves that the one before was saved.
    """
    send(broker, (SENML, b'[{"n":"nobody","u":"Cel","v":9}]'))


def numbered(values: dict[int, float]) -> list[float]:
    """The values of the test's own messages; 9 degC is at_home()'s."""
    return sorted(value for value in values.values() if value != 9.0)


def test_senml_and_mapped_json_become_readings(broker: Server, tmp_path: Path):
    """53.6 degF is 12 degC exactly."""
    with collecting(tmp_path, broker) as collector:
        at_home(broker, collector)
        send(broker, timed(0), (PLAIN, json.dumps({"temp": 53.6, "hum": 81, "ts": T0}).encode()))
        wait_until(lambda: T0 * 1000 in collector.seen().of("A2", Quantity.RELATIVE_HUMIDITY), "the reading")
        wait_until(lambda: T0 * 1000 in collector.seen().of("S2"), "the reading")
        seen = collector.seen()
    assert seen.of("S2")[T0 * 1000] == 10.0
    assert seen.of("A2")[T0 * 1000] == pytest.approx(12.0, abs=1e-12)
    assert seen.of("A2", Quantity.RELATIVE_HUMIDITY)[T0 * 1000] == 81.0


@pytest.mark.parametrize("end", [Server.stop, Server.kill])
def test_a_broker_that_goes_away_in_the_middle_loses_and_doubles_nothing(
    broker: Server, tmp_path: Path, end: Any
):
    with collecting(tmp_path, broker) as collector:
        at_home(broker, collector)
        send(broker, *map(timed, range(200)))
        settle(broker)
        end(broker)
        broker.start()
        send(broker, *map(timed, range(200, 400)))
        all_stored_once(collector, 400)


def test_a_collector_killed_in_the_middle_loses_and_doubles_nothing(broker: Server, tmp_path: Path):
    with collecting(tmp_path, broker) as collector:
        at_home(broker, collector)
        for start in range(0, 600, 200):
            send(broker, *map(timed, range(start, start + 200)))
            wait_until(lambda: bool(numbered(collector.seen().of("S2"))), "the first of them in the store")
            collector.kill()
            collector.start()
        all_stored_once(collector, 600)


def test_of_timeless_messages_each_is_stored_once_or_counted_once_over_a_kill(broker: Server, tmp_path: Path):
    """A message that was committed but not acknowledged comes again: absorbed, neither stored nor counted twice."""
    with collecting(tmp_path, broker) as collector:
        at_home(broker, collector)
        before = collector.seen()
        send(broker, *map(timeless, range(200)))
        wait_until(lambda: bool(numbered(collector.seen().of("S2"))), "the first of them in the store")
        collector.kill()
        send(broker, *map(timeless, range(200, 300)))
        collector.start()

        def accounted() -> tuple[int, int]:
            seen = collector.seen()
            stale = seen.count("broker", "stale") - before.count("broker", "stale")
            return len(numbered(seen.of("S2"))) + seen.conflicts - before.conflicts, stale

        wait_until(lambda: sum(accounted()) >= 300, "every message to be stored or counted", 40)
        at_home(broker, collector)
        stored, stale = accounted()
        values = numbered(collector.seen().of("S2"))
    assert stored + stale == 300
    assert stale >= 100, "what was sent while nobody listened has no time"
    assert len(values) == len(set(values))
    assert max(values) < 10.2


def test_a_retained_message_is_a_reading_only_with_a_time_of_its_own(broker: Server, tmp_path: Path):
    send(broker, ("shed/a/senml", timeless(1)[1]), ("shed/b/senml", timed(2)[1]), retain=True)
    with collecting(tmp_path, broker) as collector:
        wait_until(lambda: bool(collector.seen().of("S2")), "the reading with its own time")
        wait_until(lambda: collector.seen().count("broker", "stale") == 1, "the other to be counted")
        assert collector.seen().of("S2") == {(T0 + 2) * 1000: 10.002}


def test_poison_is_counted_and_does_not_come_again(broker: Server, tmp_path: Path):
    poison = [b"", b"\xff\x00", b"[" * 9000, b'[{"n":"a","v":NaN}]', b"x" * 1_000_000, b'{"v":1,"v":2}']
    with collecting(tmp_path, broker) as collector:
        at_home(broker, collector)
        send(broker, *((SENML, payload) for payload in poison))

        def refused() -> int:
            return sum(n for (source, _), n in collector.seen().tallies.items() if source == "broker")

        wait_until(lambda: refused() == len(poison), "all of it to be counted")
        collector.kill()
        collector.start()
        send(broker, timed(1))
        wait_until(lambda: (T0 + 1) * 1000 in collector.seen().of("S2"), "a good message after it")
        assert refused() == len(poison)


def test_a_commit_that_fails_is_not_acknowledged_and_the_message_comes_again(broker: Server, tmp_path: Path):
    """Another tool holds the store's lock; the collector dies before it could commit."""
    import apsw

    with collecting(tmp_path, broker) as collector:
        at_home(broker, collector)
        other = apsw.Connection(str(collector.db))
        other.set_busy_timeout(20_000)  # the collector may be committing what at_home() sent last
        other.execute("BEGIN IMMEDIATE")
        send(broker, *map(timed, range(50)))
        wait_until(lambda: "not committed" in collector.log(), "a commit to fail")
        collector.kill()
        other.execute("ROLLBACK")
        other.close()
        assert numbered(collector.seen().of("S2")) == []
        collector.start()
        all_stored_once(collector, 50)
