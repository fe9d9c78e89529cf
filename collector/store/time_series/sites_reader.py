"""What a dashboard asks of several sites, answered from what has arrived of them on the server."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.store.reader import Batch, Ledger, Samples
from collector.store.readings_schema import MOVED
from collector.store.runs import Run
from collector.store.site_state import SiteState
from collector.store.time_series.held import READING, Held
from collector.store.time_series.lines import as_sent
from collector.store.time_series.not_held import KeptAtTheSite
from collector.store.time_series.rows import LAST_MS
from collector.store.time_series.server_reader import by_site

if TYPE_CHECKING:
    from collector.store.time_series.sites import Sites, Step


class ServerReader(KeptAtTheSite):
    """See store.reads.Reads: what a dashboard asks, answered from what the sites have sent."""

    def __init__(self, store: Sites) -> None:
        self._store = store
        self._sites = {
            f"{site.name}:{probe.id}": (site, probe)
            for site in store.believed()
            for probe in (site.facts.probes if site.facts else ())
        }

    def close(self) -> None:
        """Nothing is held open."""

    def probes(self) -> list[ProbeFacts]:
        """Sorted by id."""
        found = [
            replace(probe, id=name, zone=f"{site.name} · {probe.zone}")
            for name, (site, probe) in self._sites.items()
        ]
        return sorted(found, key=lambda probe: probe.id)

    def suspicions(self) -> list[Suspicion]:
        """By probe, kind and beginning."""
        found = [
            _told(site.name, item)
            for site in self._store.believed()
            for item in (site.facts.suspicions if site.facts else ())
        ]
        return sorted(found, key=lambda item: (item.probe, item.kind, item.since))

    def clocks(self) -> Mapping[str, list[Run]]:
        """By the site's name."""
        return {site.name: list(site.facts.runs) for site in self._store.believed() if site.facts}

    def site_of(self, probe: str) -> str:
        """By what the sites say of their probes, never by the text; "" if none of them has it."""
        known = self._sites.get(probe)
        return known[0].name if known else ""

    def sites(self) -> list[SiteState]:
        """In the order of the settings."""
        return self._store.states()

    def last_batch(self) -> int:
        """The sum of what has arrived of each site."""
        return self._store.batch

    def seqs(self, batch: int) -> Mapping[str, int]:
        """What that sum meant, when it was the sum; empty if nobody knows any more."""
        return dict(self._store.seqs_at.get(batch, {}))

    def batches_after(self, seq: int) -> list[Batch]:
        """The commits after that sum, in the order in which they arrived here. A sum of long ago, or of another
        process: all is to be read again."""
        last = self._store.batch
        if seq == last:
            return []
        if seq not in self._store.seqs_at:
            return [Batch(last, 0, LAST_MS, MOVED)]
        return [step.batch for step in list(self._store.steps) if step.batch.seq > seq]

    def readings_after(self, seq: int, limit: int) -> tuple[list[Reading], int]:
        """Readings of the commits after that sum, as store.reader.Reader tells them."""
        found: list[Reading] = []
        for step in [step for step in list(self._store.steps) if step.batch.seq > seq]:
            if len(found) >= limit and step.batch.seq > seq:
                break
            found += _readings(step)
            seq = step.batch.seq
        return found, seq

    def samples(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Samples:
        """One series from start to end, both ends in, whatever its quality."""
        one = self._one(probe, quantity, start_ms, end_ms)
        return one.t, one.value, one.quality

    def ledger(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Ledger:
        """The same, and the batch of its site that each reading came in."""
        one = self._one(probe, quantity, start_ms, end_ms)
        return one.t, one.value, one.quality, one.seq

    def _one(self, probe: str, quantity: Quantity, start: int, end: int) -> Held:
        if probe not in self._sites:
            return Held.nothing()
        site, facts = self._sites[probe]
        return site.held(start, end, [facts.id], quantity).get((facts.id, quantity), Held.nothing())

    def every(self, start_ms: int, end_ms: int) -> dict[tuple[str, Quantity], Samples]:
        """Every series from start to end, both ends in, in one question to the server."""
        sites = self._store.believed()
        if not sites:
            return {}
        where = {"site": [as_sent(site.name) for site in sites]}
        found = by_site(self._store.engine.rows("reading", where, READING, start_ms, end_ms))
        return {
            (f"{site.name}:{probe}", quantity): (one.t, one.value, one.quality)
            for site in sites
            for (probe, quantity), one in site.of_rows(found.get(site.name, [])).items()
        }

    def latest(self, probe: str, quantity: Quantity) -> Reading | None:
        """The newest reading of a series, whatever its quality; None if there is none."""
        if probe not in self._sites:
            return None
        site, facts = self._sites[probe]
        found = site.latest([(facts.id, quantity)], self._store.now()).get((facts.id, quantity))
        return None if found is None else replace(found, probe=probe)

    def newest(self) -> list[Reading]:
        """Of every series of the sites' probes the newest reading, whatever its quality."""
        found = []
        for site in self._store.believed():
            keys = [(probe.id, of) for probe in (site.facts.probes if site.facts else ()) for of in Quantity]
            latest = site.latest(keys, self._store.now())
            found += [replace(item, probe=f"{site.name}:{item.probe}") for item in latest.values()]
        return found


def _readings(step: Step) -> list[Reading]:
    """In the order of their times. Of a revised commit all that holds between its times."""
    site, batch = step.site, step.batch
    found = []
    for (probe, quantity), one in site.held(batch.t_min, batch.t_max).items():
        new = (one.seq > step.site_since) & (one.seq <= step.site_seq)
        chosen = one if batch.revised else one.only(new)
        found += [chosen.reading(f"{site.name}:{probe}", quantity, i) for i in range(len(chosen))]
    return sorted(found, key=lambda reading: (reading.at, reading.probe, reading.quantity))


def _told(site: str, item: Suspicion) -> Suspicion:
    """By the names that this store uses."""
    numbers = dict(item.numbers)
    if "other" in numbers:
        numbers["other"] = f"{site}:{numbers['other']}"
    return replace(item, probe=f"{site}:{item.probe}", numbers=numbers)
