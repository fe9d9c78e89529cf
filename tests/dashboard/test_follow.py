"""What watch keeps in memory is what the store holds, whatever order it came in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector import pace
from collector.clock import SteppedClock
from collector.forward import forwarder
from collector.reading import LEAST_SILENT_MS, ProbeFacts, Quality, Quantity, Reading
from collector.store import rechecks
from collector.store.reader import Reader
from collector.store.time_series import sites
from collector.store.writer import Writer
from dashboard import watch
from dashboard.follow import Follower

NOW = 1_795_629_600_000
FACTS = ProbeFacts("S1", "shed", "surface", 10.0, 0.8)


def reading(number: int, quality: Quality = Quality.GOOD) -> Reading:
    at = NOW + 10_000 * number
    return Reading("S1", Quantity.TEMPERATURE, 10.0 + number / 16, at, at, quality)


def store(path: Path) -> Writer:
    writer = Writer.open(path / "readings.db", SteppedClock(NOW))
    writer.describe([FACTS])
    return writer


def followed(follower: Follower) -> tuple[list[int], list[float]]:
    trace = follower.trace("S1", Quantity.TEMPERATURE)
    assert trace is not None
    return trace.samples.t.tolist(), trace.samples.value.tolist()


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.permutations(range(24)), st.lists(st.integers(0, 23), max_size=6), st.integers(1, 7))
def test_any_order_with_repeats_gives_the_same_series(
    tmp_path_factory: object, order: list[int], repeats: list[int], size: int
) -> None:
    """Batches of any size, late and doubled, followed one by one, equal one read of the store in order."""
    path = Path(tmp_path_factory.mktemp("store"))  # type: ignore[attr-defined]
    writer = store(path)
    follower = Follower(path / "readings.db", NOW)
    arriving = order + repeats
    for start in range(0, len(arriving), size):
        writer.commit([reading(number) for number in arriving[start : start + size]])
        follower.refresh()
    reader = Reader.open(path / "readings.db")
    t, value, _ = reader.samples("S1", Quantity.TEMPERATURE, 0, 2**62)
    reader.close()
    writer.close()
    assert followed(follower) == (t.tolist(), value.tolist())
    assert len(t) == 24


def test_unusable_readings_are_heard_but_do_not_enter_the_model(tmp_path: Path) -> None:
    """A flagged value counts as a sign of life and as the newest reading, never as a sample."""
    writer = store(tmp_path)
    writer.commit([reading(0), reading(1, Quality.POWER_ON_VALUE), reading(2, Quality.SATURATED)])
    follower = Follower(tmp_path / "readings.db", NOW)
    assert follower.refresh() == {"S1"}
    t, _ = followed(follower)
    assert t == [NOW, NOW + 20_000]
    writer.commit([reading(3, Quality.DISCONNECTED)])
    follower.refresh()
    trace = follower.trace("S1", Quantity.TEMPERATURE)
    assert trace is not None
    assert trace.newest is not None
    assert trace.newest.quality is Quality.DISCONNECTED
    assert follower.heard("S1") == NOW + 30_000
    assert int(trace.samples.t[-1]) == NOW + 20_000
    writer.close()


@pytest.mark.parametrize("first", ["readings_after", "batches_after"])
def test_flags_that_change_while_the_store_is_read_are_not_missed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, first: str
) -> None:
    """After either of the two questions that a follower asks the store of one and the same round."""
    writer = store(tmp_path)
    writer.commit([reading(number) for number in range(10)])
    follower = Follower(tmp_path / "readings.db", NOW)
    follower.refresh()
    plain = getattr(Reader, first)
    owed = [reading(4).at]

    def interrupted(self: Reader, *asked: int) -> object:
        answer = plain(self, *asked)
        while owed:
            at = owed.pop()
            rows = rechecks.in_order(writer.connection, at, at + 1)
            writer.reflag([rechecks.Changed(row, Quality.IMPOSSIBLE_RATE) for row in rows], None)
        return answer

    monkeypatch.setattr(Reader, first, interrupted)
    writer.commit([reading(10)])
    for _ in range(2):
        follower.refresh()
    assert not owed
    t, _ = followed(follower)
    assert t == [reading(number).at for number in range(11) if number != 4]
    writer.close()


def test_a_probe_is_silent_after_three_intervals(tmp_path: Path) -> None:
    """Not at thirty seconds of a ten-second probe, but after."""
    writer = store(tmp_path)
    writer.commit([reading(0)])
    follower = Follower(tmp_path / "readings.db", NOW)
    follower.refresh()
    assert not follower.silent("S1", Quantity.TEMPERATURE, NOW + 30_000)
    assert follower.silent("S1", Quantity.TEMPERATURE, NOW + 30_001)
    assert follower.silent("S1", Quantity.RELATIVE_HUMIDITY, NOW)
    assert not follower.silent("S9", Quantity.TEMPERATURE, NOW + 30_001)
    assert follower.trace("S9", Quantity.TEMPERATURE) is None
    writer.close()


@pytest.mark.parametrize(
    ("interval_s", "after_ms"), [(1.0, 20_000), (6.5, 20_000), (7.0, 21_000), (60.0, 180_000)]
)
def test_a_probe_that_speaks_often_is_not_silent_because_of_our_own_way(
    tmp_path: Path, interval_s: float, after_ms: int
) -> None:
    """A probe of one second is committed every five: between two commits it says nothing new."""
    writer = store(tmp_path)
    writer.describe([replace(FACTS, interval_s=interval_s)])
    writer.commit([reading(0)])
    follower = Follower(tmp_path / "readings.db", NOW)
    follower.refresh()
    trace = follower.trace("S1", Quantity.TEMPERATURE)
    assert trace is not None
    for late, silent in ((0, False), (1, True)):
        at = NOW + after_ms + late
        assert follower.silent("S1", Quantity.TEMPERATURE, at) is silent
        assert trace.unheard(at) is silent
        assert (trace.value_at(at) is None) is silent
    writer.close()


def test_our_own_way_from_a_probe_to_an_answer_fits_twice_into_the_shortest_silence() -> None:
    way_s = pace.COMMIT_EVERY_S + forwarder.IDLE_S + sites.LOOK_S + watch.PAUSE_S
    assert 2 * way_s * 1000 <= LEAST_SILENT_MS


DAY = 86_400_000


def hourly(days: int) -> list[Reading]:
    """Readings of each minute of every hour's first half, from NOW on, every seventh unusable."""
    at = [NOW + 3_600_000 * hour + 60_000 * m for hour in range(24 * days) for m in range(30)]
    return [
        Reading(
            "S1",
            Quantity.TEMPERATURE,
            10.0 + n % 97 / 16,
            t,
            t,
            Quality.GOOD if n % 7 else Quality.IMPOSSIBLE_RATE,
        )
        for n, t in enumerate(at)
    ]


