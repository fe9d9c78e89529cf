"""What a server shows late, not at all, or cannot say just now: nothing is taken for more than it is."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from collector.reading import Suspicion
from collector.store.readings_schema import FLAGS
from collector.store.time_series.asking import Unanswered
from dashboard.follow import Follower
from tests.collector.store.suite.site import MINUTE, PROBES, T0, TEMPERATURE
from tests.collector.store.suite.watchstand import Watchstand, values
from tests.collector.store.suite.watchstand import stand as stand


def test_a_commit_counts_only_when_all_its_readings_are_seen(stand: Watchstand) -> None:
    north = stand.sites[0]
    north.commit([1])
    north.send()
    stand.look()
    stand.engine.hides = lambda line: "quality=" in line and line.endswith(str(T0 + 3 * MINUTE))
    north.commit([2, 3])
    north.send()
    with closing(stand.look()) as reader:
        assert reader.last_batch() == 1
        assert len(values(reader)) == 1
    stand.engine.hides = lambda line: False
    with closing(stand.look()) as reader:
        assert reader.last_batch() == 2
        assert len(values(reader)) == 3


def test_after_a_minute_it_counts_without_them_they_are_missing_and_are_read_again_once_they_are_seen(
    stand: Watchstand,
) -> None:
    north = stand.sites[0]
    north.commit([1])
    north.send()
    follower = Follower(stand.served, stand.clock.at)
    follower.refresh()
    stand.engine.hides = lambda line: "quality=" in line and line.endswith(str(T0 + 3 * MINUTE))
    north.commit([2, 3])
    north.send()
    stand.look()
    with closing(stand.look(61)) as reader:
        assert reader.last_batch() == 2
        assert len(values(reader)) == 2
        assert reader.sites()[0].missing == 1
    follower.refresh()
    stand.engine.hides = lambda line: False
    assert stand.state(after=30).missing == 0
    north.commit([4])
    north.send()
    stand.later(2)
    follower.refresh()
    trace = follower.trace("north:S1", TEMPERATURE)
    assert trace is not None
    assert [(at - T0) // MINUTE for at in trace.samples.t.tolist()] == [1, 2, 3, 4]
    with closing(stand.look()) as reader:
        assert FLAGS in [batch.revised for batch in reader.batches_after(2)]


def test_a_commit_whose_predecessor_is_not_seen_yet_waits_for_it(stand: Watchstand) -> None:
    north = stand.sites[0]
    north.commit([1])
    north.send()
    stand.look()
    north.commit([2])
    north.commit([3])
    first, second = north.portions(at_once=1)
    stand.memory.write(second)
    with closing(stand.look()) as reader:
        assert reader.last_batch() == 1
    stand.memory.write(first)
    with closing(stand.look()) as reader:
        assert reader.last_batch() == 3
        assert [batch.seq for batch in reader.batches_after(1)] == [2, 3]


def test_facts_that_are_not_whole_leave_the_old_ones_for_a_minute_and_then_nothing(stand: Watchstand) -> None:
    north = stand.sites[0]
    north.commit([1])
    north.send()
    with closing(stand.look()) as reader:
        assert [probe.id for probe in reader.probes()] == [f"north:{probe.id}" for probe in PROBES]
    stand.engine.hides = lambda line: line.startswith("suspicion")
    north.writer.suspect([Suspicion("S1", "tape_off", T0, None, T0, T0, {})])
    north.clock.at += MINUTE
    north.tell_facts()
    with closing(stand.look()) as reader:
        assert len(reader.probes()) == 2
    with closing(stand.look(61)) as reader:
        assert reader.probes() == []
        assert reader.samples("north:S1", TEMPERATURE, 0, 2**60)[0].tolist() == []
        assert not reader.sites()[0].known
    stand.engine.hides = lambda line: False
    with closing(stand.look()) as reader:
        assert [item.kind for item in reader.suspicions()] == ["tape_off"]


def test_a_field_that_is_not_seen_yet_is_not_taken_for_one_that_was_left_out(stand: Watchstand) -> None:
    """A suspicion that has ended is told from one that stands by a field alone."""
    north = stand.sites[0]
    north.writer.suspect([Suspicion("S1", "tape_off", T0, T0 + MINUTE, T0, T0, {})])
    stand.engine.hides = lambda line: line.startswith("suspicion")
    north.send()
    stand.memory.write(
        [
            f"suspicion,site=north,item=0,probe=S1,kind=tape_off since={T0},shown_from={T0},shown_to={T0} {T0 + 1}"
        ]
    )
    with closing(stand.look()) as reader:
        assert reader.probes() == []


def test_a_server_that_falls_silent_leaves_what_was_seen_and_says_why(stand: Watchstand) -> None:
    north = stand.sites[0]
    north.commit([1])
    north.send()
    stand.look()
    stand.engine.error = Unanswered("http://127.0.0.1:1 does not answer: refused")
    with closing(stand.look()) as reader:
        assert reader.last_batch() == 1
        assert len(reader.probes()) == 2
        with pytest.raises(Unanswered, match="does not answer"):
            values(reader)
    state = stand.state(after=150)
    assert state.is_cut(stand.clock.at)
    assert state.why == "http://127.0.0.1:1 does not answer: refused"
    stand.engine.error = None
    north.clock.at = stand.clock.at
    north.beat()
    assert not stand.state().is_cut(stand.clock.at)


def test_a_server_that_never_answered_leaves_nothing_known(tmp_path: Path) -> None:
    stand = Watchstand(tmp_path, ("north",))
    stand.engine.error = Unanswered("http://127.0.0.1:1 does not answer: refused")
    with closing(stand.look()) as reader:
        assert reader.probes() == []
        assert reader.every(0, 2**60) == {}
    follower = Follower(stand.served, T0)
    assert follower.refresh() == set()
    stand.engine.error = None
    stand.sites[0].commit([1])
    stand.sites[0].send()
    stand.later(2)
    assert follower.refresh() == {"north:S1"}
    stand.sites[0].close()


def test_a_follower_that_is_interrupted_takes_in_what_it_owes_the_next_time(stand: Watchstand) -> None:
    north = stand.sites[0]
    north.commit(range(5))
    north.send()
    stand.look()
    follower = Follower(stand.served, stand.clock.at)
    follower.refresh()
    north.writer.connection.execute("UPDATE reading SET quality = 1024 WHERE t = ?", (T0 + 2 * MINUTE,))
    north.writer.connection.execute(
        "INSERT INTO batch(seq, t_min, t_max, run, committed, revised) VALUES(2, ?, ?, 1, ?, 1)",
        (T0 + 2 * MINUTE, T0 + 2 * MINUTE, T0),
    )
    north.send()
    stand.look()
    with closing(stand.look()):
        stand.engine.error = Unanswered("it went away between two questions")
    with pytest.raises(Unanswered):
        follower.refresh()
    stand.engine.error = None
    stand.later(2)
    follower.refresh()
    own = Follower(north.path, stand.clock.at)
    own.refresh()
    trace, expected = follower.trace("north:S1", TEMPERATURE), own.trace("S1", TEMPERATURE)
    assert trace is not None
    assert expected is not None
    assert trace.samples.t.tolist() == expected.samples.t.tolist()
