"""What is wrong with one site, or with what two computers say under its name, is not taken for another's."""

from __future__ import annotations

from contextlib import closing

from collector.store.reader import Reader
from collector.store.time_series import lines
from tests.collector.store.suite.site import TEMPERATURE, Site
from tests.collector.store.suite.test_late import Watchstand
from tests.collector.store.suite.test_late import stand as stand


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
