"""Listens to the ways of a draft, all at once, and remembers of each device what it last said. Nothing is stored."""

from __future__ import annotations

import logging
import secrets
import threading
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

from collector.app import SourceThread
from collector.arrival import Arrival, Source
from collector.clock import Clock
from collector.first_run.draft import AnyWay, BrokerWay, FolderWay, OneWireWay, SerialWay
from collector.first_run.facts import Way
from collector.first_run.sniff import Number, Sniffed, sniff
from collector.source_tables import MqttSource, SenML
from collector.sources.mqtt import MqttClientSource
from collector.sources.one_wire import OneWireFolderSource
from collector.sources.serial_port import SerialPortSource

log = logging.getLogger("coldshed.set-up")

WINDOW_MS = 60_000
MAX_DEVICES = 200
"""A broker may carry a whole house: beyond so many, further devices are not shown."""
BAUDS = (115200, 9600, 57600, 38400, 19200, 4800)
"""Tried one after the other while what arrives is no text."""
RAW_SHOWN = 80


@dataclass
class Heard:
    """One device: its numbers of the last minute by (name, key), the newest last, and when it sent."""

    way: str
    sniffed: Sniffed
    at: int
    minute: dict[tuple[str, str], deque[tuple[int, float]]] = field(default_factory=dict)
    times: deque[int] = field(default_factory=lambda: deque(maxlen=12))
    own_time: bool = True
    inner: set[str] = field(default_factory=set)
    """Names that the payloads themselves gave."""

    def take(self, sniffed: Sniffed, at: int) -> None:
        self.own_time = self.own_time and sniffed.time is not None
        if len(self.inner) < 2:
            self.inner.add(sniffed.inner)
        names = tuple(sorted({*self.sniffed.names, *sniffed.names}))
        numbers = {(n.name, n.key): n for n in (*self.sniffed.numbers, *sniffed.numbers)}
        self.sniffed = Sniffed(sniffed.decode, sniffed.scope, names, tuple(numbers.values()), sniffed.time)
        self.at = at
        if not self.times or at > self.times[-1]:
            self.times.append(at)
        for number in sniffed.numbers:
            key = number.name, number.key
            kept = self.minute.setdefault(key, deque(maxlen=600))
            kept.append((at, number.sent))
            while kept[0][0] < at - WINDOW_MS:
                kept.popleft()

    def newest(self, number: Number) -> tuple[float, float]:
        """What it last sent, and how far that lies above the least of the minute before it."""
        kept = self.minute[number.name, number.key]
        return kept[-1][1], kept[-1][1] - min(value for _, value in kept)

    @property
    def every_s(self) -> float | None:
        gaps = [
            (after - before) / 1000 for before, after in zip(self.times, list(self.times)[1:], strict=False)
        ]
        return median(gaps) if gaps else None


@dataclass
class _Ear:
    way: AnyWay
    thread: SourceThread | None = None
    ended: bool = False
    heard: int = 0
    unread: str = ""
    trouble: str = ""

    def told(self) -> Way:
        state = self.thread.state if self.thread else "connected"
        return Way(
            self.way.id, self.way.kind, _text(self.way), self.trouble or state, self.heard, self.unread
        )


