"""Faults of a serial line, on real pseudo-terminals: each test is named after its row of the list of faults."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial

from collector import listen
from collector.clock import SystemClock
from collector.pipeline import Pipeline
from collector.reading import Quantity
from collector.restraint import BURST, TIMES_FASTER
from collector.settings import Settings
from collector.sources import serial_port
from collector.sources.serial_port import SerialPortSource, explained
from collector.store.reader import Reader
from collector.store.writer import Writer
from dashboard.cli.check_wires import port_findings
from tests.collector import shops
from tests.collector.sources.test_serial_port import Device, reading
from tests.dashboard.cli.test_check import found
from tests.services import wait_until

T = Quantity.TEMPERATURE


@pytest.fixture
def device(tmp_path: Path) -> Iterator[Device]:
    device = Device(tmp_path / "usb-invented-if00")
    yield device
    os.close(device.master)


class House:
    """Ports, the real pipeline and the real store, in threads of their own."""

    def __init__(self, settings: Settings) -> None:
        clock = SystemClock()
        self.ready, self._ended = threading.Event(), threading.Event()
        self.sources = [SerialPortSource(s.id, s.port, s.baud, clock) for s in settings.source]
        self._settings = settings
        self._threads = [threading.Thread(target=self._store)]
        self._threads += [
            threading.Thread(target=source.run, args=(self.put, self._ended.is_set))
            for source in self.sources
        ]

    def put(self, arrival: object) -> None:
        self._pipeline.put(arrival)

    def _store(self) -> None:
        writer = Writer.open(self._settings.readings_db, SystemClock())
        self._pipeline = Pipeline(self._settings, writer, SystemClock())
        self.ready.set()
        self._pipeline.run(self._ended.is_set)
        writer.close()

    def __enter__(self) -> House:
        self._threads[0].start()
        wait_until(self.ready.is_set, "the store is open")
        for thread in self._threads[1:]:
            thread.start()
        self.reader = Reader.open(self._settings.readings_db)
        wait_until(lambda: all(source.state == "connected" for source in self.sources), "the ports are open")
        return self

    def __exit__(self, *error: object) -> None:
        self._ended.set()
        for thread in self._threads:
            thread.join(20)
        self.reader.close()

    def values(self, probe: str) -> list[float]:
        return self.reader.samples(probe, T, 0, 2**60)[1].tolist()

    def refused(self) -> dict[str, int]:
        return {tally.kind: tally.n for tally in self.reader.tallies()}


def one_port(device: Device, at: Path) -> House:
    return House(shops.shop(at, shops.serial(str(device.link)), shops.probe("S1", "usb")))


def test_b04_a_wrong_baud_rate_is_hinted_at_and_never_raises(device: Device) -> None:
    """What a UART makes of text at another rate has the high bit in about every other byte."""
    garbage = bytes((17 * number * number) % 256 for number in range(64)) * 8
    with reading(device) as source:
        wait_until(lambda: source.source.state == "connected", "the port is open")
        device.send(garbage)
        wait_until(lambda: "is baud = 115200 the device's own?" in source.source.state, "the hint")
        assert source.source.state.startswith("connected")
        for _ in range(20):
            device.send(b"S1 T=12.5\n" * 10)
        wait_until(lambda: source.source.state == "connected", "the hint is gone once text comes")
    assert not source.is_alive()


GARBLED = {
    "NUL bytes": b"S1 T=1\x002.5\n",
    "a degree sign in Latin-1": b"S1 T=12.5\xb0\n",
    "UTF-16": "S1 T=12.5\n".encode("utf-16-le"),
    "a lone CR": b"S1 T=12.5\rS1 T=13.5\n",
}


@pytest.mark.parametrize("name", GARBLED)
def test_b05_bytes_that_are_no_plain_text_are_refused_and_counted(
    device: Device, tmp_path: Path, name: str
) -> None:
    with one_port(device, tmp_path) as house:
        device.send(b"\n" + GARBLED[name] + b"\nS1 T=7\n")
        wait_until(lambda: house.values("S1") != [], "the good line after it")
        assert house.values("S1") == [7.0]
        assert house.refused()["garbage"] >= 1


def test_b09_an_adapter_without_a_serial_number_is_told_with_its_by_path_name(
    device: Device, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.path.realpath(device.link)
    for kind, name in (("by-id", "usb-invented-if00"), ("by-path", "platform-invented-usb-0:1.2:1.0")):
        (tmp_path / "links" / kind).mkdir(parents=True)
        (tmp_path / "links" / kind / name).symlink_to(real)
    by_id = str(tmp_path / "links" / "by-id" / "usb-invented-if00")
    for number, kind in ((None, "note"), ("A1B2", "ok")):
        plugged = [SimpleNamespace(device=real, serial_number=number, description="USB serial")]
        monkeypatch.setattr(listen.list_ports, "comports", lambda plugged=plugged: plugged)
        text = found(port_findings("source usb", by_id, links=tmp_path / "links"), kind)
        assert text, kind
        assert ("by-path/platform-invented-usb-0:1.2:1.0" in text) is (number is None)


def test_b11_a_port_that_may_not_be_opened_is_told_with_what_to_do() -> None:
    """The system's own error, as pyserial wraps it (serialposix.Serial.open). Root may open any port, so it is made."""
    wrapped = serial.SerialException(errno.EACCES, "could not open port: [Errno 13] Permission denied")
    assert "dialout" in explained(wrapped)


