"""A recorded night, sent again: the same readings at any speed, through the real pipeline into a real store."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.decode import decoder_of
from collector.pipeline import Pipeline
from collector.reading import Reading
from collector.recording import Recorder
from collector.settings import Settings
from collector.sources import source_for
from collector.sources.cold_night import scene_lines
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.collector.shops import LINES, probe, shop
from tests.services import wait_until

T0 = 1_795_600_000_000
HOUR = 3_600_000
NIGHT = 3 * HOUR
OSLO = ZoneInfo("Europe/Oslo")


def replay(file: Path, id: str = "usb", **more: object) -> str:
    keys = "".join(f"{key} = {value!r}\n" for key, value in more.items()).replace("'", '"')
    return f'[[source]]\nid = "{id}"\nkind = "replay"\nfile = "{file}"\n{keys}{LINES}'


def recorded_night(path: Path) -> list[Arrival]:
    """Three hours of the invented shop, with the probes of another source in between."""
    night = [Arrival("usb", line, at) for at, line in scene_lines(1, T0, T0 + NIGHT, OSLO)]
    with Recorder(path) as recorder:
        for number, arrival in enumerate(night):
            recorder.add(arrival)
            if number % 100 == 0:
                recorder.add(Arrival("other", b"X T=99", arrival.received))
    return night


def shop_of(at: Path, source: str) -> Settings:
    return shop(at, source, *(probe(name, "usb") for name in ("S1", "S2", "A1", "A2")))


def stored(settings: Settings, sent: list[Arrival]) -> list[Reading]:
    """All rows of the store after these arrivals went through the pipeline."""
    writer = Writer.open(settings.readings_db, SteppedClock(T0))
    try:
        Pipeline(settings, writer, SteppedClock(T0), at_most=1000).take_all(sent)
        rows, _ = Reader(writer.connection).readings_after(0, 1_000_000)
        return sorted(rows, key=lambda row: (row.at, row.probe, row.quantity))
    finally:
        writer.close()


class Replaying(threading.Thread):
    def __init__(self, settings: Settings, clock: SteppedClock) -> None:
        super().__init__(daemon=True)
        self.source = source_for(settings.source[0], settings, clock)
        self.arrivals: list[Arrival] = []
        self.ended = threading.Event()

    def run(self) -> None:
        self.source.run(self.arrivals.append, self.ended.is_set)


@contextlib.contextmanager
def replaying(settings: Settings, clock: SteppedClock) -> Iterator[Replaying]:
    thread = Replaying(settings, clock)
    thread.start()
    try:
        yield thread
    finally:
        thread.ended.set()
        thread.join(5)
        assert not thread.is_alive()


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Arrival]]:
    path = tmp_path_factory.mktemp("recorded") / "night.rec"
    return path, recorded_night(path)


@pytest.mark.parametrize("speed", [1, 60, 5000])
def test_each_line_comes_when_its_moment_has_come(
    tmp_path: Path, night: tuple[Path, list[Arrival]], speed: int
) -> None:
    path, sent = night
    clock = SteppedClock(T0 + 100 * HOUR)
    with replaying(shop_of(tmp_path, replay(path, speed=speed)), clock) as source:
        for minutes in (0, 1, 7, 60, 180):
            passed = 60_000 * minutes // speed
            clock.at = T0 + 100 * HOUR + passed
            due = [item for item in sent if (item.received - sent[0].received) / speed <= passed]
            wait_until(lambda due=due: len(source.arrivals) >= len(due), f"{minutes} minutes of the night")
            assert source.arrivals == due


def test_a_night_replayed_is_stored_as_the_night_was(
    tmp_path: Path, night: tuple[Path, list[Arrival]]
) -> None:
    """And a second time through adds nothing; shifted by a day, every time is a day later and nothing else differs."""
    path, sent = night
    live = stored(shop_of(tmp_path / "live", f'[[source]]\nid = "usb"\nkind = "simulated"\n{LINES}'), sent)
    assert len(live) > 2000
    for day in (0, 86_400):
        settings = shop_of(tmp_path / f"replayed{day}", replay(path, speed=1_000_000, shift_s=day))
        clock = SteppedClock(T0)
        with replaying(settings, clock) as source:
            clock.at += NIGHT
            wait_until(lambda source=source: len(source.arrivals) == len(sent), "the whole night")
        rows = stored(settings, source.arrivals)
        later = [replace(row, at=row.at + 1000 * day, received=row.received + 1000 * day) for row in live]
        assert rows == later
        assert stored(settings, source.arrivals) == rows


def test_times_inside_the_payloads_are_shifted_too(tmp_path: Path) -> None:
    senml = b'[{"bn": "S1", "bt": 1795600000, "u": "Cel", "v": 12.5}, {"u": "Cel", "v": 12.6, "bt": -60}]'
    table = '[[source]]\nid = "broker"\nkind = "replay"\nfile = "x"\nshift_s = -3600\n'
    settings = shop(tmp_path, table + '[source.decode]\nkind = "senml"\n')
    decoder = decoder_of(settings.source[0])
    decoded = decoder.decode(Arrival("broker", senml, T0 - HOUR))
    assert [sample.at for sample in decoded.samples] == [T0 - HOUR, T0 - 60_000 - HOUR]
    timeless = decoder.decode(Arrival("broker", b'[{"n": "S1", "u": "Cel", "v": 12.5}]', T0 - HOUR))
    assert [sample.at for sample in timeless.samples] == [None]


def test_one_source_of_a_recording_is_taken_under_another_name(
    tmp_path: Path, night: tuple[Path, list[Arrival]]
) -> None:
    path, sent = night
    settings = shop(tmp_path, replay(path, id="again", recorded_as="other", speed=1_000_000))
    clock = SteppedClock(T0)
    with replaying(settings, clock) as source:
        clock.at += NIGHT
        wait_until(lambda: len(source.arrivals) == len(sent[::100]), "every line of the other source")
        assert {(arrival.source, arrival.payload) for arrival in source.arrivals} == {("again", b"X T=99")}
        assert [arrival.received for arrival in source.arrivals] == [item.received for item in sent[::100]]
        wait_until(lambda: source.source.state == "waiting", "it has ended")


def test_a_missing_file_is_tried_again_and_a_false_one_is_told_of(tmp_path: Path) -> None:
    settings = shop(tmp_path, replay(tmp_path / "night.rec"))
    with replaying(settings, SteppedClock(T0)) as source:
        wait_until(lambda: "No such file" in source.source.state, "it is missing")
        with Recorder(tmp_path / "new.rec") as recorder:
            recorder.add(Arrival("usb", b"S1 T=1", T0))
        (tmp_path / "new.rec").rename(tmp_path / "night.rec")
        wait_until(lambda: len(source.arrivals) == 1, "it is found")
    (tmp_path / "night.rec").write_text("time,panel\n", encoding="utf-8")
    with replaying(settings, SteppedClock(T0)) as source:
        wait_until(lambda: "night.rec:1: not a recording" in source.source.state, "it is told")
