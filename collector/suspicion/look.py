"""All comparisons of a site's probes, and what they do to the suspicions that stand. Pure: no clock, no files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from collector.reading import Suspicion
from collector.suspicion import lean, loose, sunlit, swapped, twins, wet
from collector.suspicion.finding import Votes
from collector.suspicion.grid import BIN_MS, Site
from collector.suspicion.response import NOISE_K2

DAY = 720


def look(site: Site) -> Iterator[Votes]:
    """Every check's votes. Drift wants two days of bins; all others look at the last one."""
    noise = {probe.id: NOISE_K2 * min(1.0, probe.interval_s * 1000 / BIN_MS) for probe in site.probes}
    day = site.last(DAY)
    yield from (vote.moved(len(site.hour) - len(day.hour)) for vote in compare(day, noise))
    yield from twins.drift_votes(site)


def compare(day: Site, noise: dict[str, float]) -> list[Votes]:
    """The checks that a day of bins is enough for. noise: variance of one bin's mean, K², by probe."""
    return [
        *loose.votes(day, noise),
        *swapped.votes(day),
        *sunlit.votes(day),
        *wet.votes(day),
        *twins.unit_votes(day),
        *lean.votes(day, noise),
    ]


def update(known: Iterable[Suspicion], site: Site, votes: Iterable[Votes]) -> list[Suspicion]:
    """Suspicions that are new, shown anew or ended, given those `known`.

    What stands, stands until the readings speak against it: it does not end because its evidence has grown old.
    """
    listed = list(known)
    return [changed for vote in votes for changed in _updated(listed, site, vote)]


def _updated(known: list[Suspicion], site: Site, vote: Votes) -> list[Suspicion]:
    mine = [item for item in known if (item.probe, item.kind) == (vote.probe, vote.kind)]
    standing = next((item for item in mine if item.until is None), None)
    ended = max((item.until for item in mine if item.until is not None), default=0)
    if vote.toggles and ended:
        ended += vote.window * BIN_MS  # the bins after an exchange tell of the same exchange
    spoken = [int(i) for i in np.flatnonzero(vote.speaks_for) if site.at(int(i)) > ended]
    against = [int(i) for i in np.flatnonzero(vote.against) if site.at(int(i)) > ended]
    if standing is not None and vote.toggles:
        again = [i for i in spoken if site.at(i) > standing.shown_to + vote.window * BIN_MS]
        return [replace(standing, until=site.at(again[0]))] if again else []
    last = spoken[-1] if spoken else None
    if last is not None and not any(i > last for i in against):
        return _shown(standing, site, vote, spoken, against)
    shown_to = site.at(last) if last is not None else 0
    after = [i for i in against if standing is not None and site.at(i) > max(standing.shown_to, shown_to)]
    return [replace(standing, until=site.at(after[0]))] if standing is not None and after else []


def _shown(
    standing: Suspicion | None, site: Site, vote: Votes, spoken: list[int], against: list[int]
) -> list[Suspicion]:
    last = spoken[-1]
    begin = max((i for i in against if i < last), default=-1)
    first = next(i for i in spoken if i > begin)
    shown = {
        "shown_from": site.at(last - vote.window),
        "shown_to": site.at(last),
    }
    if standing is None:
        since = site.at(first - vote.window)
        return [Suspicion(vote.probe, vote.kind, since, None, **shown, numbers=vote.numbers(last))]
    if shown["shown_to"] <= standing.shown_to:
        return []
    return [
        replace(
            standing,
            shown_from=shown["shown_from"],
            shown_to=shown["shown_to"],
            numbers=vote.numbers(last),
        )
    ]
