"""From arrivals to committed rows: nothing is acknowledged before it is stored, nothing is lost by a full disk."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import apsw
import pytest

from collector import pipeline as pipelines
from collector.arrival import Arrival, Delivery, Outcome
from collector.clock import SteppedClock
from collector.pipeline import BACKLOG_ARRIVALS, BATCH_ARRIVALS, Pipeline
from collector.reading import Quality, Quantity
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.collector.shops import folder, probe, serial, shop
from tests.services import wait_until

T0 = 1_795_600_000_000
TEMPERATURE = Quantity.TEMPERATURE


class House:
    """A pipeline on a real file, and what its sources were told."""

    def __init__(self, at: Path) -> None:
        self.clock = SteppedClock(T0)
        self.settings = shop(at, serial("/dev/null"), folder(), probe("S1", "usb"), probe("L1", "logger"))
        self.writer = Writer.open(self.settings.readings_db, self.clock)
        self.pipeline = Pipeline(self.settings, self.writer, self.clock)
        self.reader = Reader.open(self.settings.readings_db)
        self.done: list[bytes] = []
        self.outcomes: list[Outcome] = []

    def arrival(self, payload: bytes, source: str = "usb", **more: object) -> Arrival:
        received = int(more.pop("received", self.clock.now()))
        return Arrival(
            source,
            payload,
            received,
            done=lambda: self.done.append(payload),
            outcome=self.outcomes.append,
            **more,
        )

    def fill_the_disk(self) -> None:
        """The file may not grow by one page more: SQLite then says what it says of a full disk."""
        self.writer.connection.pragma("max_page_count", self.writer.connection.pragma("page_count"))

    def free_the_disk(self) -> None:
        self.writer.connection.pragma("max_page_count", 1_000_000)

    def values(self, probe: str = "S1") -> list[float]:
        return self.reader.samples(probe, TEMPERATURE, 0, 2**60)[1].tolist()

    def tallies(self) -> dict[str, int]:
        return {tally.kind: tally.n for tally in self.reader.tallies()}


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path)
    yield house
    house.reader.close()
    house.writer.close()


def test_done_is_called_after_the_commit_and_not_before(house: House) -> None:
    house.pipeline.take(house.arrival(b"S1 T=12.5"))
    assert (house.done, house.values()) == ([], [])
    house.pipeline.flush()
    assert (house.done, house.values()) == ([b"S1 T=12.5"], [12.5])
    assert house.outcomes == [Outcome(1, ())]


def test_poison_is_counted_and_acknowledged(house: House) -> None:
    for payload in (b"\xff\xfe", b"S1 T=nan", b"S1 T=nan"):
        house.pipeline.take(house.arrival(payload))
    house.pipeline.flush()
    assert house.done == [b"\xff\xfe", b"S1 T=nan", b"S1 T=nan"]
    assert house.tallies() == {"garbage": 1, "not a number": 2}
    assert [outcome.readings for outcome in house.outcomes] == [0, 0, 0]
    assert house.reader.last_batch() == 0


def test_an_unknown_name_is_counted_and_kept_for_the_first_set_up(house: House) -> None:
    house.pipeline.take(house.arrival(b"S9 T=12.5"))
    house.pipeline.flush()
    assert house.tallies() == {"unknown name": 1}
    assert [(item.source, item.name, item.value) for item in house.reader.heard()] == [("usb", "S9", 12.5)]


def test_a_timeless_sample_that_is_not_live_is_stale_and_counted(house: House) -> None:
    house.pipeline.take(house.arrival(b"S1 T=12.5", live=False))
    house.pipeline.flush()
    assert (house.values(), house.tallies(), len(house.done)) == ([], {"stale": 1}, 1)


def test_a_file_keeps_its_own_times_and_is_late_only_after_newer_ones(house: House) -> None:
    text = b"time,panel,air\n2026-11-24 21:00,12.5,\n2026-11-24 21:01,12.6,\n"
    house.pipeline.take(house.arrival(text, "logger", live=False, received=T0 + 10**9))
    house.pipeline.flush()
    at, value, quality = house.reader.samples("L1", TEMPERATURE, 0, 2**60)
    assert value.tolist() == [12.5, 12.6]
    assert (at[1] - at[0], set(quality.tolist())) == (60_000, {0})
    again = house.arrival(text + b"2026-11-24 20:59,12.4,\n", "logger", live=False, received=T0 + 10**9)
    house.pipeline.take(again)
    done = house.pipeline.flush()
    assert done is not None
    assert (done.stored, done.repeated) == (1, 2)
    assert house.reader.samples("L1", TEMPERATURE, 0, 2**60)[2].tolist() == [int(Quality.LATE), 0, 0]


def test_a_redelivery_is_absorbed_without_a_row(house: House) -> None:
    first, again = Delivery("me", 7, b"h", dup=False), Delivery("me", 7, b"h", dup=True)
    house.pipeline.take(house.arrival(b"S1 T=12.5", delivery=first))
    house.pipeline.flush()
    house.clock.at += 5000
    house.pipeline.take(house.arrival(b"S1 T=12.5", delivery=again))
    assert len(house.done) == 2, "acknowledged at once"
    house.pipeline.flush()
    assert (house.values(), house.tallies()) == ([12.5], {})


class Impatient:
    """Waits between attempts that end at once; counts them, and does what is asked in the pipeline's own thread."""

    def __init__(self) -> None:
        self.pauses = 0
        self.then: Callable[[], None] = lambda: None

    def pause(self, stop: object) -> None:
        self.pauses += 1
        self.then()

    def reset(self) -> None:
        pass


