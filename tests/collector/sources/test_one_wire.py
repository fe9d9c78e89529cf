"""One-wire sensors in a real folder of the shape Linux gives them."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.decode.w1_slave import W1SlaveDecoder
from collector.settings import W1Slave
from collector.sources.one_wire import OneWireFolderSource
from tests.collector.sources.threads import Running, running
from tests.services import wait_until

T0 = 1_795_600_000_000
OURS = "28-00000000ab01"
GOOD = b"c8 00 4b 46 7f ff 08 10 02 : crc=02 YES\nc8 00 4b 46 7f ff 08 10 02 t=12500\n"


def reading(
    folder: Path, *devices: str, interval_s: float = 0.05
) -> contextlib.AbstractContextManager[Running]:
    return running(OneWireFolderSource("pins", folder, devices, interval_s, SteppedClock(T0)))


def device(folder: Path, name: str = OURS, content: bytes = GOOD, file: str = "w1_slave") -> Path:
    path = folder / name / file
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


def kinds(arrival: Arrival) -> list[str]:
    return [refusal.kind for refusal in W1SlaveDecoder(W1Slave(kind="w1_slave")).decode(arrival).refused]


def test_each_device_is_handed_over_as_linux_writes_it_with_its_id(tmp_path: Path) -> None:
    device(tmp_path)
    device(tmp_path, "28-00000000ab02", b"9125\n", "temperature")
    device(tmp_path, "w1_bus_master1", b"", "w1_master_slaves")
    device(tmp_path, "10-00000000ab03")
    with reading(tmp_path, OURS) as source:
        wait_until(lambda: len(source.arrivals) >= 4, "two rounds")
        assert source.state == "connected"
        assert source.arrivals[0] == Arrival("pins", GOOD, T0, topic=OURS)
        assert source.heard() == {OURS: GOOD, "28-00000000ab02/temperature": b"9125\n"}


def test_a_device_that_is_gone_is_refused_with_its_reason_and_heard_again_when_it_is_back(
    tmp_path: Path,
) -> None:
    path = device(tmp_path)
    device(tmp_path, "28-00000000ab02")
    with reading(tmp_path, OURS) as source:
        wait_until(lambda: source.state == "connected", "both are heard")
        path.unlink()
        path.parent.rmdir()
        wait_until(lambda: source.state == f"failed: {OURS} cannot be read", "it is missed")
        wait_until(lambda: source.heard()[OURS] == b"", "nothing is handed over for it")
        gone = next(arrival for arrival in source.arrivals if arrival.payload == b"")
        assert kinds(gone) == ["no answer"]
        assert source.heard()["28-00000000ab02"] == GOOD
        device(tmp_path)
        wait_until(lambda: source.state == "connected", "it is back")


def test_a_folder_that_is_not_there_is_told_and_tried_again(tmp_path: Path) -> None:
    folder = tmp_path / "devices"
    with reading(folder, OURS) as source:
        wait_until(lambda: source.state.startswith("failed"), "it is told")
        assert "is the one-wire driver loaded?" in source.state
        device(folder)
        wait_until(lambda: source.state == "connected", "it is read")


def test_a_file_that_cannot_be_read_counts_as_no_answer(tmp_path: Path) -> None:
    """The kernel answers a read with an error when the sensor does not answer; a folder does so too."""
    (tmp_path / OURS / "w1_slave").mkdir(parents=True)
    with reading(tmp_path, OURS) as source:
        wait_until(lambda: len(source.arrivals) >= 2, "two rounds")
        assert source.heard() == {OURS: b""}


def test_a_slow_sensor_is_waited_for_and_stamped_with_the_time_its_value_came(tmp_path: Path) -> None:
    """A pipe stands in for the kernel's file, whose reader waits until the sensor has measured."""
    slow = tmp_path / OURS / "w1_slave"
    slow.parent.mkdir()
    os.mkfifo(slow)
    device(tmp_path, "28-00000000ab02")
    with reading(tmp_path, OURS, interval_s=3600.0) as source:
        clock = source.source._clock
        assert isinstance(clock, SteppedClock)
        with slow.open("wb") as kernel:  # opens once the source waits for it
            assert source.arrivals == []
            clock.at = T0 + 750
            kernel.write(GOOD)
        wait_until(lambda: len(source.arrivals) == 2, "both are heard")
        assert source.arrivals[0] == Arrival("pins", GOOD, T0 + 750, topic=OURS)
