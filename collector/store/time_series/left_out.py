"""Rows on a server that make no sense: left out where a gap is honest, and told by the name of what they are of.

A reading that is left out is a gap, as where a site's line has not come: its commit is not whole, which is told, and
what had been there before a revision does not come back. A heartbeat that is left out was not heard. Without a commit
or a fact, though, more might seem to hold than does: such a row is no answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from collector.store.site_state import LeftOut
from collector.store.time_series.asking import NoSense
from collector.store.time_series.lines import as_named
from collector.store.time_series.rows import NO_TIME, Engine, Rows

MAY_LACK = ("reading", "heartbeat")
MOST = 1000
"""So many of one site are told apart."""


class Sifted:
    """An engine that takes down what the one within left out. For any thread."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._known: dict[str, set[tuple[str, int]]] = {}
        self._last: dict[str, tuple[str, int]] = {}

    def rows(
        self,
        measurement: str,
        where: Mapping[str, Sequence[str]],
        fields: Sequence[str],
        start: int,
        end: int,
    ) -> list[Rows]:
        """See Engine. Raises NoSense, too, for a commit or a fact that makes no sense."""
        found = self._engine.rows(measurement, where, fields, start, end)
        for series in found:
            for at in sorted(series.left_out):
                if measurement not in MAY_LACK:
                    site = as_named(series.tags.get("site", ""))
                    raise NoSense(f"a row {measurement!r} of site {site} makes no sense, at {at} ms (UTC)")
                self._take_down(measurement, series.tags, at)
        return found

    def of(self, site: str) -> LeftOut:
        """Of that site, since we began."""
        known = self._known.get(site)
        if not known:
            return LeftOut()
        of, at = self._last[site]
        return LeftOut(len(known), of, None if at == NO_TIME else at)

    def _take_down(self, measurement: str, tags: Mapping[str, str], at: int) -> None:
        site = as_named(tags.get("site", ""))
        told = [as_named(tags[name]) for name in ("probe", "quantity") if name in tags]
        one = " ".join(told or [measurement]), at
        known = self._known.setdefault(site, set())
        if one not in known and len(known) < MOST:
            self._last[site] = one
            known.add(one)
