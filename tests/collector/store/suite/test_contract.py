"""Whatever holds the readings gives the same: readings.db is the measure. InfluxDB agrees with it to the last
bit, VictoriaMetrics but for the twelfth digit of a value."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from collector.reading import Quality, Quantity, Reading, Suspicion
from collector.store.reader import Reader
from collector.store.reads import NotHeld, Reads, open_store
from collector.store.rechecks import Changed, Stored
from dashboard.follow import Follower
from tests.collector.store.suite.backends import Backend, Served, backend, fresh_names
from tests.collector.store.suite.site import DAY, HOUR, HUMIDITY, MINUTE, PROBES, T0, TEMPERATURE, Site

KINDS = ("influxdb", "victoria-metrics")


@pytest.fixture(scope="module", params=KINDS)
def server(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Backend]:
    with backend(request.param, tmp_path_factory.mktemp("server")) as one:
        yield one


class House:
    """Two sites whose probes have the same names, one dashboard over the server, and each site's readings.db."""

    def __init__(self, server: Backend, folder: Path) -> None:
        self.names = fresh_names(2)
        self.north, self.south = (
            Site(name, folder / str(number), server.write) for number, name in enumerate(self.names)
        )
        self.served = Served(server, self.names, self.north.clock)
        self.followers = {site: Follower(site.path, T0 - HOUR) for site in self.sites}
        self.follower = Follower(self.served, T0 - HOUR)

    @property
    def sites(self) -> tuple[Site, Site]:
        return self.north, self.south

    def send(self) -> None:
        for site in self.sites:
            site.send()

    def agrees(self) -> None:
        """All that a reader answers, and what two followers that have looked each time make of it."""
        with closing(self.served.open()) as there:
            for site in self.sites:
                with closing(Reader.open(site.path)) as here:
                    same(here, there, site.name, self.served.backend.rounds)
        self.follower.refresh()
        for site, follower in self.followers.items():
            follower.refresh()
            for probe in PROBES:
                for quantity in (TEMPERATURE, HUMIDITY):
                    mine = follower.trace(probe.id, quantity)
                    theirs = self.follower.trace(f"{site.name}:{probe.id}", quantity)
                    assert mine is not None
                    assert theirs is not None
                    assert theirs.samples.t.tolist() == mine.samples.t.tolist()
                    rounds = self.served.backend.rounds
                    assert_allclose(theirs.samples.value, mine.samples.value, rtol=rounds, atol=0)
                    assert theirs.doubt == (mine.doubt and told(mine.doubt, site.name))

    def close(self) -> None:
        for site in self.sites:
            site.close()


def told(item: Suspicion, site: str) -> Suspicion:
    numbers = {
        key: f"{site}:{value}" if isinstance(value, str) else value for key, value in item.numbers.items()
    }
    return replace(item, probe=f"{site}:{item.probe}", numbers=numbers)


def same(here: Reader, there: Reads, site: str, rounds: float) -> None:
    """rounds: by what share values may differ."""
    assert [probe for probe in there.probes() if there.site_of(probe.id) == site] == [
        replace(probe, id=f"{site}:{probe.id}", zone=f"{site} · {probe.zone}") for probe in here.probes()
    ]
    assert there.clocks()[site] == here.runs()
    mine = [item for item in there.suspicions() if there.site_of(item.probe) == site]
    assert mine == [told(item, site) for item in here.suspicions()]
    newest = {(one.probe, one.quantity): one for one in there.newest() if there.site_of(one.probe) == site}
    expected = {(f"{site}:{one.probe}", one.quantity): one for one in here.newest()}
    assert newest.keys() == expected.keys()
    for key, one in expected.items():
        is_reading(newest[key], one, site, rounds)
    for start, end in ((0, 2**60), (T0 + 2 * MINUTE, T0 + 5 * MINUTE), (T0 - DAY, T0 + DAY), (0, T0 - 1)):
        every = there.every(start, end)
        for probe in PROBES:
            for quantity in (TEMPERATURE, HUMIDITY):
                key = f"{site}:{probe.id}", quantity
                ledger = here.ledger(probe.id, quantity, start, end)
                are_columns(there.ledger(*key, start, end), ledger, rounds)
                are_columns(there.samples(*key, start, end), ledger[:3], rounds)
                assert (key in every) == bool(len(ledger[0]))
                if key in every:
                    are_columns(every[key], ledger[:3], rounds)
                found, latest = there.latest(*key), here.latest(probe.id, quantity)
                assert (found is None) == (latest is None)
                if found is not None and latest is not None:
                    is_reading(found, latest, site, rounds)


def are_columns(found: Sequence[NDArray[Any]], expected: Sequence[NDArray[Any]], rounds: float) -> None:
    for i, (column, other) in enumerate(zip(expected, found, strict=True)):
        assert other.dtype == column.dtype
        assert_allclose(other, column, rtol=rounds if i == 1 else 0, atol=0)


def is_reading(found: Reading, expected: Reading, site: str, rounds: float) -> None:
    assert found.value == pytest.approx(expected.value, rel=rounds, abs=0)
    assert replace(found, value=0.0) == replace(expected, probe=f"{site}:{expected.probe}", value=0.0)


@pytest.fixture
def house(server: Backend, tmp_path: Path) -> Iterator[House]:
    one = House(server, tmp_path)
    yield one
    one.close()