BANNER = (
    b"ets Jun  8 2016 00:22:57\r\n\r\nrst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)\r\n"
    b"load:0x3fff0018,len:4\r\nentry 0x400806a8\r\n\r\nfirmware 0.3 T sensor found at 0x76\r\n"
)
"""Invented, in the manner of a microcontroller's boot loader."""


def test_b12_a_boards_banner_after_its_reset_gives_no_reading(device: Device, tmp_path: Path) -> None:
    with one_port(device, tmp_path) as house:
        device.send(BANNER + b"S1 T=7\r\n" + BANNER + b"S1 T=8\r\n")
        wait_until(lambda: len(house.values("S1")) == 2, "the readings after each banner")
        assert house.values("S1") == [7.0, 8.0]
        assert house.sources[0].state == "connected"
        assert house.reader.heard() == []


def test_b13_a_port_closed_by_another_thread_is_opened_again(
    device: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[serial.Serial] = []
    really = serial_port.open_alone
    monkeypatch.setattr(serial_port, "open_alone", lambda *of: opened.append(really(*of)) or opened[-1])
    with reading(device) as source:
        wait_until(lambda: source.source.state == "connected", "the port is open")
        opened[0].close()
        wait_until(lambda: len(opened) > 1 and source.source.state == "connected", "it is open again")
        device.send(b"\nS1 T=7\n")
        wait_until(lambda: source.lines == [b"S1 T=7"], "a line after it")


class Storm(threading.Thread):
    """Sends as fast as the line takes it, until told to end."""

    def __init__(self, device: Device) -> None:
        super().__init__()
        self._device = device
        self.ended = threading.Event()
        self.sent = 0

    def run(self) -> None:
        while not self.ended.is_set():
            self._device.send(b"F1 T=12.5\n" * 20)
            self.sent += 20


def test_b14_a_device_that_sends_far_too_fast_is_held_back_and_counted_and_starves_nobody(
    device: Device, tmp_path: Path
) -> None:
    """The fast one fills its line without a rest; the other one's numbered lines all come, each of them once."""
    slow = Device(tmp_path / "usb-invented-if01")
    settings = shops.shop(
        tmp_path,
        shops.serial(str(device.link)),
        shops.serial(str(slow.link), "usb2"),
        shops.probe("F1", "usb", interval_s=10),
        shops.probe("S1", "usb2", interval_s=0.1),
    )
    storm = Storm(device)
    with House(settings) as house:
        device.send(b"\n")
        storm.start()
        try:
            wait_until(lambda: house.refused().get("too fast", 0) > 500, "the storm is held back")
            slow.send(b"\n")
            for number in range(20):
                slow.send(b"S1 T=1.%03d\n" % number)
                wait_until(lambda number=number: len(house.values("S1")) > number, "the slow one's line")
        finally:
            storm.ended.set()
            storm.join(20)
        assert house.values("S1") == [1 + number / 1000 for number in range(20)]
        at = house.reader.samples("F1", T, 0, 2**60)[0]
        seconds = (at[-1] - at[0]) / 1000
        assert BURST <= len(at) <= BURST + 2 + seconds / 10 * TIMES_FASTER
        said = [tally.last_text for tally in house.reader.tallies() if tally.kind == "too fast"]
    assert "F1: over 20 times in its interval_s" in said[0]
    os.close(slow.master)
