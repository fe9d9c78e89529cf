"""A whole shop for some minutes: collect, watch and serve under run, real files, a real broker, probes that speak.

    python -P -m tests.bench.whole_house [MINUTES] [garage|hall]

Garage: 8 probes, 5 panels. Hall: 200 probes, 1,000 panels. All send every ten seconds of real time. Readings are
invented. Memory is the sum of what each process has resident (Rss), where what they share counts for each of them;
what it is with shared pages counted once (Pss) stands beside it. Processor time is what the system charged to them.
Broker and sender are not counted.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from collector.clock import SystemClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.schema import NotYet, open_reader
from collector.store.writer import Writer
from dashboard.logbook import Logbook
from dashboard.panel import Event
from dashboard.watch_store import WATCH
from tests.bench.line import Line
from tests.bench.pages import Connection
from tests.collector import shops
from tests.raw_mqtt import RawSender
from tests.services import free_port, mosquitto, running, wait_until

SECOND, MINUTE, HOUR = 1_000, 60_000, 3_600_000
EVERY_MS = 10 * SECOND
CARD = "invented-25min"
PER_AIR = 5
"""Every fifth probe hangs in the air and tells its humidity too."""
A_ZONE = 20
"""Probes in a zone: only those of one zone are compared with one another."""
COMMIT = 4000


@dataclass(frozen=True)
class Scene:
    """Limits: memory in MB (Rss) and processor time in % of one core, of all processes; of watch alone; a page in ms.

    page_s   one asks for the Morning round so often
    past_h   hours of readings that are there at the start; life_h  age of the oldest panel
    """

    name: str
    probes: int
    panels: int
    past_h: int
    life_h: int
    memory_MB: float
    cpu: float | None
    watch_cpu: float | None
    page_s: float
    page_ms: float = 100.0


GARAGE = Scene("one garage", 8, 5, 15 * 24, 48, 250.0, 3.0, None, 10.0)
HALL = Scene("1,000 panels", 200, 1000, 24, 20, 500.0, None, 100.0, 1.0)
SCENES = {"garage": GARAGE, "hall": HALL}


def value_C(number: int, at: int) -> float:
    swing = 5.0 * math.sin(at / HOUR / 24 * 2 * math.pi)
    return round(12.0 + swing + (at // EVERY_MS * 7 + number) % 11 / 100, 2)


class House:
    """Files of a shop as they are after a while, and what its probes send."""

    def __init__(self, folder: Path, scene: Scene, broker: int) -> None:
        self.scene, self.folder, self.port = scene, folder, free_port()
        self.names = [f"P{number:03}" for number in range(scene.probes)]
        self.settings = folder / "coldshed.toml"
        tables = [
            shops.probe(
                name,
                "broker",
                zone=f"hall {number // A_ZONE + 1}",
                place="surface" if number % PER_AIR else "air",
                name=f"shed/{name}",
            )
            for number, name in enumerate(self.names)
        ]
        self.settings.write_text(
            shops.shop_text([shops.broker(broker), f"[serve]\nport = {self.port}\n", *tables])
        )
        self.data = folder / "data"
        self.data.mkdir(mode=0o700)
        self._read(SystemClock().now())
        self._lay()

    def _read(self, now: int) -> None:
        writer = Writer.open(self.data / "readings.db", SystemClock())
        writer.describe([ProbeFacts(name, "shed", "surface", 10.0, 0.8) for name in self.names])
        found: list[Reading] = []
        for at in range(now - self.scene.past_h * HOUR, now, EVERY_MS):
            for number, name in enumerate(self.names):
                found.append(Reading(name, Quantity.TEMPERATURE, value_C(number, at), at, at))
                if number % PER_AIR == 0:
                    found.append(Reading(name, Quantity.RELATIVE_HUMIDITY, 70.0, at, at))
            if len(found) >= COMMIT:
                writer.commit(found)
                found = []
        writer.commit(found)
        writer.close()

    def _lay(self) -> None:
        """Panels one after the other: the youngest coat is being mixed as the shop starts."""
        logbook = Logbook(self.data / "shop.db", lambda: [CARD]).open()
        surfaces = [name for i, name in enumerate(self.names) if i % PER_AIR]
        airs = self.names[::PER_AIR]
        now, step = SystemClock().now(), self.scene.life_h * HOUR // self.scene.panels
        for number in range(self.scene.panels):
            at = now - (self.scene.panels - number) * step
            zone = number % len(surfaces) // A_ZONE + 1
            about = {
                "name": f"Panel {number}", "zone": f"hall {zone}", "surface_probe": surfaces[number % len(surfaces)],
                "air_probe": airs[number % len(airs)], "substrate": "wood",
            }  # fmt: skip
            panel = f"panel-{number}"
            logbook.append(Event(f"p{number}", at, at, "x", "panel registered", panel, about))
            coat = {"card": CARD, "applied_at": at}
            logbook.append(Event(f"c{number}", at, at, "x", "coat mixed", panel, coat))
        logbook.close()

    def message(self, number: int, at: int) -> tuple[str, bytes]:
        said = {"T": value_C(number, at)} | ({} if number % PER_AIR else {"RH": 70.0})
        return f"shed/{self.names[number]}", json.dumps(said).encode()


@contextmanager
def speaking(house: House, broker: int) -> Iterator[None]:
    """All probes every ten seconds, spread over them as probes that know nothing of each other are."""
    ended = threading.Event()

    def speak() -> None:
        sender = RawSender(broker)
        begun, sent = time.monotonic(), 0
        while not ended.is_set():
            due = int((time.monotonic() - begun) * 1000 * len(house.names) / EVERY_MS)
            if due > sent:
                now = SystemClock().now()
                sender.send(house.message(one % len(house.names), now) for one in range(sent, due))
                sent = due
            ended.wait(0.25)
        sender.close()

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


@contextmanager
def started(house: House) -> Iterator[subprocess.Popen[bytes]]:
    command = [sys.executable, "-P", "-m", "tests.bench.timed_run", str(house.settings)]
    rounds = {"ROUNDS": str(house.folder / "rounds")}
    with (house.folder / "log").open("wb") as log:
        process = subprocess.Popen(command, env=os.environ | rounds, stdout=log, stderr=log)
        try:
            yield process
        finally:
            process.terminate()
            process.wait(30)


@dataclass(frozen=True)
class Used:
    """Of one process: processor time so far, s, and memory, MB."""

    cpu_s: float
    pss_MB: float
    rss_MB: float


TICKS_S = os.sysconf("SC_CLK_TCK")


def used(pid: int) -> Used:
    """As the system counts it: /proc/PID/stat and /proc/PID/smaps_rollup."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    rollup = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]
    kB = {name: int(value.split()[0]) for name, _, value in (line.partition(":") for line in rollup)}
    return Used((int(fields[11]) + int(fields[12])) / TICKS_S, kB["Pss"] / 1024, kB["Rss"] / 1024)


