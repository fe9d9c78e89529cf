"""Clocks that are unset, step, or lie: readings keep their distances, and what is unsure is said (row 52)."""

from __future__ import annotations

import random
from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import Quality, Quantity
from collector.store.reader import Reader
from collector.store.readings_schema import MOVED
from collector.store.runs import unsure
from collector.store.writer import Writer
from tests.collector.machines import HOUR, T0, YEAR, Bench, Recorder
from tests.collector.shops import probe, shop

BROKER = """
[[source]]
id = "broker"
kind = "mqtt"
host = "127.0.0.1"
topic = ["S1"]
[source.decode]
kind = "json_map"
field = [ { key = "/t", quantity = "temperature", unit = "degC" } ]
time = { key = "/ts", unit = "s" }
"""
MINUTE = 60_000
SECOND = 1_000
STEPS = [sign * step for step in (HOUR // 30, HOUR, 30 * HOUR, YEAR, 10 * YEAR) for sign in (-1, 1)]


def worst_distance(pairs: list[tuple[int, int]]) -> int:
    """By how much any two readings are further apart, or nearer, than they truly were; ms."""
    errors = [served - true for served, true in pairs]
    return max(errors) - min(errors)


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("synced", [True, False])
def test_b52_a_clock_that_steps_while_running_changes_no_distance(step: int, synced: bool) -> None:
    """Promise 10: cure time wrong by at most 1 s within a run; here by a millisecond."""
    bench = Bench()
    bench.synced = synced
    recorder = Recorder(bench)
    for minute in range(60):
        if minute == 30:
            bench.error += step
        recorder.read(after=MINUTE)
    served = recorder.served()
    assert len(served) == 60
    assert worst_distance(served) <= 1, "ms"
    assert [true for _, true in served] == sorted(true for _, true in served)
    noted = recorder.connection.execute("SELECT count(*) FROM anchor").get  # type: ignore[attr-defined]
    assert noted == 1, "the step was taken down"


@pytest.mark.parametrize("error", [-T0 + 3 * MINUTE, -9 * HOUR, 10 * YEAR, 90 * SECOND])
def test_b52_a_clock_set_at_minute_30_puts_the_whole_run_right(error: int) -> None:
    """Boot in 1970, at the last shutdown's time, ten years ahead; then the time service comes."""
    bench = Bench()
    recorder = Recorder(bench)
    bench.synced = True
    recorder.read(after=MINUTE)
    recorder.read(after=MINUTE)
    bench.truth += 8 * HOUR
    bench.boot(error)
    recorder.start()
    for _ in range(30):
        recorder.read(after=MINUTE)
    wrong = max(abs(served - true) for served, true in recorder.served())
    assert wrong > SECOND, "nobody can know it yet"
    bench.error, bench.synced = 0, True
    for _ in range(30):
        recorder.read(after=MINUTE)
    assert max(abs(served - true) for served, true in recorder.served()) <= 1
    assert all(run.sure for run in recorder.runs())


def test_b52_readings_of_an_unset_clock_are_neither_lost_nor_among_older_ones() -> None:
    """Two boots in 1970, each at the same raw minutes: not one reading takes another's place."""
    bench = Bench()
    bench.synced = True
    recorder = Recorder(bench)
    for _ in range(5):
        recorder.read(after=MINUTE)
    for _ in range(3):
        last = recorder.clock.now()
        bench.truth += HOUR
        bench.boot(-bench.truth)
        recorder.start()
        assert recorder.clock.now() >= last, "what people enter now comes after what they entered before"
        for _ in range(5):
            recorder.read(after=MINUTE)
    served = recorder.served()
    assert len(served) == 20
    assert [true for _, true in served] == sorted(true for _, true in served)


def test_b52_a_moved_run_is_announced_and_the_newest_reading_is_the_newest() -> None:
    bench = Bench()
    bench.boot(10 * YEAR)
    recorder = Recorder(bench)
    recorder.read(after=MINUTE)
    bench.error, bench.synced = 0, True
    recorder.read(after=MINUTE)
    recorder.read(after=MINUTE)
    reader = Reader(recorder.connection)  # type: ignore[arg-type]
    assert [batch.revised for batch in reader.batches_after(0)].count(MOVED) == 2
    latest = reader.latest("S1", Quantity.TEMPERATURE)
    assert latest is not None
    assert (latest.at, latest.value) == (bench.truth, 2.0)


def test_b52_before_the_first_cut_a_clock_nobody_vouches_for_makes_nothing_unsure() -> None:
    bench = Bench()
    recorder = Recorder(bench)
    recorder.read(after=MINUTE)
    assert unsure(recorder.runs()) == ()
    bench.truth += HOUR
    bench.boot(0)
    recorder.start()
    recorder.read(after=MINUTE)
    first, second = unsure(recorder.runs())
    assert second.late is None
    assert second.early - first.early == -HOUR, "it may have been off for no time at all"
    assert first.end == second.start


def test_b52_a_restart_in_the_same_boot_goes_on_by_elapsed_time_although_the_clock_was_turned() -> None:
    bench = Bench()
    bench.synced = True
    recorder = Recorder(bench)
    recorder.read(after=MINUTE)
    bench.error = -HOUR
    recorder.read(after=MINUTE)
    recorder.start()
    recorder.read(after=MINUTE)
    assert worst_distance(recorder.served()) == 0


def test_b52_a_hardware_clock_is_believed_and_one_without_a_battery_is_not() -> None:
    bench = Bench()
    bench.boot(0, hardware=True)
    assert Recorder(bench).clock.known
    bench.boot(-9 * HOUR, hardware=True)
    assert not Recorder(bench).clock.known


def history(seed: int) -> Recorder:
    """A machine's life: power cuts, restarts, clocks that are right, in 1970, at the last shutdown or ahead."""
    chance = random.Random(seed)
    bench = Bench()
    recorder: Recorder | None = None
    shutdown = bench.truth
    for _ in range(chance.randint(2, 5)):
        bench.truth += chance.randint(30 * SECOND, 40 * HOUR)
        error = chance.choice(
            [0, -bench.truth + MINUTE, shutdown - bench.truth, -chance.randint(0, 9 * HOUR), 10 * YEAR]
        )
        bench.boot(error, synced=error == 0 and chance.random() < 0.5, hardware=error == 0)
        bench.truth += chance.randint(0, 5 * MINUTE)
        sync_at = chance.choice([None, None, chance.randint(0, 20)])
        for number in range(chance.randint(1, 20)):
            if recorder is None:
                recorder = Recorder(bench)
            elif number == 0 or chance.random() < 0.1:
                recorder.start()
            if number == sync_at:
                bench.error, bench.synced = 0, True
            recorder.read(after=chance.randint(SECOND, 2 * HOUR))
        shutdown = bench.truth + bench.error
    assert recorder is not None
    return recorder


def test_a10_across_cuts_the_stated_interval_holds_the_truth_in_1000_of_1000_trials() -> None:
    bounded = 0
    for seed in range(1000):
        recorder = history(seed)
        runs = {run.id: run for run in recorder.runs()}
        served = {true: at for at, true in recorder.served()}
        assert len(served) == len(recorder.told), seed
        for number, true in recorder.told:
            run, at = runs[number], served[true]
            raw = at - run.offset
            assert raw + run.early <= true, seed
            assert run.late is None or true <= raw + run.late, seed
            if run.sure:
                assert abs(at - true) <= SECOND, seed
            bounded += run.late is not None and not run.sure
    assert bounded > 1000, "that many readings lay in a stretch with two bounds"


CSV = """
[[source]]
id = "logger"
kind = "folder"
folder = "inbox"
[source.decode]
kind = "logger_csv"
time = { key = "time", unit = "iso8601", zone = "Europe/Oslo" }
field = [ { key = "panel", quantity = "temperature", unit = "degC", name = "L1" } ]
"""


class Desk:
    """The real pipeline over a store in memory, with a broker's JSON in seconds and a logger's local times."""

    def __init__(self, folder: Path, at: int) -> None:
        self.clock = SteppedClock(at)
        self.settings = shop(folder, BROKER, CSV, probe("S1", "broker"), probe("L1", "logger"))
        self.writer = Writer.open(None, self.clock)
        self.pipeline = Pipeline(self.settings, self.writer, self.clock)
        self.reader = Reader(self.writer.connection)

    def take(self, payload: str, source: str = "broker", live: bool = True, sure: bool = True) -> None:
        self.pipeline.take_all([Arrival(source, payload.encode(), self.clock.now(), "S1", live, sure)])

    def rows(self, name: str = "S1") -> list[tuple[int, int]]:
        at, _, quality = self.reader.samples(name, Quantity.TEMPERATURE, 0, 2**60)
        return list(zip(at.tolist(), quality.tolist(), strict=True))

    def refused(self) -> dict[str, int]:
        return {tally.kind: tally.n for tally in self.reader.tallies()}


@pytest.mark.parametrize("late", [SECOND, 24 * HOUR, YEAR])
def test_b34_readings_late_by_a_second_a_day_a_year_are_stored_under_their_own_time(
    tmp_path: Path, late: int
) -> None:
    """No policy holds or refuses them: they lie where they belong, and what follows is looked at again."""
    desk = Desk(tmp_path, T0)
    desk.take(f'{{"t": 12.0, "ts": {T0 // 1000}}}')
    desk.take(f'{{"t": 12.1, "ts": {(T0 - late) // 1000}}}', live=False)
    assert desk.rows() == [(T0 - late, int(Quality.LATE)), (T0, 0)]
    assert not desk.pipeline._recheck.due


def test_b35_a_time_in_the_future_is_taken_as_the_arrivals_if_live_and_refused_from_a_backlog(
    tmp_path: Path,
) -> None:
    desk = Desk(tmp_path, T0)
    ahead = f'{{"t": 12.0, "ts": {(T0 + HOUR) // 1000}}}'
    desk.take(ahead)
    desk.take(ahead, live=False)
    assert desk.rows() == [(T0, int(Quality.CLOCK_AHEAD))]
    assert desk.refused() == {"time": 1}


def test_b35_while_our_own_clock_may_be_wrong_a_backlog_from_the_future_is_not_thrown_away(
    tmp_path: Path,
) -> None:
    """After a power cut our clock may be hours behind: the probes' times are the better ones."""
    desk = Desk(tmp_path, T0)
    desk.take(f'{{"t": 12.0, "ts": {(T0 + HOUR) // 1000}}}', live=False, sure=False)
    assert [at for at, _ in desk.rows()] == [T0 + HOUR]
    desk.take("time,panel\n2026-11-25 22:00,9.9\n", "logger", live=False, sure=False)
    assert [at for at, _ in desk.rows("L1")] == [T0 + 3 * HOUR]


@pytest.mark.parametrize("stamp", [T0, T0 // 1_000_000, '"2026-11-25 19:00:00"'])
def test_b36_milliseconds_or_local_time_where_seconds_are_configured_are_refused_with_the_way_out(
    tmp_path: Path, stamp: object
) -> None:
    desk = Desk(tmp_path, T0)
    desk.take(f'{{"t": 12.0, "ts": {stamp}}}')
    assert desk.rows() == []
    assert sum(desk.refused().values()) == 1
    assert desk.reader.tallies()[0].last_text


def test_b52_dst_both_ways_in_a_loggers_local_times_loses_nothing_and_guesses_nothing(tmp_path: Path) -> None:
    """Oslo 2026 (IANA time zone database): forward on 29 March at 02:00, back on 25 October at 03:00."""
    desk = Desk(tmp_path, T0)
    spring = ["2026-03-29 01:30", "2026-03-29 02:30", "2026-03-29 03:30"]
    autumn = ["2026-10-25 01:30", "2026-10-25 02:30", "2026-10-25 03:30", "2026-10-25 02:30+02:00"]
    text = "time,panel\n" + "".join(f"{time},9.{i}\n" for i, time in enumerate(spring + autumn))
    desk.take(text, "logger", live=False)
    got = [datetime.fromtimestamp(at / 1000, UTC).strftime("%m-%d %H:%M") for at, _ in desk.rows("L1")]
    assert got == ["03-29 00:30", "03-29 01:30", "10-24 23:30", "10-25 00:30", "10-25 02:30"]
    assert desk.refused() == {"time": 2}, "the hour that is skipped, and the one that comes twice"