class Ears:
    """Threads for the ways of a draft; what they hear is asked for with heard() and ways()."""

    def __init__(self, clock: Clock, folder: Path) -> None:
        """`folder`: that of the settings, to which names of files are relative."""
        self._clock, self._folder = clock, folder
        self._lock = threading.Lock()
        self._ears: dict[str, _Ear] = {}
        self._heard: dict[tuple[str, str, str], Heard] = {}
        self._session = f"set-up-{secrets.token_hex(4)}"  # the broker must not take us for collect

    def open(self, way: AnyWay) -> None:
        """Begins to listen; to a way of the same id, anew."""
        self.close(way.id)
        ear = _Ear(way)
        self._ears[way.id] = ear
        if isinstance(way, FolderWay):
            return  # its files are looked at, not used up
        try:
            source = self._source(way)
        except ValueError as error:  # a topic that MQTT does not know
            ear.trouble = f"failed: {error}"
            return
        ear.thread = SourceThread(source)
        ear.thread.start(lambda arrival: self._take(ear, arrival), lambda: ear.ended)

    def close(self, id: str) -> None:
        """Stops listening to it; its thread ends within the time of one wait."""
        ear = self._ears.pop(id, None)
        if ear is not None:
            ear.ended = True
            if ear.thread is not None:
                ear.thread.join()
        with self._lock:
            self._heard = {key: heard for key, heard in self._heard.items() if key[0] != id}

    def close_all(self) -> None:
        for ear in self._ears.values():
            ear.ended = True
        for id in list(self._ears):
            self.close(id)

    def turn(self) -> list[SerialWay]:
        """Tries the next baud rate where what arrives is no text; returns the ways that were changed."""
        changed = []
        for ear in list(self._ears.values()):
            if (
                isinstance(ear.way, SerialWay)
                and ear.thread
                and "is no text" in ear.thread.state
                and not ear.heard
            ):
                after = (BAUDS.index(ear.way.baud) + 1) % len(BAUDS) if ear.way.baud in BAUDS else 0
                changed.append(ear.way.model_copy(update={"baud": BAUDS[after]}))
        for way in changed:
            self.open(way)
        return changed

    def ways(self) -> list[Way]:
        """Each, with its state."""
        return [ear.told() for ear in self._ears.values()]

    def fail(self, id: str, why: str) -> None:
        """Says why nothing can be heard there."""
        self._ears[id].trouble = f"failed: {why}"

    def heard(self) -> list[Heard]:
        """Every device, in the order in which they were first heard."""
        with self._lock:
            return list(self._heard.values())

    def tell(self, way: str, sniffed: Sniffed) -> None:
        """Takes down what was found by looking, as in a logger's file."""
        self._keep(way, sniffed, self._clock.now())

    def _take(self, ear: _Ear, arrival: Arrival) -> None:
        if arrival.done is not None:  # our session ends with us: nothing is taken from collect
            arrival.done()
        if arrival.refusal is None:
            found, refused = sniff(ear.way.kind, arrival)
        else:
            found, refused = [], arrival.refusal
        if refused is not None:
            ear.unread = f"{_plain(arrival.payload[:RAW_SHOWN])} ({refused.kind}: {refused.text})"
        for sniffed in found:
            ear.heard += 1
            self._keep(ear.way.id, sniffed, arrival.received)

    def _keep(self, way: str, sniffed: Sniffed, at: int) -> None:
        with self._lock:
            key = way, sniffed.scope, sniffed.names[0]
            heard = self._heard.get(key)
            if heard is None:
                if len(self._heard) >= MAX_DEVICES:
                    return
                heard = self._heard[key] = Heard(way, sniffed, at)
            heard.take(sniffed, at)

    def _source(self, way: SerialWay | BrokerWay | OneWireWay) -> Source:
        match way:
            case SerialWay():
                return SerialPortSource(way.id, way.port, way.baud, self._clock)
            case OneWireWay():
                return OneWireFolderSource(way.id, self._folder / way.folder, (), 5.0, self._clock)
        login = MqttSource(**way.model_dump(exclude={"kind"}), kind="mqtt", decode=SenML(kind="senml"))
        return MqttClientSource(login.with_files_in(self._folder), self._session, self._clock, lasting=False)


def _text(way: AnyWay) -> str:
    match way:
        case SerialWay():
            return f"{way.port}, {way.baud} baud"
        case BrokerWay():
            topics = "" if way.topic == ("#",) else f", {', '.join(way.topic)}"
            return f"{way.host}:{way.port}{topics}"
    return way.folder


def _plain(payload: bytes) -> str:
    """Without control characters: payloads are foreign, and a terminal obeys some of them."""
    return "".join(c if c.isprintable() else "?" for c in payload.decode("utf-8", "replace"))
