"""How a site stands: cut off, lagging, ahead, begun anew; each is told for what it is."""

from __future__ import annotations

from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from dashboard.follow import Follower
from tests.collector.store.suite.site import DAY, HOUR, MINUTE, T0, TEMPERATURE, Site
from tests.collector.store.suite.watchstand import Watchstand
from tests.collector.store.suite.watchstand import stand as stand


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