def test_two_sites_with_the_same_probe_names_are_kept_apart(house: House) -> None:
    house.north.commit(range(6))
    house.south.commit(range(4), offset=5.0)
    house.send()
    house.agrees()
    with closing(house.served.open()) as reader:
        values = [reader.samples(f"{name}:S1", TEMPERATURE, 0, 2**60)[1].tolist() for name in house.names]
    assert len(values[0]) == 6
    assert len(values[1]) == 4
    assert values[0][0] != values[1][0]


def test_what_comes_later_is_followed_by_commits_and_late_readings_are_put_in_their_place(
    house: House,
) -> None:
    house.send()
    house.north.commit([10, 11, 12])
    house.send()
    house.agrees()
    house.north.commit([13])
    house.north.commit([3, 4])
    house.south.commit([2])
    house.send()
    house.agrees()
    house.north.commit_readings(
        [Reading("A 1", HUMIDITY, 71.25, T0 + 14 * MINUTE, T0 + 15 * MINUTE, Quality.LATE)]
    )
    house.send()
    house.agrees()


def test_other_flags_and_another_value_for_a_time_replace_what_had_been_sent(house: House) -> None:
    house.north.commit(range(10))
    house.send()
    house.agrees()
    with closing(Reader.open(house.north.path)) as reader:
        old = reader.readings_after(0, 100)[0][4]
    changed = Changed(Stored(old, old.at, 1), Quality.CONTRADICTED)
    house.north.writer.reflag([changed], None)
    house.send()
    house.agrees()
    house.north.commit_readings([replace(old, value=old.value - 3.0)])  # the least of two is served
    house.send()
    house.agrees()
    house.north.commit([4.5, 20])  # late, into a span that was revised before
    house.send()
    house.agrees()


def test_a_run_that_is_found_to_lie_elsewhere_moves_its_readings(house: House) -> None:
    house.north.commit(range(3))
    house.north.run_unknown()
    house.north.commit([4, 5, 6])
    house.send()
    house.agrees()
    house.north.run_found(2 * HOUR)
    house.north.commit([200])
    house.send()
    house.agrees()
    with closing(house.served.open()) as reader:
        t, _, _ = reader.samples(f"{house.north.name}:S1", TEMPERATURE, 0, 2**60)
    assert np.count_nonzero((t > T0 + 3 * MINUTE) & (t < T0 + HOUR)) == 0


def test_suspicions_travel_also_two_of_a_kind_and_an_end_that_is_told_later(house: House) -> None:
    house.north.commit(range(6))
    first = Suspicion("S1", "tape_off", T0, T0 + MINUTE, T0, T0 + MINUTE, {"other": "A 1", "error_K": 2.125})
    second = Suspicion("S1", "tape_off", T0 + 3 * MINUTE, None, T0 + 3 * MINUTE, T0 + 4 * MINUTE, {"n": 3})
    house.north.writer.suspect([first, second])
    house.send()
    house.agrees()
    house.north.writer.suspect([replace(second, until=T0 + 5 * MINUTE)])
    house.send()
    house.agrees()


def test_batches_are_numbered_by_the_sum_and_each_sum_is_known_by_site(house: House) -> None:
    house.send()
    with closing(house.served.open()) as reader:
        assert reader.last_batch() == 0
    house.north.commit([1])
    house.north.commit([2])
    house.south.commit([1])
    house.send()
    with closing(house.served.open()) as reader:
        assert reader.last_batch() == 3
        batches = reader.batches_after(0)
        readings, seq = reader.readings_after(0, 1000)
        some, before = reader.readings_after(0, 1)
    assert seq == 3
    assert [batch.seq for batch in batches] == sorted({batch.seq for batch in batches})
    assert len(readings) == 3
    assert 0 < before < 3
    assert some == readings[: len(some)]
    with closing(house.served.open()) as reader:
        assert reader.seqs(3) == {house.north.name: 2, house.south.name: 1}
        assert sum(reader.seqs(before).values()) == before


def test_a_dashboard_that_starts_later_finds_the_same_as_one_that_was_there(house: House) -> None:
    house.north.commit(range(10))
    house.send()
    house.agrees()
    with closing(Reader.open(house.north.path)) as reader:
        old = reader.readings_after(0, 100)[0][4]
    house.north.writer.reflag([Changed(Stored(old, old.at, 1), Quality.CONTRADICTED)], None)
    house.send()
    house.north.clock.at += DAY
    house.north.commit([24 * 60 + 1])
    house.send()
    house.agrees()
    later = Served(house.served.backend, house.names, house.north.clock)
    with closing(later.open()) as there, closing(Reader.open(house.north.path)) as here:
        same(here, there, house.north.name, house.served.backend.rounds)
        assert there.last_batch() == house.served.store.batch


def test_readings_of_a_year_ago_are_the_newest_of_a_probe_that_fell_silent(house: House) -> None:
    year = 365 * 24 * 60
    house.north.commit([-year, 1 - year])
    house.north.commit([0], probe="A 1")
    house.send()
    later = Served(house.served.backend, house.names, house.north.clock)
    with closing(later.open()) as there, closing(Reader.open(house.north.path)) as here:
        same(here, there, house.north.name, house.served.backend.rounds)


def test_what_a_server_cannot_hold_is_refused_with_the_reason(house: House) -> None:
    house.north.commit(range(3))
    house.send()
    with closing(open_store(house.served)) as reader:
        for ask in (
            lambda: reader.digests(20_000),
            reader.removed,
            lambda: reader.summaries("S1", Quantity.TEMPERATURE, 0, T0),
            reader.span,
            reader.tallies,
            reader.heard,
            reader.conflicts,
            reader.missing,
        ):
            with pytest.raises(NotHeld, match="stays in readings\\.db at the site"):
                ask()
