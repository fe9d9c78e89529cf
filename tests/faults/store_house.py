"""Pipeline, writer and upkeep put together as collect does, on a disk that can be broken; clocks in the test's hand."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import Quantity
from collector.store.ballast import Ballast
from collector.store.reader import Reader
from collector.store.trouble import TroubleFile, read
from collector.store.writer import Writer
from collector.upkeep import LOOK_S, Upkeep
from tests.collector.shops import probe, serial, shop
from tests.faults.broken_disk import BrokenDisk, broken_disk

T0 = 1_795_600_000_000
BALLAST_BYTES = 100_000


class Waits:
    """Stands for the growing wait of the pipeline: each wait ends at once, after the next of `then` was done."""

    def __init__(self) -> None:
        self.pauses = 0
        self.then: list[object] = []

    def pause(self, stop: object) -> None:
        self.pauses += 1
        assert self.pauses < 10_000, "the pipeline waits for something that does not come"
        if self.then:
            self.then.pop(0)()  # type: ignore[operator]

    def reset(self) -> None:
        pass


class StoreHouse:
    """One shop with one probe S1; `say` puts a value in, `work` runs the pipeline until all of it is dealt with."""

    def __init__(self, at: Path, disk: BrokenDisk) -> None:
        self.disk = disk
        self.clock = SteppedClock(T0)
        self.seconds = 0.0
        self.settings = shop(at, serial("/dev/null"), probe("S1", "usb"))
        self.readings = self.settings.readings_db
        self.troubles = TroubleFile(self.settings.data_folder)
        self.ballast_file = self.settings.data_folder / "ballast"
        self.ballast = Ballast(self.ballast_file, BALLAST_BYTES)
        self.writer = Writer.open(self.readings, self.clock, vfs=disk.name)
        self.writer.connection.set_busy_timeout(1)
        self.upkeep = Upkeep(
            self.writer, self.readings, self.clock, self.troubles, self.ballast, lambda: self.seconds
        )
        self.pipeline = Pipeline(self.settings, self.writer, self.clock, stand_by=self.upkeep)
        self.done: list[float] = []

    def say(self, value: float) -> None:
        self.clock.at += 10_000
        payload = f"S1 T={value}".encode()
        self.pipeline.put(Arrival("usb", payload, self.clock.at, done=lambda: self.done.append(value)))

    def work(self) -> bool:
        all_stored = self.pipeline.run(lambda: True)
        self.pipeline._closed = False  # it goes on when the test says more
        return all_stored

    def quiet(self) -> None:
        """A quiet time long enough for a look at everything."""
        self.seconds += LOOK_S
        for _ in range(200):
            self.upkeep.quiet()

    def stored(self) -> list[float]:
        reader = Reader.open(self.readings)
        try:
            return reader.samples("S1", Quantity.TEMPERATURE, 0, 2**60)[1].tolist()
        finally:
            reader.close()

    def told(self) -> list[str]:
        return [trouble.kind.value for trouble in read(self.readings)]

    def close(self) -> None:
        self.writer.close()
        self.troubles.close()


@contextmanager
def store_house(at: Path) -> Iterator[StoreHouse]:
    with broken_disk() as disk:
        house = StoreHouse(at, disk)
        try:
            yield house
        finally:
            disk.fault = None
            house.close()
