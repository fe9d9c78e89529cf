"""What a server shows late, not at all, or cannot say just now: nothing is taken for more than it is."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.reading import Suspicion
from collector.store.readings_schema import FLAGS
from collector.store.reads import Reads
from collector.store.site_state import SiteState
from collector.store.time_series.asking import Unanswered
from dashboard.follow import Follower
from tests.collector.store.suite.backends import Memory, Served
from tests.collector.store.suite.site import DAY, HOUR, MINUTE, PROBES, T0, TEMPERATURE, Site


class Watchstand:
    """A dashboard over a server in memory; `clock` is the dashboard's own, `seconds` its steady one."""

    def __init__(self, folder: Path, names: tuple[str, ...] = ("north", "south")) -> None:
        self.memory = Memory()
        self.engine = self.memory.engine
        self.clock = SteppedClock(T0)
        self.seconds = 1000.0
        self.goes_with_the_sites = True
        self.sites = [Site(name, folder / name, self.memory.write) for name in names]
        self.served = Served(self.memory, names, self.clock, lambda: self.seconds)

    def later(self, seconds: float) -> None:
        self.seconds += seconds
        if self.goes_with_the_sites:
            self.clock.at = max(self.clock.at, *(site.clock.at for site in self.sites), 0)
        self.clock.at += round(1000 * seconds)

    def look(self, after: float = 2.0) -> Reads:
        self.later(after)
        return self.served.open()

    def state(self, name: str = "north", after: float = 2.0) -> SiteState:
        with closing(self.look(after)) as reader:
            return next(site for site in reader.sites() if site.name == name)


@pytest.fixture
def stand(tmp_path: Path) -> Iterator[Watchstand]:
    one = Watchstand(tmp_path)
    yield one
    for site in one.sites:
        site.close()


def values(reader: Reads) -> list[float]:
    return [float(value) for value in reader.samples("north:S1", TEMPERATURE, 0, 2**60)[1]]


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


@dataclass
class Told:
    cut: bool
    lags: bool
    ahead: bool
    missing: int


def told(stand: Watchstand, after: float = 2.0) -> Told:
    state, now = stand.state(after=after), stand.clock.at
    return Told(state.is_cut(now), state.lags(now), state.is_ahead, state.missing)


def beat(stand: Watchstand, behind: int = 0) -> None:
    """The site goes on as long as the dashboard."""
    stand.sites[0].clock.at = stand.clock.at
    stand.sites[0].beat(behind)


def test_late_data_a_silent_probe_a_lagging_forwarder_and_a_cut_site_are_told_apart(
    stand: Watchstand,
) -> None:
    north = stand.sites[0]
    north.commit([0])
    north.send()
    assert told(stand) == Told(cut=False, lags=False, ahead=False, missing=0)
    stand.later(200)
    assert told(stand) == Told(cut=True, lags=False, ahead=False, missing=0)
    beat(stand)  # back, and its probe has said nothing
    assert told(stand) == Told(cut=False, lags=False, ahead=False, missing=0)
    with closing(stand.look()) as reader:
        newest = reader.latest("north:S1", TEMPERATURE)
    assert newest is not None
    assert newest.at == T0
    for _ in range(6):
        stand.later(28)
        beat(stand, behind=5)
        told(stand)
    assert told(stand) == Told(cut=False, lags=True, ahead=False, missing=0)
    beat(stand)
    assert told(stand) == Told(cut=False, lags=False, ahead=False, missing=0)
    north.commit([-60 * 24])  # a logger's file of yesterday
    north.clock.at = stand.clock.at
    north.send()
    state = stand.state()
    assert state.arrived_at is not None
    assert state.newest_at is not None
    assert state.arrived_at - state.newest_at > 23 * HOUR


def test_a_dashboard_that_starts_while_a_site_is_cut_off_knows_it_at_once(stand: Watchstand) -> None:
    north = stand.sites[0]
    north.commit([0])
    north.send()
    stand.later(10 * 60)
    assert told(stand) == Told(cut=True, lags=False, ahead=False, missing=0)


