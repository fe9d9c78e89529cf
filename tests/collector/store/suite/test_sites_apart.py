"""What is wrong with one site, or with what two computers say under its name, is not taken for another's."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from collector.store.reader import Reader
from collector.store.time_series import lines
from dashboard.follow import Follower
from tests.collector.store.suite.site import MINUTE, T0, TEMPERATURE, Site
from tests.collector.store.suite.watchstand import Watchstand
from tests.collector.store.suite.watchstand import stand as stand


def test_a_site_whose_facts_make_no_sense_does_not_hold_up_the_others(stand: Watchstand) -> None:
    """It may be of another version: south, which comes after it, is followed on, and north is not known."""
    north, south = stand.sites
    for site in stand.sites:
        site.commit([1])
        site.send()
    stand.look()
    told_of_it = facts_of(north)
    odd = [text.replace("place=surface", "corner=surface") for text in told_of_it]
    assert odd != told_of_it
    stand.memory.write(odd)
    south.commit([2])
    south.send()
    with closing(stand.look()) as reader:
        assert len(reader.samples("south:S1", TEMPERATURE, 0, 2**60)[0]) == 2
    state = stand.state(after=61)
    assert not state.known
    assert "what site north tells of itself makes no sense" in state.odd
    with closing(stand.look()) as reader:
        assert {probe.id for probe in reader.probes()} == {"south:A 1", "south:S1"}
    north.tell_facts()
    assert stand.state().known
    assert stand.state().odd == ""


def facts_of(site: Site) -> list[str]:
    with closing(Reader.open(site.path)) as reader:
        return lines.fact_lines(site.name, reader.probes(), reader.suspicions(), reader.runs(), site.tick())


def test_two_computers_that_send_under_one_name_are_told_and_nothing_of_it_is_believed_until_one_is_left(
    stand: Watchstand, tmp_path: Path
) -> None:
    """As after a card was copied to set up the second shed: the same history, the same probes."""
    north, _ = stand.sites
    other = Site("north", tmp_path / "copied", stand.memory.write)
    for minute in range(8):
        for site in (north, other):
            site.commit([minute], offset=20.0 if site is other else 0.0)
    stand.clock.at = north.clock.at
    north.send()
    with closing(stand.look()) as reader:
        assert {probe.id for probe in reader.probes()} == {"north:A 1", "north:S1"}
    follower = Follower(stand.served, stand.clock.at)
    follower.refresh()
    for _ in range(2):
        in_turns(stand, other, north)
    assert stand.state().shared
    assert "north:S1" not in {probe.id for probe in stand.look().probes()}
    for _ in range(5):
        in_turns(stand, north)
    assert not stand.state().shared
    north.commit([30])
    north.send()
    stand.later(2)
    follower.refresh()
    trace = follower.trace("north:S1", TEMPERATURE)
    assert trace is not None
    assert trace.samples.t[-1] == T0 + 30 * MINUTE
    other.close()


def test_a_backup_put_back_after_a_cut_owes_no_more_than_it_has(stand: Watchstand, tmp_path: Path) -> None:
    """Else its probes would be thought to be on their way for ever."""
    north, _ = stand.sites
    for minute in range(6):
        north.commit([minute])
    north.send()
    stand.look()
    stand.later(300)
    north.clock.at = stand.clock.at
    north.beat(behind=3)
    assert stand.state().catches_up
    again = Site("north", tmp_path / "restored", stand.memory.write)
    again.clock.at, again._tick = stand.clock.at, north._tick
    again.commit([7])
    again.send()
    assert not stand.state().catches_up
    again.close()


def in_turns(stand: Watchstand, *sites: Site) -> None:
    """Half a minute, in which each of them speaks."""
    for site in sites:
        stand.later(30 / len(sites))
        site.clock.at = stand.clock.at
        site.send()
    stand.look(after=1.0)


def test_a_forwarder_that_was_started_anew_again_and_again_is_still_one(stand: Watchstand) -> None:
    north, _ = stand.sites
    north.commit([1])
    for number in range(100, 106):
        north.by = number
        in_turns(stand, north)
        assert not stand.state().shared
