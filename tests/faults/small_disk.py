"""Run as a program on a small file system: `small_disk.py FOLDER` fills it, goes on on the reserve, prints what came.

Beside the disk all is real: pipeline, writer, upkeep and ballast as collect puts them together.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from collector import pipeline as pipelines
from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.opening import NoStart, open_or_begin, tell_troubles
from collector.pipeline import Pipeline
from collector.settings import parse
from collector.store.ballast import Ballast
from collector.store.trouble import read
from collector.upkeep import LOOK_S, Upkeep

SETTINGS = """
site = "invented"
time_zone = "Europe/Oslo"
[[source]]
id = "usb"
kind = "serial"
port = "/dev/null"
[source.decode]
kind = "text_line"
field = [{ key = "T", quantity = "temperature", unit = "degC" }]
[[probe]]
id = "S1"
source = "usb"
zone = "shed"
place = "surface"
interval_s = 10
"""


class NoWait:
    def pause(self, stop: object) -> None:
        pass

    def reset(self) -> None:
        pass


class SmallDisk:
    """Says values until told to stop; counts what was said and what was told to be safe."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = SteppedClock(1_795_600_000_000)
        self.settings = parse(SETTINGS, folder / "coldshed.toml")
        self.seconds = 0.0
        self.said = self.done = 0

    def run(self) -> dict[str, object]:
        ballast = Ballast(self.settings.data_folder / "ballast", 500_000)
        with tell_troubles(self.settings.data_folder, ballast) as troubles:
            writer = open_or_begin(self.settings.readings_db, self.clock, ballast, troubles)
            upkeep = Upkeep(
                writer, self.settings.readings_db, self.clock, troubles, ballast, lambda: self.seconds
            )
            self.pipeline = Pipeline(self.settings, writer, self.clock, stand_by=upkeep)
            upkeep.quiet()
            assert (self.settings.data_folder / "ballast").exists()
            self.fill()
            while not self.told():
                self.say_some()
            found: dict[str, object] = {"told_on_reserve": self.told()}
            writer.connection.execute("DELETE FROM tally")
            writer.connection.execute("DELETE FROM reading WHERE t % 20000 = 0")
            found["deleted"] = writer.connection.changes()
            deleted = int(str(found["deleted"]))
            while "disk full" not in self.told():
                self.say_some()
            count = "SELECT count(*) FROM reading"
            found |= {"told_at_last": self.told()[:1], "done_at_last": self.done, "said": self.said}
            found["stored_at_last"] = writer.connection.execute(count).get + deleted
            (self.folder / "junk").unlink()
            self.pipeline.run(lambda: True)
            self.seconds += LOOK_S
            upkeep.quiet()
            found["stored_in_the_end"] = writer.connection.execute(count).get + deleted
            found["told_in_the_end"] = self.told()
            writer.close()
        return found

    def fill(self) -> None:
        """All that is left but a little, so that the next commits meet the end of the disk."""
        with (self.folder / "junk").open("wb", buffering=0) as junk:
            try:
                while True:
                    junk.write(bytes(4096))
            except OSError:
                pass

    def say_some(self) -> None:
        for _ in range(50):
            self.clock.at += 10_000
            self.said += 1
            self.pipeline.put(Arrival("usb", b"S1 T=%d.5" % (self.said % 30), self.clock.at, done=self.safe))
        self.pipeline.run(lambda: True)
        self.pipeline._closed = False  # it goes on

    def safe(self) -> None:
        self.done += 1

    def told(self) -> list[str]:
        return [trouble.kind.value for trouble in read(self.settings.readings_db)]


if __name__ == "__main__":
    pipelines.GrowingWait = NoWait  # type: ignore[misc, assignment]
    try:
        found = SmallDisk(Path(sys.argv[1])).run()
    except NoStart as error:
        found = {"refused": str(error)}
    json.dump(found, sys.stdout)
