"""What the store says of the probes: their last values, what was refused, and names nobody claims."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, field, replace

import numpy as np

from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.store.reader import HeardName, Tally
from collector.store.reads import NotHeld, Reads, Where, open_store
from collector.store.schema import NotYet
from collector.store.sequences import Missing
from collector.store.site_state import SiteState
from dashboard.field_check import RawSeries, Series
from dashboard.site_conditions import holding_sites


@dataclass(frozen=True)
class Heard:
    """Probes of the settings, the newest reading of each probe and quantity, refusals, names unclaimed, suspicions.

    missing  devices whose own count has gaps
    rivals   how many second, other values came for a time that had one already
    sites    those that a time-series server holds; site_of: by probe
    all_held False: what was refused, names, rivals and gaps in counts stay with each site, and are not known here
    """

    probes: tuple[ProbeFacts, ...] = ()
    newest: tuple[Reading, ...] = ()
    refused: tuple[Tally, ...] = ()
    unclaimed: tuple[HeardName, ...] = ()
    suspicions: tuple[Suspicion, ...] = ()
    rivals: int = 0
    missing: tuple[Missing, ...] = ()
    sites: tuple[SiteState, ...] = ()
    site_of: Mapping[str, str] = field(default_factory=dict)
    all_held: bool = True

    def held_back(self, at: int) -> frozenset[str]:
        """Probes whose sites are cut off at `at` (UTC ms), or keep what these have said."""
        holding = holding_sites(self.sites, at)
        return frozenset(probe for probe, site in self.site_of.items() if site in holding)

    def of(self, probe: str) -> list[Reading]:
        """The newest readings of one probe."""
        return [reading for reading in self.newest if reading.probe == probe]


def hear(readings: Where) -> Heard:
    """One look at them. Raises collector.store.schema.NotYet while collect has never run."""
    with closing(open_store(readings)) as reader:
        probes = reader.probes()
        newest = {(reading.probe, reading.quantity): reading for reading in _newest(reader)}
        found = [newest.get((probe.id, quantity)) for probe in probes for quantity in Quantity]
        heard = Heard(
            probes=tuple(probes),
            newest=tuple(reading for reading in found if reading is not None),
            suspicions=tuple(reader.suspicions()),
            sites=tuple(reader.sites()),
            site_of={probe.id: reader.site_of(probe.id) for probe in probes},
        )
        try:
            return replace(
                heard,
                refused=tuple(reader.tallies()),
                unclaimed=tuple(reader.heard()),
                rivals=reader.conflicts(),
                missing=tuple(reader.missing()),
            )
        except NotHeld:
            return replace(heard, all_held=False)


def _newest(reader: Reads) -> list[Reading]:
    """None of them while a server does not answer: how its sites stand says so."""
    try:
        return reader.newest()
    except NotYet:
        return []


def series(readings: Where) -> Series:
    """Series of one store. Raises collector.store.schema.NotYet while collect has never run."""

    def read(probe: str, quantity: Quantity, start: int, end: int) -> RawSeries:
        with closing(open_store(readings)) as reader:
            return RawSeries(*reader.samples(probe, quantity, start, end))

    return read


def nothing(probe: str, quantity: Quantity, start: int, end: int) -> RawSeries:
    """No readings: for a shop without a store."""
    return RawSeries(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int64))


def hearing(readings: Where) -> Callable[[], Heard]:
    """hear() of one store, for the pages."""
    return lambda: hear(readings)
