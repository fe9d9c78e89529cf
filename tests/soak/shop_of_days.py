"""Simulated days of 32 probes through the real pipeline into a real file, at full speed; a process of its own.

    python -P -c "from tests.soak.shop_of_days import main; main()" FOLDER DAYS SECONDS

Prints a line of JSON at the end of each day: what the process holds. Every so many seconds of its time each probe
says its line, and the house is put in order as collect does it: digests, removal of what is old, a look at the log.
A watch's Follower reads along. What both keep (by default all, and fifteen days) is cut to two days and one: only
then can memory and file come to rest within the test.
"""

from __future__ import annotations

import gc
import json
import os
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import dashboard.follow
from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.settings import Settings
from collector.store.ballast import Ballast
from collector.store.digests import DAY_MS
from collector.store.reader import Reader
from collector.store.trouble import TroubleFile
from collector.store.wal import wal_bytes
from collector.store.writer import Writer
from collector.upkeep import Upkeep
from dashboard.follow import Follower
from tests.collector.shops import probe, serial, shop

PROBES = 32
MINUTE_MS = 60_000
T0 = 20_780 * DAY_MS


def main() -> None:
    folder, days, seconds = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    dashboard.follow.KEPT_MS = DAY_MS
    House(folder).live(days, 1000 * seconds)


class House:
    """A collector without its sources, and its readers."""

    def __init__(self, folder: Path) -> None:
        names = [probe(f"P{i}", "usb") for i in range(PROBES)]
        self.settings: Settings = shop(folder, serial("/dev/null"), *names)
        self.clock = SteppedClock(T0)
        self.writer = Writer.open(self.settings.readings_db, self.clock)
        self.upkeep = Upkeep(
            self.writer,
            self.settings.readings_db,
            self.clock,
            TroubleFile(self.settings.data_folder),
            Ballast(self.settings.data_folder / "ballast"),
            monotonic=lambda: self.clock.at / 1000,
            keep_days=2,
        )
        self.pipeline = Pipeline(self.settings, self.writer, self.clock, stand_by=self.upkeep)
        self.follower = Follower(self.settings.readings_db, T0)
        self.largest_log = 0

    def live(self, days: int, round_ms: int) -> None:
        for day in range(days):
            for at in range(T0 + day * DAY_MS, T0 + (day + 1) * DAY_MS, round_ms):
                self.clock.at = at
                for arrival in lines(at):
                    self.pipeline.take(arrival)
                self.pipeline.flush()
                self.upkeep.quiet()
                self.largest_log = max(self.largest_log, wal_bytes(self.settings.readings_db))
                if at % MINUTE_MS == 0:
                    self.look(at)
            sys.stdout.write(json.dumps({"day": day, **self.held()}) + "\n")

    def look(self, at: int) -> None:
        """As a round of watch."""
        self.follower.keep(at)
        self.follower.refresh()

    def held(self) -> dict[str, int]:
        gc.collect()
        reader = Reader(self.writer.connection)
        return {
            "resident": resident_bytes(),
            "descriptors": len(os.listdir("/proc/self/fd")),
            "threads": threading.active_count(),
            "largest_log": self.largest_log,
            "batches": reader.last_batch(),
            "followed": sum(len(series.t) for series in self.follower._series.values()),
            "file": self.settings.readings_db.stat().st_size,
            "removed": int(self.writer.connection.execute("SELECT count(*) FROM removed").get),
        }


def resident_bytes() -> int:
    """Memory of this process that is in use, by the kernel's account."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


def lines(at: int) -> Iterator[Arrival]:
    """Invented values that never rest for long."""
    number = at // 10_000
    for i in range(PROBES):
        value = 12 + (number * 7 + i * 13) % 100 / 50
        yield Arrival("usb", f"P{i} T={value}".encode(), at)