def family(pid: int) -> dict[str, int]:
    """run and the processes it started, by what they do."""
    found = {"run": pid}
    for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        words = Path(f"/proc/{child}/cmdline").read_bytes().split(b"\0")
        names = [name for name in ("collect", "watch", "serve") if name.encode() in words]
        found |= dict.fromkeys(names, int(child))  # none while it is only just being started
    return found


@dataclass
class Answers:
    """What is in watch.db: how many panels have an answer, and the age of the oldest, ms."""

    count: int
    oldest_ms: int


def answers(house: House) -> Answers:
    try:
        connection = open_reader(house.data / WATCH.name, WATCH)
    except NotYet:
        return Answers(0, 0)
    try:
        count, first = connection.execute("SELECT count(*), min(at) FROM assessment").get
    finally:
        connection.close()
    return Answers(int(count), SystemClock().now() - int(first or 0))


def each_process(scene: Scene, cpu: dict[str, float], after: dict[str, Used]) -> Iterator[Line]:
    for name, one in after.items():
        limit = scene.watch_cpu if name == "watch" else None
        yield Line(f"  {name}: of one core", cpu[name], "%", limit)
        yield Line("    memory (Rss)", one.rss_MB, "MB")


def watched(house: House, process: subprocess.Popen[bytes], minutes: float) -> list[Line]:
    """After all panels have been answered once: what is used over so many minutes, and pages asked for."""
    scene, begun = house.scene, time.monotonic()
    wait_until(lambda: answers(house).count == scene.panels, "every panel is answered", 1800)
    lines = [Line(f"{scene.name}: all answered after the start", time.monotonic() - begun, "s")]
    until = time.monotonic() + 60
    while time.monotonic() < until:
        time.sleep(1)
    page = Connection(house.port)
    page.get("/")
    pids = family(process.pid)
    before, begun = {name: used(pid) for name, pid in pids.items()}, time.monotonic()
    taken, most_MB, most_pss_MB, oldest = [], 0.0, 0.0, 0
    while (left := minutes * 60 - (time.monotonic() - begun)) > 0:
        asked = time.perf_counter()
        answer, _ = page.get("/")
        taken.append(1000 * (time.perf_counter() - asked))
        oldest = max(oldest, answers(house).oldest_ms)
        now = [used(pid) for pid in pids.values()]
        most_MB = max(most_MB, sum(one.rss_MB for one in now))
        most_pss_MB = max(most_pss_MB, sum(one.pss_MB for one in now))
        time.sleep(min(scene.page_s, left))
    seconds = time.monotonic() - begun
    after = {name: used(pid) for name, pid in pids.items()}
    cpu = {name: 100 * (after[name].cpu_s - before[name].cpu_s) / seconds for name in pids}
    rounds = [line.split() for line in (house.folder / "rounds").read_text().splitlines()]
    told = [(float(took), float(cpu_s)) for at, took, cpu_s in rounds if float(at) >= begun]
    return [
        *lines,
        *each_process(scene, cpu, after),
        Line("  all: of one core", sum(cpu.values()), "%", scene.cpu),
        Line("  all: memory (Rss), at most", most_MB, "MB", scene.memory_MB),
        Line("  all: memory, shared pages counted once (Pss), at most", most_pss_MB, "MB", scene.memory_MB),
        Line("  watch: longest round", max(took for took, _ in told), "s", 10.0),
        Line("  watch: longest round, processor time", max(cpu_s for _, cpu_s in told), "s"),
        Line("  watch: oldest answer of a panel", oldest / SECOND, "s", 90.0),
        Line("  Morning round, median", median(taken), "ms", scene.page_ms),
        Line("  Morning round, longest of " + str(len(taken)), max(taken), "ms"),
        Line("  Morning round, packed", len(answer) / 1000, "kB"),
    ]


def run(scene: Scene, minutes: float) -> list[Line]:
    folder = Path(tempfile.mkdtemp())
    try:
        server = mosquitto(folder / "broker")
        with running(server):
            house = House(folder, scene, server.port)
            with speaking(house, server.port), started(house) as process:
                load = Line("load of the machine at the end", os.getloadavg()[1], "")
                return [*watched(house, process, minutes), load]
    finally:
        shutil.rmtree(folder)


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    for name in sys.argv[2:] or SCENES:
        for line in run(SCENES[name], minutes):
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
