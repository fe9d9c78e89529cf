"""`coldshed demo`: an invented shop on a cold morning, its night taken in by the real pipeline, then in time-lapse."""

from __future__ import annotations

import argparse
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from datetime import time as clock_time
from importlib.resources import as_file, files
from pathlib import Path
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.arrival import Arrival
from collector.clock import DemoClock, SteppedClock
from collector.pipeline import Pipeline
from collector.settings import Settings, SimulatedSource
from collector.sources.cold_night import scene_lines
from collector.store.writer import Writer
from collector.supervise import Stop, Supervisor
from dashboard.cli.errors import CommandError
from dashboard.cli.processes import commands, must_be_free
from dashboard.logbook import Logbook
from dashboard.panel import Event

NIGHTS = 3
"""So many nights are in the log before the one that is shown, so that the outlook has something to go by."""
SEED_BATCH = 600
OWN_CARD = "own-25min"


@dataclass(frozen=True)
class Told:
    """One panel of the shop; `coats` as (days before the morning shown, local time of mixing)."""

    name: str
    zone: str
    surface: str
    air: str
    substrate: str
    coats: tuple[tuple[int, str], ...]


SHOP = (
    Told("Skiff deck 2", "warm room", "S3", "A2", "wood", ((1, "13:00"), (0, "01:30"))),
    Told("Lid 4", "shed", "S2", "A1", "composite mould", ((1, "11:30"), (1, "17:00"))),
    Told("Rib 1", "shed", "S4", "A1", "wood", ((1, "14:00"),)),
    Told("Box A", "warm room", "S3", "A2", "foam", ((2, "14:00"), (2, "18:00"), (2, "22:30"))),
    Told("Plug 7", "shed", "S1", "A1", "foam", ((1, "11:00"), (1, "19:00"))),
)


def demo(arguments: argparse.Namespace) -> int:
    """Lays the shop out, takes the night in, and runs it until a signal."""
    if not arguments.rate > 0:
        raise CommandError(f"--rate {arguments.rate}: it must be above 0")
    with _folder(arguments.folder) as folder:
        must_be_free("127.0.0.1", arguments.port, "name another with --port")
        settings = lay_out(folder, arguments.port)
        start = _morning(settings, arguments.start)
        print("coldshed demo: an invented shop, an invented night. Taking the night in ...", flush=True)
        take_in_night(settings, start)
        log_coats(settings, start)
        clock = DemoClock(start, time.monotonic(), arguments.rate).spell()
        print(
            f"\n  open http://127.0.0.1:{settings.serve.port}\n\n"
            f"It is {arguments.start} there and time runs {arguments.rate:g} times as fast. Stop with Ctrl-C.\n",
            flush=True,
        )
        names = ["collect", "watch", "serve", *(["notify"] if settings.notices else [])]
        children = commands(names, folder / "coldshed.toml", clock)
        return Supervisor(children).run(Stop().on_signals())


def lay_out(folder: Path, port: int) -> Settings:
    """Copies the invented shop's settings and card into `folder`. Raises CommandError if something is there."""
    target = folder / "coldshed.toml"
    if target.exists() or (folder / "data").exists():
        raise CommandError(f"{folder} holds a shop already: name an empty folder, nothing was changed")
    folder.mkdir(parents=True, exist_ok=True)
    with as_file(files("dashboard") / "demo_shop") as shop:
        shutil.copytree(shop, folder, dirs_exist_ok=True)
    text = target.read_text(encoding="utf-8")
    target.write_text(re.sub(r"(?m)^port = \d+$", f"port = {port}", text), encoding="utf-8")
    return settings_file.load(target)


def take_in_night(settings: Settings, until: int) -> None:
    """The nights before `until` (UTC ms), line by line through decode, checks and store, at full speed."""
    source = settings.source[0]
    assert isinstance(source, SimulatedSource)
    first = until - (NIGHTS * 24 + 12) * 3_600_000
    clock = SteppedClock(first)
    writer = Writer.open(settings.readings_db, clock)
    try:
        Pipeline(settings, writer, clock, at_most=SEED_BATCH).take_all(
            _lines(settings, source, clock, first, until)
        )
    finally:
        writer.close()


def _lines(
    settings: Settings, source: SimulatedSource, clock: SteppedClock, first: int, until: int
) -> Iterator[Arrival]:
    for at, line in scene_lines(source.seed, first, until, ZoneInfo(settings.time_zone)):
        clock.at = at
        yield Arrival(source.id, line, at)


def log_coats(settings: Settings, morning: int) -> None:
    """Takes down what the people of the shop did before the morning (UTC ms)."""
    zone = ZoneInfo(settings.time_zone)
    logbook = Logbook(settings.shop_db).open()
    try:
        for told in SHOP:
            panel = told.name.lower().replace(" ", "-")
            mixed = [_local_ms(morning, zone, days, hour) for days, hour in told.coats]
            body = {
                "name": told.name, "zone": told.zone, "surface_probe": told.surface, "air_probe": told.air,
                "substrate": told.substrate,
            }  # fmt: skip
            registered = mixed[0] - 600_000
            logbook.append(
                Event(f"demo-{panel}", registered, registered, "shop", "panel registered", panel, body)
            )
            for number, at in enumerate(mixed, start=1):
                on = at + 900_000
                coat = {"card": OWN_CARD, "applied_at": on, "kind": "laminate"}
                logbook.append(Event(f"demo-{panel}-{number}", at, on, "shop", "coat mixed", panel, coat))
    finally:
        logbook.close()


def _local_ms(morning: int, zone: ZoneInfo, days_before: int, hour: str) -> int:
    day = datetime.fromtimestamp(morning / 1000, zone).date() - timedelta(days=days_before)
    return round(datetime.combine(day, clock_time.fromisoformat(hour), zone).timestamp() * 1000)


def _morning(settings: Settings, start: str) -> int:
    """UTC ms of `start` (hh:mm) today in the shop's zone."""
    try:
        hour = clock_time.fromisoformat(start)
    except ValueError as error:
        raise CommandError(f"--start {start!r}: write a time such as 05:50") from error
    zone = ZoneInfo(settings.time_zone)
    return round(datetime.combine(datetime.now(zone).date(), hour, zone).timestamp() * 1000)


@contextmanager
def _folder(asked: Path | None) -> Iterator[Path]:
    """The folder asked for, kept; or a fresh one, gone afterwards."""
    if asked is not None:
        yield asked
        return
    with tempfile.TemporaryDirectory(prefix="coldshed-demo-") as made:
        yield Path(made)
