"""One-wire temperature sensors as Linux shows them: each device's file, read again and again.

Reading a file makes its sensor measure, which takes most of a second, and one line serves one sensor at a time; so
they are read one after the other. Devices that a probe names are read whether they are there or not: what is missing
is told by the decoder. Others that are found are read too, so that `listen` shows the id of a new one.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from collector.arrival import Arrival
from collector.clock import Clock
from collector.decode.w1_slave import FAMILIES, MAX_BYTES, PLAIN
from collector.patience import rest

W1_SLAVE, TEMPERATURE = "w1_slave", "temperature"
"""The first one that is there is read: only w1_slave brings the sensor's bytes, and with them its CRC."""
_DEVICE = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")


class OneWireFolderSource:
    """Hands over each device's file as it is, with the device's id as topic; empty if it cannot be read.

    devices  the ids that probes name
    """

    def __init__(
        self,
        id: str,
        folder: Path,
        devices: Sequence[str],
        interval_s: float,
        clock: Clock,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.id = id
        self._folder = folder
        self._devices = devices
        self._interval_s = interval_s
        self._clock = clock
        self._monotonic = monotonic
        self._state = "waiting"

    @property
    def state(self) -> str:
        return self._state

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        """A round every interval until stopped; a round that takes longer is followed by the next at once."""
        while not stop():
            began = self._monotonic()
            try:
                silent = self._round(self._present(), put, stop)
                self._state = f"failed: {', '.join(silent)} cannot be read" if silent else "connected"
            except OSError as error:
                self._state = f"failed: {self._folder}: {error.strerror}: is the one-wire driver loaded?"
            rest(began + self._interval_s - self._monotonic(), stop)
        self._state = "waiting"

    def _present(self) -> set[str]:
        names = {path.name for path in self._folder.iterdir()}
        return {name for name in names if _DEVICE.fullmatch(name) and name[:2] in FAMILIES}

    def _round(
        self, present: set[str], put: Callable[[Arrival], None], stop: Callable[[], bool]
    ) -> list[str]:
        """Reads every device once; returns those of our probes that gave nothing."""
        silent = []
        for device in sorted(present | set(self._devices)):
            if stop():
                break
            topic, payload = _read(self._folder, device)
            if not payload and device in self._devices:
                silent.append(device)
            put(Arrival(self.id, payload, self._clock.now(), topic=topic))
        return silent


def _read(folder: Path, device: str) -> tuple[str, bytes]:
    """The device's file, and its topic; empty if there is none, or if the kernel cannot read the sensor."""
    for name, topic in ((W1_SLAVE, device), (TEMPERATURE, device + PLAIN)):
        try:
            with (folder / device / name).open("rb") as file:
                return topic, file.read(MAX_BYTES + 1)
        except FileNotFoundError:
            continue
        except OSError:
            break
    return device, b""
