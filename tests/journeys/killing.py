"""Kills at random moments of the collector, the broker and watch, while a probe goes on sending."""

from __future__ import annotations

import signal
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from collector.store.reader import Reader
from collector.store.schema import NotYet
from dashboard.logbook import LogbookReader
from dashboard.watch_store import WatchReader
from tests.journeys.senders import brokers, senml
from tests.journeys.shop import HOUR_MS, Process, Shop, now_ms, opened
from tests.raw_mqtt import RawSender
from tests.services import Server, mosquitto, running, wait_until

AGAIN_S = 2.0
"""After a new connection the probe sends once more what was acknowledged in so long before the last acknowledgement,
however long the broker was away. Mosquitto 2.0.11 saves after it has acknowledged; firmware_notes/firmware.md asks for
five minutes, which here would be the whole test."""
RESTART_S = 10.0
STORED_S = 60.0
"""After a broker that went three times in a row the collector rests 30 s before it tries again."""
FIRST = 1_795_000_000
MOST_BETWEEN = 40


class Probe(threading.Thread):
    """Numbered readings with times of their own, one after the other, each kept until it is acknowledged."""

    def __init__(self, port: int) -> None:
        super().__init__(daemon=True)
        self._port = port
        self._lately: deque[tuple[float, int]] = deque()
        self._ended = threading.Event()
        self.acknowledged = 0

    def run(self) -> None:
        while not self._ended.is_set():
            try:
                self._talk(RawSender(self._port))
            except OSError:
                self._ended.wait(0.02)

    def _talk(self, sender: RawSender) -> None:
        try:
            sender.send([message(number) for _, number in self._lately])
            while not self._ended.is_set():
                sender.send([message(self.acknowledged)])
                self._lately.append((time.monotonic(), self.acknowledged))
                self.acknowledged += 1
                while self._lately[-1][0] - self._lately[0][0] > AGAIN_S:
                    self._lately.popleft()
                self._ended.wait(0.004)
        finally:
            sender.close()

    def end(self) -> int:
        """How many were acknowledged in all."""
        self._ended.set()
        self.join(20)
        return self.acknowledged


def message(number: int) -> tuple[str, bytes]:
    return senml([FIRST + number], first=round(5 + number / 1000, 3))


@dataclass
class Toll:
    """What the kills did. restarts: seconds from a collector's start to the first row it stored."""

    acknowledged: int = 0
    stored: list[tuple[int, float]] = field(default_factory=list)
    conflicts: int = 0
    sound: bool = False
    kills: dict[str, int] = field(default_factory=dict)
    restarts: list[float] = field(default_factory=list)
    forgotten: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        worst = max(self.restarts, default=0.0)
        middle = sorted(self.restarts)[len(self.restarts) // 2] if self.restarts else 0.0
        return (
            f"{self.kills}: {self.acknowledged} acknowledged, {len(self.stored)} stored, "
            f"first row after {middle:.2f} s, at worst {worst:.2f} s"
        )


class Killer:
    """A shop of processes that are killed and started again."""

    def __init__(self, shop: Shop, broker: Server, seed: int) -> None:
        self._shop = shop
        self._broker = broker
        self._random = Random(seed)
        self._running: dict[str, Process] = {}
        self._watch = WatchReader(
            shop.folder / "data" / "watch.db", LogbookReader(shop.folder / "data" / "shop.db")
        )
        self.toll = Toll()

    def run(self, kills: int) -> Toll:
        for name in ("collect", "watch"):
            self._running[name] = self._shop.start(name)
        wait_until(lambda: self._said() > 0, "watch says something")
        # A broker keeps a message for those who have subscribed to it, and acknowledges it if nobody has.
        subscribed = "source broker: connected"
        wait_until(lambda: subscribed in self._running["collect"].said(), "collect has subscribed")
        probe = Probe(self._broker.port)
        probe.start()
        try:
            self._wait_for_rows()
            for _ in range(kills):
                self._another(probe)
            said = self._said()
            wait_until(lambda: self._said() > said, "watch says more after all that", 30)
        finally:
            self.toll.acknowledged = probe.end()
        self._judge()
        return self.toll

    def _another(self, probe: Probe) -> None:
        """Waits for a random number of acknowledged readings, then kills one of the three."""
        more = probe.acknowledged + self._random.randrange(1, MOST_BETWEEN)
        wait_until(lambda: probe.acknowledged >= more, "the broker acknowledges more", 30)
        name = self._random.choice(["collect", "collect", "broker", "watch"])
        said = self._said()
        if name == "broker":
            self._broker.kill()
            self._broker.start()
        else:
            self._running[name].kill()
            self._running[name] = self._shop.start(name)
        if name == "collect":
            self._wait_for_rows()
        if self._said() < said:
            self.toll.forgotten.append(
                f"watch had said {said} things, and after a kill of {name} {self._said()}"
            )
        self.toll.kills[name] = self.toll.kills.get(name, 0) + 1

    def _wait_for_rows(self) -> None:
        begun, before = time.monotonic(), self._batches()
        wait_until(lambda: self._batches() > before, "the first row after a start", RESTART_S)
        self.toll.restarts.append(time.monotonic() - begun)

    def _batches(self) -> int:
        return self._read(Reader.last_batch) or 0

    def _read(self, ask: Callable[[Reader], int]) -> int | None:
        try:
            reader = Reader.open(self._shop.readings)
        except NotYet:
            return None
        try:
            return ask(reader)
        finally:
            reader.close()

    def _said(self) -> int:
        try:
            return self._watch.version()
        except NotYet:
            return 0

    def _missing(self) -> list[int]:
        """Numbers that were acknowledged and are not stored."""
        stored = {at for at, _ in self._shop.stored("S2")}
        return [number for number in range(self.toll.acknowledged) if (FIRST + number) * 1000 not in stored]

    def _judge(self) -> None:
        toll = self.toll
        try:
            wait_until(lambda: not self._missing(), "all that was acknowledged", STORED_S)
        except AssertionError as error:
            raise AssertionError(f"{error}; missing: {self._missing()}, of {toll}") from None
        toll.stored, toll.conflicts = self._shop.stored("S2"), self._shop.conflicts()
        reader = Reader.open(self._shop.readings)
        toll.sound = reader._connection.pragma("integrity_check") == "ok"
        reader.close()


def kill_at_random(folder: Path, kills: int, seed: int) -> Toll:
    """A shop with a panel, its probe behind a broker that saves each change; so many kills, one after the other."""
    with running(mosquitto(folder / "broker")) as broker, opened(folder, brokers(broker.port)) as shop:
        serve = shop.start("serve")
        shop.ready()
        shop.coat(shop.register("Hull", "S2"), now_ms() - HOUR_MS)
        serve.signal(signal.SIGTERM)
        serve.wait()
        return Killer(shop, broker, seed).run(kills)


def assert_nothing_lost(toll: Toll) -> None:
    """0 acknowledged lost, 0 doubled. One more may be stored than acknowledged: its answer died with the broker."""
    expected = [((FIRST + number) * 1000, round(5 + number / 1000, 3)) for number in range(len(toll.stored))]
    assert toll.stored == expected, toll
    assert len(toll.stored) - toll.acknowledged in (0, 1), toll
    assert toll.conflicts == 0, toll
    assert toll.sound, toll
    assert toll.forgotten == []
    assert set(toll.kills) == {"collect", "broker", "watch"}, toll
