"""What watch keeps in memory is what the store holds, whatever order it came in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quality, Quantity, Reading
from collector.store.reader import Reader
from collector.store.writer import Writer
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


def test_what_is_older_than_the_outlook_needs_is_dropped(tmp_path: Path) -> None:
    """Memory stays bounded over months."""
    writer = store(tmp_path)
    writer.commit([reading(number) for number in range(10)])
    follower = Follower(tmp_path / "readings.db", NOW)
    follower.refresh()
    follower.keep(NOW + 15 * 86_400_000 + 50_000, None)
    t, _ = followed(follower)
    np.testing.assert_array_equal(t, [NOW + 10_000 * number for number in range(5, 10)])
    writer.close()


def test_what_an_old_coat_needs_is_kept_and_read_again(tmp_path: Path) -> None:
    """A film that was wet three weeks ago must not be forgotten while its coat is open."""
    writer = store(tmp_path)
    writer.commit([reading(number) for number in range(10)])
    later = NOW + 21 * 86_400_000
    follower = Follower(tmp_path / "readings.db", later)
    follower.refresh()
    assert followed(follower) == ([], [])
    follower.keep(later, NOW)
    assert follower.refresh() == {"S1"}
    assert len(followed(follower)[0]) == 10
    follower.keep(later, NOW)
    assert len(followed(follower)[0]) == 10
    writer.close()
