"""`listen`: what the sources send, in words, without storing or using up anything."""

from __future__ import annotations

import os
import threading
import tty
from pathlib import Path

import pytest
from paho.mqtt import publish
from paho.mqtt.enums import MQTTProtocolVersion

from collector import listen as listens
from collector.arrival import Arrival, Decoded, Refusal, Sample
from collector.clock import SteppedClock
from collector.listen import lines, listen, ports, print_ports
from collector.reading import Quantity
from collector.recording import Recorder, arrivals
from collector.settings import Settings
from tests.collector.shops import broker, folder, probe, serial, shop
from tests.services import mosquitto, running, wait_until

T0 = 1_795_600_000_000


def test_what_a_port_sends_is_shown_decoded_and_nothing_is_stored(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    settings = shop(tmp_path, serial(os.ttyname(slave)), folder(), probe("S1", "usb"))
    os.close(slave)
    stop, shown = threading.Event(), []
    thread = threading.Thread(target=listen, args=(settings, SteppedClock(T0), stop.is_set))
    thread.start()

    def has(text: str) -> bool:
        shown.append(capsys.readouterr().out)
        return text in "".join(shown)

    try:
        wait_until(lambda: has("-- usb: connected"), "the port is open")
        os.write(master, b"\nS1 T=12.5\nS9 T=1\nS1 T=nan\n")
        wait_until(lambda: has("refused (not a number)"), "three lines are shown")
    finally:
        stop.set()
        thread.join()
        os.close(master)
    text = "".join(shown)
    assert "09:46:40Z usb  S1 -> probe S1  temperature 12.50 degC" in text
    assert "S9 -> no probe claims this name  temperature 1.00 degC" in text
    assert list(tmp_path.iterdir()) == []


def test_what_is_heard_is_recorded_byte_for_byte(tmp_path: Path) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    settings = shop(tmp_path, serial(os.ttyname(slave)), probe("S1", "usb"))
    os.close(slave)
    stop, path = threading.Event(), tmp_path / "night.rec"
    with Recorder(path) as recorder:
        thread = threading.Thread(target=listen, args=(settings, SteppedClock(T0), stop.is_set, recorder))
        thread.start()
        try:
            wait_until(lambda: os.write(master, b"\n") and len(list(arrivals(path))) > 0, "the port is open")
            os.write(master, b"S1 T=12.5\n\xff\n")
            wait_until(lambda: "\\u00ff" in path.read_text(encoding="utf-8"), "both lines are recorded")
        finally:
            stop.set()
            thread.join()
            os.close(master)
    heard = [arrival for arrival in arrivals(path) if arrival.payload]
    assert [(arrival.source, arrival.payload) for arrival in heard] == [
        ("usb", b"S1 T=12.5"),
        ("usb", b"\xff"),
    ]


def test_a_broker_is_heard_for_as_long_as_one_listens_and_keeps_nothing_for_it_afterwards(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """More messages than a broker sends unacknowledged; what comes between two listenings does not wait."""
    with running(mosquitto(tmp_path / "broker")) as server:
        settings = shop(tmp_path, broker(server.port))
        first = heard(settings, server.port, 250, capsys)
        assert [f"shed/n{number} " in first for number in (0, 249)] == [True, True]
        send(server.port, ["between"])
        assert "between" not in heard(settings, server.port, 1, capsys)


def heard(settings: Settings, port: int, count: int, capsys: pytest.CaptureFixture[str]) -> str:
    """What listen prints until the last of n0, n1 ... has come."""
    stop, shown = threading.Event(), [""]
    thread = threading.Thread(target=listen, args=(settings, SteppedClock(T0), stop.is_set))
    thread.start()

    def has(text: str) -> bool:
        shown[0] += capsys.readouterr().out
        return text in shown[0]

    try:
        wait_until(lambda: has("-- broker: connected"), "the broker lets us in")
        send(port, [f"n{number}" for number in range(count)])
        wait_until(lambda: has(f"shed/n{count - 1} "), "the last of them is shown")
    finally:
        stop.set()
        thread.join()
    return shown[0]


def send(port: int, names: list[str]) -> None:
    messages = [{"topic": f"shed/{name}", "payload": '{"T": 12.5, "RH": 84.2}', "qos": 1} for name in names]
    publish.multiple(messages, "127.0.0.1", port, protocol=MQTTProtocolVersion.MQTTv5)


def test_foreign_text_cannot_command_the_terminal() -> None:
    arrival = Arrival("usb", b"", T0)
    decoded = Decoded([Sample("a\x1b[2Jb", Quantity.CO2, 400.0, None)], [Refusal("format", "x\ny\x07")])
    shown = lines(arrival, decoded, {})
    assert shown == [
        "09:46:40Z usb  a?[2Jb -> no probe claims this name  co2 400.00 ppm",
        "09:46:40Z usb  refused (format): x?y?",
    ]
    assert lines(Arrival("usb", b"\x00\x1b", T0), Decoded(), {}) == [
        "09:46:40Z usb  nothing in b'\\x00\\x1b'"
    ]


def test_a_shop_without_live_sources_has_nothing_to_listen_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert listen(shop(tmp_path, folder()), SteppedClock(T0), lambda: False) == 1
    assert "nothing to listen to" in capsys.readouterr().out


class Port:
    def __init__(self, device: str, serial_number: str | None) -> None:
        self.device = device
        self.serial_number = serial_number
        self.description = "USB adapter"


def test_ports_are_shown_by_their_lasting_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for number in range(3):
        (tmp_path / f"ttyUSB{number}").touch()
    for kind, name, number in (("by-id", "usb-a", 0), ("by-id", "usb-b", 1), ("by-path", "pci-1", 1)):
        (tmp_path / kind).mkdir(exist_ok=True)
        (tmp_path / kind / name).symlink_to(tmp_path / f"ttyUSB{number}")
    devices = [
        Port(f"{tmp_path}/ttyUSB0", "42"),
        Port(f"{tmp_path}/ttyUSB1", None),
        Port(f"{tmp_path}/ttyUSB2", None),
    ]
    monkeypatch.setattr(listens, "LINKS", tmp_path)
    monkeypatch.setattr(listens.list_ports, "comports", lambda: devices)
    assert [line.split()[0] for line in ports()] == [
        f"{tmp_path}/by-id/usb-a",
        f"{tmp_path}/by-path/pci-1",
        f"{tmp_path}/ttyUSB2",
    ]
    assert print_ports() == 0
    monkeypatch.setattr(listens.list_ports, "comports", lambda: [])
    assert print_ports() == 1
    assert "no serial port found" in capsys.readouterr().out
