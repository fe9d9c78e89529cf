"""What it costs to receive, decode and store, as ratios in one run, held to ceilings measured before."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import apsw
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from collector import app
from collector.arrival import Arrival
from collector.clock import SystemClock
from collector.decode import decoder_for
from collector.decode.json_map import JsonMapDecoder
from collector.reading import Quantity, Reading
from collector.settings import JsonMap, SenML, Settings
from collector.sources.serial_port import SerialPortSource
from collector.store.reader import Reader
from collector.store.readings_schema import READINGS
from collector.store.schema import NotYet, open_reader
from collector.store.writer import Writer
from tests.bench.rows import Found, Row, Section, alone, compared, each, scaled, turns
from tests.collector import shops
from tests.raw_mqtt import RawSender, numbered
from tests.services import Server, mosquitto, running, wait_until

MESSAGES, MORE = 20_000, 400
"""MORE follow, so that the last that is timed lies in no half batch, which would wait for its time to be committed."""
ROUNDS = 5
STORE_ROUNDS = 15
DECODE_ROUNDS, AT_ONCE = 9, 5_000
ROWS_STORED, BATCH = 20_000, 1000
LINES = 300_000
FIRST = 1_700_000_000
FIELDS = """
field = [
  { key = "/temp", quantity = "temperature", unit = "degC" },
  { key = "/hum", quantity = "relative_humidity", unit = "%" },
]
time = { key = "/ts", unit = "s" }
"""


JSON_LOADS, COUNTS = "json.loads alone", "paho-mqtt, a callback that counts"
ROWS = {
    "numbers": Row("plain JSON of 120 bytes, decoded and validated", "µs", JSON_LOADS, at_most=0.65),
    "samples": Row("  and to named samples in SI", "µs", JSON_LOADS),
    "long_numbers": Row("plain JSON of 390 bytes, decoded and validated", "µs", JSON_LOADS, at_most=0.65),
    "long_samples": Row("  and to named samples in SI", "µs", JSON_LOADS),
    "senml": Row("SenML of 130 bytes to named samples in SI", "µs", JSON_LOADS),
    "serial": Row("lines of 110 bytes from a serial port", "/s", at_least=100_000.0),
    "mqtt": Row("MQTT messages, QoS 1, until committed and acknowledged", "/s", COUNTS, at_least=0.45),
    "mqtt_cpu": Row("  processor time of each", "µs", COUNTS),
    "stored": Row("rows stored in commits of 1,000", "/s", "apsw's executemany", at_least=0.6),
}


def decoding() -> Iterator[tuple[str, Found]]:
    """Bytes to validated numbers, and on to samples, against json.loads alone on the same bytes."""
    field = [
        {"key": "/temp", "quantity": "temperature", "unit": "degC"},
        {"key": "/hum", "quantity": "relative_humidity", "unit": "%"},
    ]
    plain = JsonMap.model_validate({"kind": "json_map", "field": field, "time": {"key": "/ts", "unit": "s"}})
    chatty = numbered(12345, FIRST)
    gateway = (
        chatty[:-1] + b"".join(b', "diagnostic_%d": %d.5' % (number, number) for number in range(12)) + b"}"
    )
    pack = (
        b'[{"bn": "urn:dev:mac:0024befffe804ff1/", "bt": 1795604832, "n": "t", "u": "Cel", "v": 12.5},'
        b' {"n": "rh", "u": "%RH", "v": 84.2}]'
    )
    for begins, decode, payload in (
        ("", plain, chatty),
        ("long_", plain, gateway),
        ("senml", SenML(kind="senml"), pack),
    ):
        decoder, arrival = decoder_for(decode), Arrival("b", payload, FIRST * 1000, "bench/p")
        assert len(decoder.decode(arrival).samples) == 2
        ours, theirs = turns(
            DECODE_ROUNDS,
            many(lambda d=decoder, a=arrival: d.decode(a)),
            many(lambda p=payload: json.loads(p)),
        )
        if isinstance(decoder, JsonMapDecoder) and decoder.plain is not None:
            yield f"{begins}samples", of_one(ours, theirs)
            ours, theirs = turns(
                DECODE_ROUNDS,
                many(lambda m=decoder.plain, p=payload: m.numbers(p)),
                many(lambda p=payload: json.loads(p)),
            )
            yield f"{begins}numbers", of_one(ours, theirs)
        else:
            yield begins, of_one(ours, theirs)


def many(run: Callable[[], object]) -> Callable[[], None]:
    def all_of_them() -> None:
        for _ in range(AT_ONCE):
            run()

    return all_of_them


def of_one(ours_s: list[float], theirs_s: list[float]) -> Found:
    return compared(scaled(1e6 / AT_ONCE, ours_s), scaled(1e6 / AT_ONCE, theirs_s))


def storing() -> Iterator[tuple[str, Found]]:
    """Batches of 1,000 through the Writer, against executemany of the same rows into the same table."""
    readings = [
        Reading(f"P{n % 8}", Quantity.TEMPERATURE, 10.0 + n / 1e4, FIRST + n * 1000, FIRST + n * 1000)
        for n in range(ROWS_STORED)
    ]
    rows = [(r.at, 1 + number % 8, r.value, 0, 0, 1) for number, r in enumerate(readings)]
    ours, bare = [], []
    for _ in range(STORE_ROUNDS):
        with tempfile.TemporaryDirectory() as folder:
            writer = Writer.open(Path(folder) / "readings.db", SystemClock())
            writer.commit(readings[:8])  # the series and the file's first pages are there for both
            writer.connection.execute("DELETE FROM reading")
            ours.append(wall(lambda w=writer: through_the_writer(w, readings)))
            writer.connection.execute("DELETE FROM reading")
            bare.append(wall(lambda c=writer.connection: plainly(c, rows)))
            writer.close()
    yield "stored", compared(each(ROWS_STORED, ours), each(ROWS_STORED, bare))


def through_the_writer(writer: Writer, readings: list[Reading]) -> None:
    for start in range(0, ROWS_STORED, BATCH):
        writer.commit(readings[start : start + BATCH])


def plainly(connection: apsw.Connection, rows: list[tuple[object, ...]]) -> None:
    for start in range(0, len(rows), BATCH):
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany(
            "INSERT OR IGNORE INTO reading VALUES(?, ?, ?, ?, ?, ?)", rows[start : start + BATCH]
        )
        connection.execute("COMMIT")


def wall(run: Callable[[], object]) -> float:
    begin = time.perf_counter()
    run()
    return time.perf_counter() - begin


def serial() -> Iterator[tuple[str, Found]]:
    """Lines of 110 bytes through a pseudo-terminal, each handed on with its time."""
    line = b"S1 T=12.50 RH=81.2 " + b"PAD=1 " * 15 + b"\n"
    master, slave = os.openpty()
    tty.setraw(slave)
    source = SerialPortSource("usb", os.ttyname(slave), 4_000_000, SystemClock())
    os.close(slave)
    count, whole = 0, threading.Event()

    def put(arrival: Arrival) -> None:
        nonlocal count
        count += 1
        if count == LINES:
            whole.set()

    reader = threading.Thread(target=source.run, args=(put, whole.is_set))
    reader.start()
    wait_until(lambda: source.state == "connected", "the port is open")
    pid = os.fork()
    if pid == 0:  # a sender of its own, so that it does not share our interpreter's lock
        data = line * 500
        for _ in range(LINES // 500 + 1):
            view = memoryview(data)
            while view:
                view = view[os.write(master, view) :]
        os._exit(0)
    seconds = wall(lambda: whole.wait(60))
    os.kill(pid, 9)
    os.waitpid(pid, 0)
    reader.join()
    os.close(master)
    yield "serial", alone([LINES / seconds])


def mqtt() -> Iterator[tuple[str, Found]]:
    """QoS 1 until acknowledged: into the store and committed, against a callback that only counts."""
    ours, bare = [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        server = mosquitto(folder / "broker", more="max_inflight_messages 100\n")
        conf = server.folder / "mosquitto.conf"
        conf.write_text(conf.read_text().replace("persistence true", "persistence false"))
        for round_ in range(ROUNDS):
            with running(server):
                bare.append(counted(server))
            with running(server):  # anew: a session that is kept would have been sent the messages of both
                ours.append(collected(server, folder / str(round_)))
    (bare_s, bare_cpu), (ours_s, ours_cpu) = (list(zip(*of, strict=True)) for of in (bare, ours))
    yield "mqtt", compared(each(MESSAGES, ours_s), each(MESSAGES, bare_s))
    yield "mqtt_cpu", compared(scaled(1e6 / MESSAGES, ours_cpu), scaled(1e6 / MESSAGES, bare_cpu))


@contextmanager
def sending(port: int) -> Iterator[Callable[[], object]]:
    """A sender in a process of its own; called, it begins."""
    words = [
        sys.executable,
        "-P",
        "-m",
        "tests.raw_mqtt",
        str(port),
        "bench/p",
        str(MESSAGES + MORE),
        str(FIRST),
    ]
    sender = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert sender.stdin is not None
    assert sender.stdout is not None
    sender.stdout.readline()

    def go() -> None:
        sender.stdin.write(b"\n")
        sender.stdin.flush()

    yield go
    sender.stdin.close()
    sender.wait(60)
    sender.stdout.close()


def counted(server: Server) -> tuple[float, float]:
    """Seconds, and seconds of processor time, until MESSAGES were counted."""
    ready, whole, count = threading.Event(), threading.Event(), 0

    def count_one(*_: object) -> None:
        nonlocal count
        count += 1
        if count == MESSAGES:
            whole.set()

    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.on_connect = lambda client, *_: client.subscribe("bench/#", 1)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = count_one
    client.connect("127.0.0.1", server.port)
    client.loop_start()
    ready.wait(20)
    with sending(server.port) as go:
        taken = timed(go, lambda: whole.wait(60))
    client.disconnect()
    client.loop_stop()
    return taken


def timed(go: Callable[[], object], wait: Callable[[], object]) -> tuple[float, float]:
    begin, cpu = time.perf_counter(), time.process_time()
    go()
    wait()
    return time.perf_counter() - begin, time.process_time() - cpu


def collected(server: Server, folder: Path) -> tuple[float, float]:
    """The same for the whole collector, until they are committed.

    The broker waits with the next once IN_FLIGHT are not acknowledged: so all but the last few were acknowledged.
    """
    folder.mkdir()
    source = f'[[source]]\nid = "b"\nkind = "mqtt"\nhost = "127.0.0.1"\nport = {server.port}\ntopic = ["bench/#"]\n'
    decode = f'[source.decode]\nkind = "json_map"\n{FIELDS}'
    settings = shops.shop(folder, source + decode, shops.probe("P1", "b", name="bench/p", interval_s=1))
    ended = threading.Event()
    collector = threading.Thread(target=app.collect, args=(settings, SystemClock(), ended.is_set))
    collector.start()
    wait_until(lambda: subscribed(server, settings), "the collector is subscribed", 30)
    store = open_reader(settings.readings_db, READINGS)
    with sending(server.port) as go:
        taken = timed(go, lambda: wait_for(store, 1000 * (FIRST + MESSAGES - 1)))
    store.close()
    ended.set()
    collector.join()
    return taken


def subscribed(server: Server, settings: Settings) -> bool:
    """Sends one early reading until it is stored."""
    sender = RawSender(server.port)
    sender.send([("bench/p", numbered(0, FIRST - 1))])
    sender.close()
    try:
        return newest(settings) is not None
    except NotYet:
        return False


def newest(settings: Settings) -> int | None:
    reader = Reader.open(settings.readings_db)
    try:
        return max((reading.at for reading in reader.newest()), default=None)
    finally:
        reader.close()


LONGEST_S = 120.0


def wait_for(store: apsw.Connection, last: int) -> None:
    """Looks a hundred times a second, at the end of a key: a look costs the collector next to nothing."""
    end = time.monotonic() + LONGEST_S
    while (store.execute("SELECT max(t) FROM reading").get or 0) < last:
        assert time.monotonic() < end, f"waited {LONGEST_S:g} s in vain for the last reading"
        time.sleep(0.01)


def measure() -> dict[str, Found]:
    return dict([*decoding(), *serial(), *mqtt(), *storing()])


SECTION = Section("taking-in", "Taking in what probes send", ROWS, measure)