def test_a_site_that_lags_a_little_each_time_does_not_lag(stand: Watchstand) -> None:
    north = stand.sites[0]
    for minute in range(8):
        north.commit([minute / 2])
        stand.later(28)
        north.send()
        beat(stand, behind=1)
        assert not told(stand).lags


def test_of_a_site_whose_clock_is_ahead_nothing_is_believed(stand: Watchstand) -> None:
    """Its readings would seem fresh for as long as it is ahead, also when the site is cut off."""
    north = stand.sites[0]
    north.commit([0])
    north.send()
    with closing(stand.look()) as reader:
        assert len(reader.probes()) == 2
    stand.goes_with_the_sites = False
    north.clock.at = stand.clock.at + 10 * MINUTE
    north.beat()
    assert told(stand).ahead
    with closing(stand.look()) as reader:
        assert reader.probes() == []
    stand.later(2)
    north.clock.at = stand.clock.at
    north.beat()
    assert not told(stand).ahead
    with closing(stand.look()) as reader:
        assert len(reader.probes()) == 2


def test_a_site_that_is_believed_only_later_is_read_from_its_beginning(stand: Watchstand) -> None:
    north, south = stand.sites
    south.commit([0])
    south.send()
    north.commit(range(5))
    stand.memory.write(north.portions()[0])
    north.beat()
    stand.look()
    follower = Follower(stand.served, stand.clock.at)
    follower.refresh()
    assert set(follower.probes) == {"south:A 1", "south:S1"}
    north.tell_facts()
    stand.later(2)
    follower.refresh()
    trace = follower.trace("north:S1", TEMPERATURE)
    assert trace is not None
    assert len(trace.samples.t) == 5


def test_a_site_where_a_backup_was_put_back_begins_anew_and_is_followed_again(
    stand: Watchstand, tmp_path: Path
) -> None:
    north = stand.sites[0]
    for minute in range(6):
        north.commit([minute])
    north.send()
    follower = Follower(stand.served, stand.clock.at)
    stand.look()
    follower.refresh()
    with closing(stand.look()) as reader:
        before = reader.last_batch()
    again = Site("north", tmp_path / "restored", stand.memory.write)
    again.clock.at, again._tick = stand.clock.at, north._tick
    north.close()
    stand.sites[0] = again
    again.commit(range(2))
    again.send()
    stand.later(2)
    follower.refresh()
    again.commit([9])
    again.send()
    with closing(stand.look()) as reader:
        assert reader.last_batch() > before, "a sum never falls"
        assert reader.seqs(reader.last_batch())["north"] == 2
    follower.refresh()
    trace = follower.trace("north:S1", TEMPERATURE)
    assert trace is not None
    assert trace.samples.t[-1] == T0 + 9 * MINUTE


def test_a_run_that_moved_counts_only_with_what_is_known_of_its_clock_then(stand: Watchstand) -> None:
    north = stand.sites[0]
    north.commit(range(3))
    north.run_unknown()
    north.commit([4, 5])
    north.send()
    with closing(stand.look()) as reader:
        old = reader.clocks()["north"]
    north.run_found(2 * HOUR)
    north.commit([200])
    for portion in north.portions():
        stand.memory.write(portion)
    stand.later(2)
    with closing(stand.look()) as reader:
        assert reader.clocks()["north"] == old
        moved = [at for at in reader.samples("north:S1", TEMPERATURE, 0, 2**60)[0].tolist() if at > T0 + HOUR]
        assert moved == []
    north.tell_facts()
    with closing(stand.look()) as reader:
        assert reader.clocks()["north"] != old
        assert len(reader.samples("north:S1", TEMPERATURE, T0 + HOUR, 2**60)[0]) == 3


def test_what_a_look_costs_does_not_grow_with_what_there_is(stand: Watchstand) -> None:
    north = stand.sites[0]
    counts = []
    for day in range(1, 4):
        north.commit([day * 24 * 60 + minute for minute in range(30)])
        stand.clock.at = max(stand.clock.at, T0 + day * DAY)
        north.send()
        stand.look()
        before = stand.engine.asked
        stand.look()
        counts.append(stand.engine.asked - before)
    assert counts[0] == counts[-1]
    assert counts[-1] <= 6
