"""A serial port, on a real pseudo-terminal: only whole lines, and always again after a fault."""

from __future__ import annotations

import contextlib
import os
import termios
import tty
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.decode.text_line import MAX_LINE
from collector.sources.serial_port import CUT, LineAssembler, SerialPortSource
from tests.collector.sources.threads import Running, ends
from tests.services import wait_until

T0 = 1_795_600_000_000


def assembled(*chunks: bytes) -> list[bytes]:
    assembler = LineAssembler()
    return [line for chunk in chunks for line in assembler.feed(chunk)]


CASES = {
    "the first fragment is dropped": (b".21\nS1 T=15.21\n", [b"S1 T=15.21"]),
    "CR LF": (b"\nS1 T=1\r\nS2 T=2\r\n", [b"S1 T=1", b"S2 T=2"]),
    "a lone CR ends nothing": (b"\nS1 T=1\rS2 T=2\n", [b"S1 T=1\rS2 T=2"]),
    "blank lines come through": (b"\n\n\r\nS1 T=1\n", [b"", b"", b"S1 T=1"]),
    "an unfinished line does not come": (b"\nS1 T=1\nS1 T=2", [b"S1 T=1"]),
    "a line of the greatest length": (b"\n" + b"x" * MAX_LINE + b"\r\n", [b"x" * MAX_LINE]),
    "an endless line comes once, too long": (b"\n" + b"x" * 5000 + b"\nS1 T=1\n", [b"x" * CUT, b"S1 T=1"]),
    "an endless beginning is dropped": (b"x" * 5000 + b"\nS1 T=1\n", [b"S1 T=1"]),
}


@pytest.mark.parametrize(("stream", "lines"), CASES.values(), ids=CASES.keys())
def test_lines_are_the_same_whole_byte_by_byte_and_with_a_tail(stream: bytes, lines: list[bytes]) -> None:
    assert assembled(stream) == lines
    assert assembled(*(stream[i : i + 1] for i in range(len(stream)))) == lines
    assert assembled(stream, b"tail") == lines


@given(st.binary(max_size=800), st.lists(st.integers(0, 800), max_size=8))
def test_how_the_stream_is_cut_makes_no_difference(stream: bytes, cuts: list[int]) -> None:
    edges = [0, *sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    pieces = [stream[a:b] for a, b in pairwise(edges)]
    assert assembled(*pieces) == assembled(stream)


def test_endless_bytes_need_no_more_memory_than_a_line() -> None:
    assembler = LineAssembler()
    for _ in range(1000):
        list(assembler.feed(b"x" * 1000))
    assert len(assembler._part) <= CUT
    assert list(assembler.feed(b"\nS1 T=1\n")) == [b"S1 T=1"]


class Device:
    """The far end of a pseudo-terminal, reached through a link as by-id links are."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.plug_in()

    def plug_in(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(slave))
        os.close(slave)

    def unplug(self) -> None:
        os.close(self.master)
        self.link.unlink()

    def send(self, data: bytes) -> None:
        os.write(self.master, data)


class Reading(Running):
    """A serial source in its own thread."""

    @property
    def lines(self) -> list[bytes]:
        return [arrival.payload for arrival in self.arrivals]


@pytest.fixture
def device(tmp_path: Path) -> Iterator[Device]:
    device = Device(tmp_path / "usb-invented-if00")
    yield device
    with contextlib.suppress(OSError):
        os.close(device.master)


def reading(device: Device) -> contextlib.AbstractContextManager[Reading]:
    return ends(Reading(SerialPortSource("usb", str(device.link), 115200, SteppedClock(T0))))


def test_lines_arrive_with_the_time_of_their_arrival(device: Device) -> None:
    with reading(device) as source:
        wait_until(lambda: source.source.state == "connected", "the port is open")
        device.send(b"2.1\nS1 T=12.5\r\nS1 T=12.6\r\n")
        wait_until(lambda: len(source.arrivals) == 2, "two lines")
        assert source.lines == [b"S1 T=12.5", b"S1 T=12.6"]
        assert source.arrivals[0] == Arrival("usb", b"S1 T=12.5", T0)


def test_a_pause_inside_a_number_makes_no_second_line(
    device: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    read, seen = serial.Serial.read, []
    monkeypatch.setattr(serial.Serial, "read", lambda port, size=1: seen.append(read(port, size)) or seen[-1])
    with reading(device) as source:
        wait_until(lambda: source.source.state == "connected", "the port is open")
        device.send(b"\nS1 T=2")
        wait_until(lambda: b"".join(seen).endswith(b"T=2") and seen[-1] == b"", "a read after it timed out")
        device.send(b"1.5\n")
        wait_until(lambda: bool(source.arrivals), "one line")
        assert source.lines == [b"S1 T=21.5"]


def test_an_unplugged_device_is_told_and_read_again_after_it_is_back(device: Device) -> None:
    with reading(device) as source:
        wait_until(lambda: source.source.state == "connected", "the port is open")
        device.send(b"\nS1 T=1")
        device.unplug()
        wait_until(lambda: source.source.state.startswith("failed"), "the loss is noticed")
        device.plug_in()  # under another name; the link leads to it
        wait_until(lambda: source.source.state == "connected", "the port is open again")
        device.send(b"5\nS1 T=7\n")
        wait_until(lambda: bool(source.arrivals), "a line")
        assert source.lines == [b"S1 T=7"], "the halves of two lines are no line"


def test_a_port_that_is_not_there_yet_is_told_in_words_and_opened_later(device: Device) -> None:
    device.unplug()
    with reading(device) as source:
        wait_until(lambda: source.source.state.startswith("failed"), "the port is missing")
        assert "no such port: plug the device in" in source.source.state
        device.plug_in()
        wait_until(lambda: source.source.state == "connected", "the port is open")


def test_a_second_program_on_the_port_is_told_and_the_port_taken_when_it_is_free(device: Device) -> None:
    with serial.Serial(str(device.link), exclusive=True), reading(device) as source:
        wait_until(lambda: source.source.state.startswith("failed"), "the port is busy")
        assert "another program has the port open" in source.source.state
    with reading(device) as source:
        wait_until(lambda: source.source.state == "connected", "the port is free")


@pytest.mark.parametrize("error", [OSError(5, "Input/output error"), TypeError("closed"), ValueError("baud")])
def test_every_exception_a_port_raises_ends_in_another_attempt(
    device: Device, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    for fault in (error, termios.error(5, "Input/output error")):
        faults = [fault]
        whole = serial.Serial.read

        def read(port: serial.Serial, size: int = 1, faults: list = faults, whole=whole) -> bytes:
            if faults:
                raise faults.pop()
            return whole(port, size)

        with monkeypatch.context() as patch:
            patch.setattr(serial.Serial, "read", read)
            with reading(device) as source:
                wait_until(lambda faults=faults: not faults, "the fault happened")
                wait_until(lambda source=source: source.source.state == "connected", "it is open again")