def test_of_older_readings_only_the_log_is_left_and_of_those_past_it_nothing(tmp_path: Path) -> None:
    """Memory stays the same over months; a follower that starts later holds the same."""
    writer = store(tmp_path)
    every = hourly(20)
    for start in range(0, len(every), 300):
        writer.commit(every[start : start + 300])
    follower = Follower(tmp_path / "readings.db", NOW)
    for day in range(0, 21, 3):
        follower.keep(NOW + day * DAY)
        follower.refresh()
    later = Follower(tmp_path / "readings.db", NOW + 20 * DAY)
    later.refresh()
    for one in (follower, later):
        one.keep(NOW + 20 * DAY)
        trace = one.trace("S1", Quantity.TEMPERATURE)
        assert trace is not None
        assert trace.logged is not None
        assert NOW + 20 * DAY - 8 * 3_600_000 < trace.samples.t[0] <= NOW + 20 * DAY - 6 * 3_600_000
        assert len(trace.logged) == 15 * 24 * 3
        good = [reading for reading in every if reading.quality is Quality.GOOD]
        first = {reading.at // 600_000: reading for reading in reversed(good)}
        told = dict(zip(trace.logged.t.tolist(), trace.logged.value.tolist(), strict=True))
        wanted = {reading.at: reading.value for reading in first.values() if reading.at >= NOW + 5 * DAY}
        assert told == wanted
    writer.close()


def test_a_late_reading_is_not_forgotten_behind_many_later_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A node sends what it kept, each reading by itself: the first of them still changes what was settled."""
    monkeypatch.setattr("dashboard.follow.MOST_LATE", 8)
    writer = store(tmp_path)
    writer.commit([reading(0), reading(2), reading(2000)])
    follower = Follower(tmp_path / "readings.db", NOW)
    follower.refresh()
    marks = []
    for first in (100, 200):
        for number in (first // 100 - 1, *range(first, first + 8)):
            writer.commit([reading(number, Quality.IMPOSSIBLE_RATE)])
            follower.refresh()
        marks.append(follower.mark("S1", Quantity.TEMPERATURE, False, reading(2).at))
    assert marks[0] != marks[1]
    writer.close()


def test_a_late_reading_takes_its_place_in_the_log(tmp_path: Path) -> None:
    """As a follower that starts after it has it, and what rested on readings up to it is told to be another."""
    writer = store(tmp_path)
    writer.commit([reading for reading in hourly(2) if reading.at % 3_600_000])
    now = NOW + 2 * DAY
    follower = Follower(tmp_path / "readings.db", now)
    follower.refresh()
    before, after = (
        [
            follower.mark("S1", Quantity.TEMPERATURE, False, at)
            for at in (NOW + 3_600_000 - 1, now - 3_600_000)
        ]
        for _ in range(2)
    )
    assert before == after
    late = NOW + 3_600_000
    writer.commit([Reading("S1", Quantity.TEMPERATURE, 4.0, late, late)])
    follower.refresh()
    fresh = Follower(tmp_path / "readings.db", now)
    fresh.refresh()
    logs = [one.trace("S1", Quantity.TEMPERATURE).logged for one in (follower, fresh)]  # type: ignore[union-attr]
    assert logs[0] is not None
    assert logs[1] is not None
    assert late in logs[0].t.tolist()
    np.testing.assert_array_equal(logs[0].t, logs[1].t)
    np.testing.assert_array_equal(logs[0].value, logs[1].value)
    assert follower.mark("S1", Quantity.TEMPERATURE, False, late - 1) == before[0]
    assert follower.mark("S1", Quantity.TEMPERATURE, False, now - 3_600_000) != before[1]
    writer.close()


def test_a_probe_that_fell_silent_weeks_ago_is_known_to_have_spoken(tmp_path: Path) -> None:
    writer = store(tmp_path)
    writer.commit([reading(number) for number in range(10)])
    follower = Follower(tmp_path / "readings.db", NOW + 40 * DAY)
    follower.refresh()
    follower.keep(NOW + 41 * DAY)
    trace = follower.trace("S1", Quantity.TEMPERATURE)
    assert trace is not None
    assert trace.last_usable(NOW + 41 * DAY) == NOW + 90_000
    writer.close()


def test_a_late_reading_counts_also_where_of_the_last_hours_nothing_is_left(tmp_path: Path) -> None:
    """A probe that said nothing usable and fell silent: what rested on its silence is told to be another."""
    writer = store(tmp_path)
    writer.commit([reading(number, Quality.DISCONNECTED) for number in range(10)])
    now = NOW + 10 * 3_600_000
    follower = Follower(tmp_path / "readings.db", now)
    follower.refresh()
    follower.keep(now)
    hour = NOW + 3_600_000
    early, late = (follower.mark("S1", Quantity.TEMPERATURE, False, at) for at in (NOW + 100_000, hour))
    writer.commit([reading(20)])
    follower.refresh()
    assert follower.mark("S1", Quantity.TEMPERATURE, False, NOW + 100_000) == early
    assert follower.mark("S1", Quantity.TEMPERATURE, False, hour) != late
    writer.close()
