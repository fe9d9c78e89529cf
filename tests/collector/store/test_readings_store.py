"""readings.db: what is committed is read back, once, and in the order it came."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import apsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Delivery
from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quality, Quantity, Reading
from collector.store import spans
from collector.store.reader import Batch, Reader
from collector.store.readings_schema import READINGS
from collector.store.schema import Locked, NotYet, StoreError, _version, open_writer
from collector.store.writer import ROWS_AT_ONCE, Heard, Refused, Writer

T0 = 1_795_600_000_000
TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


def reading(at: int, value: float = 12.5, probe: str = "S1", received: int | None = None) -> Reading:
    return Reading(probe, TEMPERATURE, value, at, at if received is None else received)


@pytest.fixture
def clock() -> SteppedClock:
    return SteppedClock(T0)


@pytest.fixture
def writer(tmp_path: Path, clock: SteppedClock):
    writer = Writer.open(tmp_path / "readings.db", clock)
    yield writer
    writer.close()


@pytest.fixture
def reader(tmp_path: Path, writer: Writer):
    reader = Reader.open(tmp_path / "readings.db")
    yield reader
    reader.close()


def test_a_range_has_both_ends_and_only_its_own_series(writer: Writer, reader: Reader) -> None:
    writer.commit([reading(T0 + i * 10, i, probe) for i in range(5) for probe in ("S1", "S2")])
    at, value, quality = reader.samples("S1", TEMPERATURE, T0 + 10, T0 + 30)
    assert at.tolist() == [T0 + 10, T0 + 20, T0 + 30]
    assert value.tolist() == [1.0, 2.0, 3.0]
    assert (at.dtype, value.dtype, quality.dtype) == (np.int64, np.float64, np.int64)
    assert len(reader.samples("S1", HUMIDITY, T0, T0 + 99)[0]) == 0


def test_a_repeat_is_one_row_and_another_value_is_a_conflict(writer: Writer, reader: Reader) -> None:
    first = writer.commit([reading(T0, 12.5)])
    again = writer.commit([reading(T0, 12.5), reading(T0, 13.0), reading(T0 + 1, 14.0)])
    assert (first.seq, first.stored) == (1, 1)
    assert (again.seq, again.stored, again.repeated, again.conflicts) == (2, 1, 1, 1)
    assert reader.samples("S1", TEMPERATURE, T0, T0 + 1)[1].tolist() == [12.5, 14.0]
    assert reader.conflicts() == 1


def test_a_large_batch_stores_what_its_readings_would_one_by_one(writer: Writer) -> None:
    """Readings go in many at a time; repeats and rivals stand at the edges and in the middle of those."""
    many = [reading(T0 + i // 2 * 10, i / 8, f"S{i % 2}") for i in range(3 * ROWS_AT_ONCE + 7)]
    for i in (0, 1, ROWS_AT_ONCE - 1, ROWS_AT_ONCE, 120, len(many)):
        many.insert(i, many[90])
        many.insert(i, replace(many[70], value=many[70].value + 0.5))
    alone = Writer.open(None, SteppedClock(T0))
    one_by_one = [alone.commit([item]) for item in many]
    done = writer.commit(many)
    assert done.stored == sum(each.stored for each in one_by_one) == 3 * ROWS_AT_ONCE + 7
    assert done.repeated == sum(each.repeated for each in one_by_one)
    assert done.conflicts == sum(each.conflicts for each in one_by_one)
    for query in (
        "SELECT t, series, value, quality, lag FROM reading",
        "SELECT t, series, value FROM conflict",
    ):
        assert writer.connection.execute(query).fetchall() == alone.connection.execute(query).fetchall()
    alone.close()


def test_nothing_new_makes_no_batch_but_keeps_refusals_and_deliveries(writer: Writer, reader: Reader) -> None:
    writer.commit([reading(T0)])
    delivery = Delivery("collect", 7, b"hash", dup=False)
    done = writer.commit([reading(T0)], [delivery], [Refused("usb", "format", "x" * 999, T0)])
    assert done.seq is None
    assert reader.last_batch() == 1
    assert [(t.source, t.kind, t.n, len(t.last_text)) for t in reader.tallies()] == [
        ("usb", "format", 1, 300)
    ]
    assert writer.absorbed(Delivery("collect", 7, b"hash", dup=True))


def test_only_a_redelivery_of_the_same_message_is_absorbed(writer: Writer) -> None:
    writer.commit([], [Delivery("collect", 7, b"hash", dup=False)])
    assert not writer.absorbed(Delivery("collect", 7, b"hash", dup=False))
    assert not writer.absorbed(Delivery("collect", 7, b"other", dup=True))
    assert not writer.absorbed(Delivery("collect", 8, b"hash", dup=True))
    assert not writer.absorbed(Delivery("other", 7, b"hash", dup=True))


def test_batches_and_readings_come_in_the_order_of_arrival(writer: Writer, reader: Reader) -> None:
    writer.commit([reading(T0 + 50), reading(T0 + 40)])
    writer.commit([reading(T0 + 10, probe="S2"), reading(T0 + 60)])
    assert reader.batches_after(0) == [Batch(1, T0 + 40, T0 + 50), Batch(2, T0 + 10, T0 + 60)]
    assert reader.batches_after(1) == [Batch(2, T0 + 10, T0 + 60)]
    first, seq = reader.readings_after(0, limit=1)
    assert ([r.at for r in first], seq) == ([T0 + 40, T0 + 50], 1)
    rest, seq = reader.readings_after(seq, limit=100)
    assert ([(r.probe, r.at) for r in rest], seq) == ([("S2", T0 + 10), ("S1", T0 + 60)], 2)
    assert reader.readings_after(2, limit=100) == ([], 2)


def test_latest_is_by_time_and_not_by_arrival(writer: Writer, reader: Reader) -> None:
    assert reader.latest("S1", TEMPERATURE) is None
    newest = Reading("S1", TEMPERATURE, 9.5, T0 + 90, T0 + 95, Quality.LATE)
    writer.commit([newest])
    writer.commit([reading(T0 + 10), reading(T0 + 999, probe="S2")])
    assert reader.latest("S1", TEMPERATURE) == newest
    assert reader.span() == (T0 + 10, T0 + 999)


@given(
    st.lists(st.lists(st.tuples(st.integers(0, 5000), st.sampled_from(["S1", "S2"])), max_size=8), max_size=8)
)
def test_latest_is_the_greatest_time_whatever_came_when(batches: list[list[tuple[int, str]]]) -> None:
    writer = Writer.open(None, SteppedClock(T0))
    for batch in batches:
        writer.commit([reading(T0 + at * 1000, float(at), probe) for at, probe in batch])
    reader = Reader(writer.connection)
    for probe in ("S1", "S2"):
        times = [T0 + at * 1000 for batch in batches for at, name in batch if name == probe]
        found = reader.latest(probe, TEMPERATURE)
        assert (found.at if found else None) == max(times, default=None)
    assert len(reader.newest()) == len({name for batch in batches for _, name in batch})
    writer.close()


def test_a_runs_clock_correction_moves_only_times_our_clock_gave(writer: Writer, reader: Reader) -> None:
    writer.commit([reading(T0 + 1000, 1.0), reading(T0 + 2000, 2.0, received=T0 + 2500)])
    writer.connection.execute("UPDATE run SET offset = 60000")
    at, value, _ = reader.samples("S1", TEMPERATURE, T0, T0 + 100_000)
    assert list(zip(at.tolist(), value.tolist(), strict=True)) == [(T0 + 2000, 2.0), (T0 + 61_000, 1.0)]
    assert reader.samples("S1", TEMPERATURE, T0 + 61_000, T0 + 61_000)[1].tolist() == [1.0]
    own, ours = sorted(reader.readings_after(0, 10)[0], key=lambda r: r.at)
    assert (own.at, own.received) == (T0 + 2000, T0 + 62_500)
    assert (ours.at, ours.received) == (T0 + 61_000, T0 + 61_000)
    (batch,) = reader.batches_after(0)
    assert batch.t_min <= T0 + 2000
    assert batch.t_max >= T0 + 61_000


def test_data_version_tells_that_something_came(tmp_path: Path, writer: Writer, reader: Reader) -> None:
    before = reader.data_version()
    assert reader.data_version() == before
    writer.commit([reading(T0)])
    assert reader.data_version() != before
    own = Reader(writer.connection)
    before = own.data_version()
    writer.commit([reading(T0 + 1)])
    assert own.data_version() != before


def test_a_store_in_memory_is_read_through_the_writers_connection(clock: SteppedClock) -> None:
    writer = Writer.open(None, clock)
    writer.describe([ProbeFacts("S1", "shed", "surface", 10.0, 0.8)])
    writer.commit([reading(T0)])
    reader = Reader(writer.connection)
    assert reader.probes() == [ProbeFacts("S1", "shed", "surface", 10.0, 0.8)]
    assert reader.samples("S1", TEMPERATURE, T0, T0)[0].tolist() == [T0]
    writer.close()


def test_describing_again_replaces_the_probes(writer: Writer, reader: Reader) -> None:
    writer.describe(
        [ProbeFacts("S1", "shed", "surface", 10.0, 0.8), ProbeFacts("S2", "shed", "air", 60.0, 0.5)]
    )
    writer.describe([ProbeFacts("S2", "warm room", "air", 60.0, 0.5)])
    assert reader.probes() == [ProbeFacts("S2", "warm room", "air", 60.0, 0.5)]


def test_unknown_names_are_remembered_but_not_without_end(writer: Writer, reader: Reader) -> None:
    writer.commit([], heard=[Heard("usb", f"n{i}", TEMPERATURE, 1.0, T0 + i) for i in range(250)])
    names = [item.name for item in reader.heard()]
    assert (len(names), names[0]) == (200, "n249")


def test_a_missing_file_is_not_yet_and_a_second_writer_is_refused(
    tmp_path: Path, clock: SteppedClock
) -> None:
    with pytest.raises(NotYet, match="collect has not started"):
        Reader.open(tmp_path / "readings.db")
    writer = Writer.open(tmp_path / "readings.db", clock)
    with pytest.raises(Locked, match="collect runs already"):
        Writer.open(tmp_path / "readings.db", clock)
    writer.close()
    Writer.open(tmp_path / "readings.db", clock).close()


def test_a_failed_commit_leaves_nothing_and_the_next_one_works(writer: Writer, reader: Reader) -> None:
    class Unspeakable:
        pass

    with pytest.raises(TypeError):
        writer.commit([reading(T0), reading(T0 + 1, Unspeakable())])  # type: ignore[arg-type]
    assert reader.last_batch() == 0
    assert writer.commit([reading(T0)]).stored == 1
    assert reader.samples("S1", TEMPERATURE, T0, T0 + 1)[0].tolist() == [T0]


def test_a_read_over_a_second_is_cut_off_with_a_sentence(
    writer: Writer, reader: Reader, monkeypatch: pytest.MonkeyPatch
) -> None:
    writer.commit([reading(T0 + i, i) for i in range(30_000)])
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", -1.0)
    with pytest.raises(StoreError, match="shorter range"):
        reader.samples("S1", TEMPERATURE, T0, T0 + 30_000)


def test_what_would_take_over_a_second_is_read_in_shorter_ranges(
    writer: Writer, reader: Reader, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clock that runs only while rows are looked at: a tenth of a second for each so many steps."""
    monkeypatch.setattr("collector.store.schema.LOOK_AGAIN_STEPS", 1000)
    for first in range(0, 20_000, 4_000):
        writer.commit([reading(T0 + i * 10_000, i) for i in range(first, first + 4_000)])
    whole, every = (
        reader.samples("S1", TEMPERATURE, T0, T0 + 200_000_000),
        reader.every(T0, T0 + 200_000_000),
    )
    looks = [0.0]

    def monotonic() -> float:
        looks[0] += 0.1
        return looks[0]

    monkeypatch.setattr("collector.store.reader.time.monotonic", monotonic)
    reads: list[int] = []
    places = spans._places
    monkeypatch.setattr(spans, "_places", lambda *of: (reads.append(1), places(*of))[1])
    parted = reader.samples("S1", TEMPERATURE, T0, T0 + 200_000_000)
    assert len(reads) > 4
    for one, other in zip(whole, parted, strict=True):
        assert one.tolist() == other.tolist()
    for one, other in zip(
        every["S1", TEMPERATURE], reader.every(T0, T0 + 200_000_000)["S1", TEMPERATURE], strict=True
    ):
        assert one.tolist() == other.tolist()


def test_a_reader_that_comes_while_the_file_is_being_made_does_not_take_it_for_a_foreign_one(
    tmp_path: Path,
) -> None:
    """The writer's first commit falls between what the reader looks at."""
    path = tmp_path / "readings.db"
    apsw.Connection(str(path)).pragma("journal_mode", "wal")

    class Overtaken(apsw.Connection):
        def pragma(self, name: str, *value: Any, **more: Any) -> Any:
            found = super().pragma(name, *value, **more)
            if name == "application_id":
                open_writer(path, READINGS).close()
            return found

    assert _version(Overtaken(str(path)), READINGS, path) == 0
