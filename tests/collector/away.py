"""Three days without a collector, at full speed: the broker of the notes keeps all, and the collector takes it whole.

The broker saves once a minute, and a probe sends its last five minutes again after every new connection
(firmware_notes/firmware.md). Time here runs thousands of times faster than the broker's own clock, so its save is asked
for (SIGUSR1, mosquitto(8)) at the worst moment: just under a minute of the probes' time before the broker is killed.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from collector.reading import Quantity
from collector.store.reader import Reader
from collector.store.schema import NotYet
from tests.collector import shops
from tests.collector.test_collect import Collector
from tests.journeys.senders import shop_broker
from tests.raw_mqtt import RawSender, numbered
from tests.services import Server, running, wait_until

PROBES = 8
EVERY_S = 10
HOUR_S = 3600
AGAIN_S = 300
"""What a probe sends once more after a new connection."""
SAVED_BEFORE_S = 50
FIRST = 1_795_000_000 // EVERY_S * EVERY_S
PATIENCE_S = 300.0

MQTT = """
[[source]]
id = "broker"
kind = "mqtt"
host = "127.0.0.1"
port = PORT
topic = ["shed/json/+"]
[source.decode]
kind = "json_map"
field = [
  { key = "/temp", quantity = "temperature", unit = "degC" },
  { key = "/hum", quantity = "relative_humidity", unit = "%" },
]
time = { key = "/ts", unit = "s" }
"""


@dataclass
class Away:
    """What came of it. Memory in kB: resident at the most, before and after the backlog."""

    sent: int
    stored: int
    conflicts: int
    values_right: bool
    before_kB: int
    most_kB: int


def topic(probe: int) -> str:
    return f"shed/json/p{probe}"


def settings_file(folder: Path, port: int) -> Path:
    """A shop of eight probes behind this broker."""
    probes = [
        shops.probe(f"P{number}", "broker", name=topic(number), interval_s=EVERY_S)
        for number in range(PROBES)
    ]
    path = folder / "coldshed.toml"
    path.write_text(shops.shop_text([MQTT.replace("PORT", str(port)), *probes]))
    return path


def readings(start: int, end: int) -> Iterator[tuple[str, bytes]]:
    """What the probes measured in rounds start to end - 1, each at its own time."""
    for round_ in range(start, end):
        for probe in range(PROBES):
            yield topic(probe), numbered(round_, FIRST + round_ * (EVERY_S - 1))


def stay_away(folder: Path, hours: float, broker_dies: bool) -> Away:
    """The collector makes its session, is away for so many hours of the probes' time, and comes back."""
    rounds = round(hours * HOUR_S / EVERY_S)
    with running(shop_broker(folder / "broker")) as broker:
        settings = settings_file(folder, broker.port)
        first = Collector(settings)
        wait_until(lambda: heard(broker, settings), "the collector hears the probes")
        first.end(signal.SIGKILL)
        send_all(broker, rounds, broker_dies)
        back = Collector(settings)
        try:
            wait_until(lambda: stored(settings) > PROBES, "the first of it in the store")
            before = memory_kB(back.process.pid, "VmRSS")
            last = 1000 * (FIRST + (rounds - 1) * EVERY_S)
            wait_until(lambda: newest(settings) == {last}, "the last of it in the store", PATIENCE_S)
            wait_until(lambda: stored(settings) >= rounds * PROBES, "all of it in the store", PATIENCE_S)
            most = memory_kB(back.process.pid, "VmHWM")
        finally:
            back.end(signal.SIGTERM)
    return judge(settings, rounds, before, most)


def heard(broker: Server, settings: Path) -> bool:
    """Sends the first round until it is stored: the session is there, with its subscription."""
    send(broker, 0, 1)
    return stored(settings) == PROBES


def send_all(broker: Server, rounds: int, broker_dies: bool) -> None:
    """Every round; in the middle the broker is killed, and the probes connect again as the notes tell them."""
    half = rounds // 2 if broker_dies else rounds
    send(broker, 0, half)
    if broker_dies:
        save(broker)
        send(broker, half, half + SAVED_BEFORE_S // EVERY_S)  # acknowledged, and lost with the broker
        broker.kill()
        broker.start()
        send(broker, half + (SAVED_BEFORE_S - AGAIN_S) // EVERY_S, rounds)


def send(broker: Server, start: int, end: int) -> None:
    sender = RawSender(broker.port)
    try:
        sender.send(readings(start, end))
    finally:
        sender.close()


def save(broker: Server) -> None:
    """Returns once the broker has written its file anew."""
    file = broker.folder / "mosquitto.db"
    before = file.stat().st_mtime_ns if file.exists() else 0
    broker.signal(signal.SIGUSR1)
    wait_until(lambda: file.exists() and file.stat().st_mtime_ns > before, "the broker saves")


def stored(settings: Path) -> int:
    """Temperatures in the store."""
    try:
        reader = Reader.open(settings.parent / "data" / "readings.db")
    except NotYet:
        return 0
    try:
        return sum(len(series(reader, probe)[0]) for probe in range(PROBES))
    finally:
        reader.close()


def newest(settings: Path) -> set[int]:
    """The newest times of the series, each once: cheap enough to be asked again and again."""
    reader = Reader.open(settings.parent / "data" / "readings.db")
    try:
        return {reading.at for reading in reader.newest()}
    finally:
        reader.close()


def series(reader: Reader, probe: int) -> tuple[Any, Any]:
    at, value, _ = reader.samples(f"P{probe}", Quantity.TEMPERATURE, 0, 2**52)
    return at, value


def judge(settings: Path, rounds: int, before_kB: int, most_kB: int) -> Away:
    reader = Reader.open(settings.parent / "data" / "readings.db")
    number = np.arange(rounds)
    times, values = 1000 * (FIRST + number * EVERY_S), 10 + number // 1000 % 30 + number % 1000 / 1000
    kept = [series(reader, probe) for probe in range(PROBES)]
    right = all(np.array_equal(at, times) and np.allclose(value, values, atol=1e-9) for at, value in kept)
    conflicts = reader.conflicts()
    reader.close()
    return Away(rounds * PROBES, sum(len(at) for at, _ in kept), conflicts, right, before_kB, most_kB)


def memory_kB(process: int, what: str) -> int:
    """VmRSS is what is resident now, VmHWM the most that ever was: proc(5)."""
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith(f"{what}:"):
            return int(line.split()[1])
    raise AssertionError(f"/proc tells no {what}")


def assert_whole(away: Away, grows_kB: int) -> None:
    """0 lost, 0 doubled, each with its own time and value; and the backlog never lay in our memory."""
    assert away.stored == away.sent, away
    assert away.values_right, away
    assert away.conflicts == 0, away
    assert away.most_kB - away.before_kB < grows_kB, away