@contextlib.contextmanager
def running(house: House, *jobs: Callable[[], None]) -> Iterator[None]:
    """The pipeline and some jobs in threads of their own, which have ended afterwards."""
    stop = threading.Event()
    threads = [threading.Thread(target=house.pipeline.run, args=(stop.is_set,))]
    threads += [threading.Thread(target=job) for job in jobs]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        stop.set()
        for thread in reversed(threads):
            thread.join(10)


def test_a_full_disk_loses_nothing_and_acknowledges_nothing_until_there_is_room(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    waits = Impatient()
    monkeypatch.setattr(pipelines, "GrowingWait", lambda: waits)
    lines = [b"S1 T=12.%04d" % number for number in range(1200)]

    def send() -> None:
        for number, line in enumerate(lines):
            house.pipeline.put(house.arrival(line, received=T0 + number * 1000))

    house.fill_the_disk()
    with running(house, send):
        wait_until(lambda: waits.pauses > 3, "several attempts failed")
        acknowledged = len(house.done)
        assert acknowledged == len(house.values()) < len(lines)
        waits.then = house.free_the_disk
        wait_until(lambda: len(house.done) == len(lines), "all were committed")
    assert house.values() == [float(line[5:]) for line in lines]


def test_a_locked_file_is_tried_again_without_looking_twice(house: House) -> None:
    other = apsw.Connection(str(house.settings.readings_db))
    house.writer.connection.set_busy_timeout(1)
    other.execute("BEGIN IMMEDIATE")
    house.pipeline.take(house.arrival(b"S1 T=12.5"))
    for _ in range(3):
        with pytest.raises(apsw.BusyError):
            house.pipeline.flush()
    assert house.done == []
    other.execute("ROLLBACK")
    other.close()
    house.pipeline.flush()
    assert (house.done, house.values()) == ([b"S1 T=12.5"], [12.5])


def test_what_comes_while_a_commit_fails_is_checked_too(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    waits = Impatient()
    monkeypatch.setattr(pipelines, "GrowingWait", lambda: waits)
    house.writer.connection.set_busy_timeout(1)
    other = apsw.Connection(str(house.settings.readings_db))
    other.execute("BEGIN IMMEDIATE")
    house.pipeline.put(house.arrival(b"S1 T=12.5"))
    with running(house):
        wait_until(lambda: waits.pauses > 2, "the file is locked")
        house.pipeline.put(house.arrival(b"S1 T=60", received=T0 + 10_000))
        more = waits.pauses + 3
        wait_until(lambda: waits.pauses > more, "it is locked still")
        other.execute("ROLLBACK")
        wait_until(lambda: len(house.done) == 2, "both are committed")
    other.close()
    assert house.reader.samples("S1", TEMPERATURE, 0, 2**60)[2].tolist() == [0, int(Quality.IMPOSSIBLE_RATE)]


def test_ending_with_an_uncommitted_batch_says_so(house: House) -> None:
    house.fill_the_disk()
    for number in range(1000):
        house.pipeline.put(house.arrival(b"S1 T=12.%04d" % number, received=T0 + 1000 * number))
    assert house.pipeline.run(lambda: True) is False
    assert len(house.done) == len(house.values()) < 1000


def test_what_is_in_the_queue_is_committed_before_the_end(house: House) -> None:
    for number in range(100):
        house.pipeline.put(house.arrival(b"S1 T=1.%d" % number, received=T0 + number))
    assert house.pipeline.run(lambda: True) is True
    assert len(house.done) == 100


def test_what_waits_already_goes_into_one_commit_up_to_a_bound(house: House) -> None:
    for number in range(2 * BACKLOG_ARRIVALS + 35):
        house.pipeline.put(house.arrival(b"S1 T=1.%d" % number, received=T0 + 1000 * number))
    house.pipeline.run(lambda: True)
    assert house.reader.last_batch() == 3
    assert len(house.done) == 2 * BACKLOG_ARRIVALS + 35


def test_a_full_batch_does_not_wait_for_more(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of a broker's window: it can send on while these are committed."""
    monkeypatch.setattr(pipelines, "LINGER_S", 1e6)
    with running(house):
        for number in range(BATCH_ARRIVALS):
            house.pipeline.put(house.arrival(b"S1 T=1.%d" % number, received=T0 + number))
        wait_until(lambda: len(house.done) == BATCH_ARRIVALS, "the full batch is committed")


def test_a_stream_without_a_rest_is_committed_in_the_middle(house: House) -> None:
    house.pipeline._at_most = 10**9
    committed = threading.Event()

    def send() -> None:
        for number in range(10**6):
            house.pipeline.put(house.arrival(b"S1 T=1.5", received=T0 + number))
            if committed.is_set():
                return

    with running(house, send):
        wait_until(lambda: bool(house.done), "a commit in the middle of the stream")
        committed.set()


def test_a_decoder_that_fails_is_told_counted_and_survived(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    class Broken:
        def decode(self, arrival: Arrival) -> None:
            raise RecursionError("too deep")

    house.pipeline._decoders["usb"] = Broken()
    house.pipeline.take(house.arrival(b"S1 T=1"))
    house.pipeline.flush()
    assert (house.tallies(), len(house.done)) == ({"decoder": 1}, 1)
    assert "too deep" in caplog.text


def test_an_error_that_is_not_the_stores_ends_the_run_and_is_raised(house: House) -> None:
    def fault() -> None:
        raise ZeroDivisionError("a bug in a source's done()")

    house.pipeline.put(Arrival("usb", b"S1 T=1", T0, done=fault))
    with pytest.raises(ZeroDivisionError):
        house.pipeline.run(lambda: False)
    house.pipeline.put(house.arrival(b"S1 T=2"))  # does not hang once the pipeline has ended


def test_the_first_reading_after_a_restart_is_compared_with_the_last_before(house: House) -> None:
    house.pipeline.take(house.arrival(b"S1 T=12.5"))
    house.pipeline.flush()
    second = Pipeline(house.settings, house.writer, house.clock)
    second.take(house.arrival(b"S1 T=60", received=T0 + 10_000))
    second.flush()
    assert house.reader.samples("S1", TEMPERATURE, 0, 2**60)[2].tolist() == [0, int(Quality.IMPOSSIBLE_RATE)]


def test_without_an_allowance_a_commit_waits_for_one_or_for_a_full_batch(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    allowed = [0.0]
    monkeypatch.setattr("collector.pace.Pace.wait", lambda _: allowed[0])
    put = house.pipeline.put
    with running(house):
        put(house.arrival(b"S1 T=1.5"))
        wait_until(lambda: house.done == [b"S1 T=1.5"], "a commit at once")
        allowed[0] = 5.0
        for number in range(pipelines.BATCH_ARRIVALS):
            assert len(house.done) == 1
            put(house.arrival(b"S1 T=%d" % number, received=T0 + 1 + number))
        wait_until(lambda: len(house.done) == 1 + pipelines.BATCH_ARRIVALS, "a full batch")
        put(house.arrival(b"S1 T=99", received=T0 + 99))
        wait_until(lambda: house.pipeline.idle, "it to be taken")
        assert house.reader.last_batch() == 2
        allowed[0] = 0.0
        wait_until(lambda: house.reader.last_batch() == 3, "the next allowance")
