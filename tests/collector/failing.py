"""A store that fails now and then while messages come in from a real broker, and a collector that dies of it."""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import apsw

from collector.arrival import Arrival
from collector.clock import SystemClock
from collector.patience import GrowingWait
from collector.pipeline import Pipeline
from collector.reading import Quantity
from collector.settings import MqttSource, Settings
from collector.sources.mqtt import MqttClientSource
from collector.store.reader import Reader
from collector.store.writer import Committed, Writer
from tests.collector import shops
from tests.raw_mqtt import RawSender
from tests.services import Server, mosquitto, running, wait_until

PASSING = (apsw.FullError, apsw.BusyError, apsw.IOError, apsw.ReadOnlyError)
"""What a full disk, another tool's lock, a bad card and a read-only remount raise."""
FIRST = 1_795_000_000
SENML = '[[source]]\nid = "broker"\nkind = "mqtt"\nhost = "127.0.0.1"\nport = {}\ntopic = ["shed/#"]\n'
DECODE = '[source.decode]\nkind = "senml"\n'


@dataclass
class Faults:
    """What was done, and what came of it. early: acknowledged while their row was not in the store."""

    injected: int = 0
    deaths: int = 0
    sent: int = 0
    acknowledged: int = 0
    early: list[int] = field(default_factory=list)
    stored: list[tuple[int, float]] = field(default_factory=list)
    conflicts: int = 0


class FailingWriter:
    """A Writer whose commits fail: before anything is written, or after all of it was; or for good."""

    def __init__(self, writer: Writer, random: Random, faults: Faults) -> None:
        self._writer = writer
        self._random = random
        self._faults = faults
        self.spared = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._writer, name)

    def commit(self, *batch: Any, **more: Any) -> Committed:
        fate = 1.0 if self.spared else self._random.random()
        if fate >= 0.6:
            return self._writer.commit(*batch, **more)
        self._faults.injected += 1
        if fate < 0.05:
            self._faults.deaths += 1
            raise apsw.CorruptError("injected: nothing mends this")
        if fate < 0.15:
            self._writer.commit(*batch, **more)  # the answer was lost, the rows were not
        raise self._random.choice(PASSING)("injected")


class Collector:
    """Source, pipeline and store in threads, until the store's error ends them or they are told to."""

    def __init__(self, settings: Settings, random: Random, faults: Faults) -> None:
        self.dead = threading.Event()
        self._settings, self._random, self._faults = settings, random, faults
        self._stop = threading.Event()
        self._ready = threading.Event()
        self._threads = [threading.Thread(target=self._store), threading.Thread(target=self._listen)]
        for thread in self._threads:
            thread.start()
        wait_until(self._ready.is_set, "the store is open")

    def spare(self) -> None:
        """No more faults from here on."""
        self._writer.spared = True

    def _store(self) -> None:
        writer = Writer.open(self._settings.readings_db, SystemClock())
        self._writer = FailingWriter(writer, self._random, self._faults)
        self._pipeline = Pipeline(self._settings, self._writer, SystemClock())  # type: ignore[arg-type]
        self._reader = Reader(writer.connection)
        self._ready.set()
        try:
            self._pipeline.run(self._stop.is_set)
        except apsw.CorruptError:
            self.dead.set()
        finally:
            writer.close()

    def _listen(self) -> None:
        self._ready.wait(20)
        (settings,) = self._settings.source
        assert isinstance(settings, MqttSource)
        source = MqttClientSource(settings, "invented", SystemClock())
        source.run(self._put, lambda: self._stop.is_set() or self.dead.is_set())

    def _put(self, arrival: Arrival) -> None:
        done = arrival.done

        def checked() -> None:
            """Called in the store's thread, as the message is about to be acknowledged."""
            at = json.loads(arrival.payload)[0]["t"] * 1000
            self._faults.acknowledged += 1
            if not len(self._reader.samples("S1", Quantity.TEMPERATURE, at, at)[0]):
                self._faults.early.append(at)
            assert done is not None
            done()

        self._pipeline.put(arrival._replace(done=checked))

    def end(self) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(20)
            assert not thread.is_alive()


def message(number: int) -> tuple[str, bytes]:
    record = {"n": "S1", "u": "Cel", "t": FIRST + number, "v": round(5 + number / 1000, 3)}
    return "shed/s1", json.dumps([record]).encode()


def fail_while_messages_come(folder: Path, at_least: int, seed: int, monkeypatch: Any) -> Faults:
    """Sends and fails until so many commits have failed, then lets all of it through."""
    monkeypatch.setattr(GrowingWait, "pause", lambda self, stop: None)
    faults, random = Faults(), Random(seed)
    with running(mosquitto(folder / "broker")) as broker:
        settings = shops.shop(folder, SENML.format(broker.port) + DECODE, shops.probe("S1", "broker"))
        collector = Collector(settings, random, faults)
        try:
            subscribed(broker, settings, faults)
            while faults.injected < at_least:
                send(broker, faults, 50)
                if collector.dead.is_set():
                    collector.end()
                    collector = Collector(settings, random, faults)
            while True:
                collector.spare()
                if not collector.dead.is_set():
                    break
                collector.end()
                collector = Collector(settings, random, faults)
            wait_until(lambda: len(stored(settings)) >= faults.sent, "all that was sent", 60)
        finally:
            collector.end()
        faults.stored = stored(settings)
        faults.conflicts = conflicts(settings)
    return faults


def subscribed(broker: Server, settings: Settings, faults: Faults) -> None:
    """Sends the first reading until it is stored: the session is there."""

    def heard() -> bool:
        sender = RawSender(broker.port)
        sender.send([message(0)])
        sender.close()
        return len(stored(settings)) == 1

    wait_until(heard, "the first reading in the store", 60)
    faults.sent = 1


def send(broker: Server, faults: Faults, count: int) -> None:
    sender = RawSender(broker.port)
    sender.send(message(faults.sent + number) for number in range(count))
    sender.close()
    faults.sent += count


def stored(settings: Settings) -> list[tuple[int, float]]:
    reader = Reader.open(settings.readings_db)
    try:
        at, value, _ = reader.samples("S1", Quantity.TEMPERATURE, 0, 2**52)
        return list(zip(at.tolist(), value.tolist(), strict=True))
    finally:
        reader.close()


def conflicts(settings: Settings) -> int:
    reader = Reader.open(settings.readings_db)
    try:
        return reader.conflicts()
    finally:
        reader.close()


def assert_kept(faults: Faults) -> None:
    """Nothing acknowledged was missing at that moment; nothing sent is missing or doubled in the end."""
    assert faults.early == [], faults
    assert faults.deaths > 0, faults
    assert_stored(faults)


def assert_stored(faults: Faults) -> None:
    expected = [((FIRST + number) * 1000, round(5 + number / 1000, 3)) for number in range(faults.sent)]
    assert faults.stored == expected, faults
    assert faults.conflicts == 0, faults
