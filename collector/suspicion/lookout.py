"""Keeps an eye on the probes while collect runs: each ten minutes they are compared over the last two days.

It keeps two-minute means in memory, brought up to date by a cursor over what was committed, and writes what it
suspects into the store. It runs in the thread that owns the Writer.
"""

from __future__ import annotations

import logging
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from collector.clock import Clock
from collector.reading import UNUSABLE, ProbeFacts, Quality, Quantity, Suspicion
from collector.store.reader import Reader
from collector.store.schema import MAY_PASS, StoreError
from collector.store.writer import Writer
from collector.suspicion.grid import BIN_MS, SERIES, Site, Sums, bridged
from collector.suspicion.look import look, update
from collector.suspicion.pace import is_slow, learned_s

log = logging.getLogger("coldshed.collect")

EACH_MS = 600_000
HOUR_MS = 3_600_000
KEPT_BINS = 1500
"""Fifty hours: drift compares with the same hour of the day before."""
AT_ONCE = 20_000
"""Readings taken from the store in one read."""


class Lookout:
    """One site's probes. turn() may be called as often as one likes."""

    def __init__(self, writer: Writer, probes: list[ProbeFacts], zone: ZoneInfo, clock: Clock) -> None:
        self._writer = writer
        self._reader = Reader(writer.connection)
        self._probes = tuple(probes)
        self._zone = zone
        self._clock = clock
        self._sums: dict[tuple[str, Quantity], Sums] = {}
        self._seq: int | None = None
        self._looked_at: int | None = None

    def turn(self) -> None:
        """Looks, if it is time; if the store cannot be read or written now, the next time."""
        now = self._clock.now()
        if self._looked_at is not None and abs(now - self._looked_at) < EACH_MS:
            return
        self._looked_at = now
        try:
            self._look(now)
        except (StoreError, *MAY_PASS) as error:
            log.warning("the probes are compared in ten minutes again: %s", error)

    def _look(self, now: int) -> None:
        self._take_in(now)
        site = self._site(now)
        known = self._reader.suspicions()
        changed = [*update(known, site, look(site)), *self._paces(known, site)]
        if changed:
            self._writer.suspect(changed)
        for item in changed:
            what = "no longer suspected" if item.until is not None else "suspected"
            log.info("probe %s: %s: %s", item.probe, what, item.kind)

    def _take_in(self, now: int) -> None:
        first = now // BIN_MS - KEPT_BINS
        if self._seq is not None and any(batch.revised for batch in self._reader.batches_after(self._seq)):
            self._sums, self._seq = {}, None  # times or flags of what was taken in are others now
        if self._seq is None:
            self._sums, self._seq = self._all(first * BIN_MS, now)
            return
        while True:
            readings, seq = self._reader.readings_after(self._seq, AT_ONCE)
            if seq == self._seq:
                break
            for reading in readings:
                if reading.at >= first * BIN_MS:
                    self._add(reading.probe, reading.quantity, reading.at, reading.value, reading.quality)
            self._seq = seq
        for sums in self._sums.values():
            sums.drop_before(first)

    def _all(self, since: int, now: int) -> tuple[dict[tuple[str, Quantity], Sums], int]:
        """What was stored from `since` on (UTC ms), and the last batch of it: all series an hour at a time."""
        seq = self._reader.last_batch()
        found: dict[tuple[str, Quantity], Sums] = {}
        ids = {probe.id for probe in self._probes}
        for start in range(since, now + 1, HOUR_MS):
            for key, (t, value, quality) in self._reader.every(start, min(start + HOUR_MS - 1, now)).items():
                if key[0] in ids and key[1] in SERIES:
                    usable = (quality & int(UNUSABLE)) == 0
                    found.setdefault(key, Sums()).add_all(t[usable], value[usable])
        return found, seq

    def _add(self, probe: str, quantity: Quantity, at: int, value: float, quality: Quality) -> None:
        if quality.usable and quantity in SERIES:
            self._sums.setdefault((probe, quantity), Sums()).add(at, value)

    def _site(self, now: int) -> Site:
        """Up to the last whole bin."""
        last = now // BIN_MS - 1
        first = last - KEPT_BINS + 1
        series = {key: bridged(sums.means(first, last)) for key, sums in self._sums.items()}
        ids = {probe.id for probe in self._probes}
        of = {
            quantity: {
                probe: value for (probe, which), value in series.items() if which is quantity and probe in ids
            }
            for quantity in SERIES
        }
        hours = np.array([_hour((first + i) * BIN_MS, self._zone) for i in range(KEPT_BINS)])
        return Site(first, self._probes, of[Quantity.TEMPERATURE], of[Quantity.RELATIVE_HUMIDITY], hours)

    def _paces(self, known: list[Suspicion], site: Site) -> list[Suspicion]:
        """Probes that speak more slowly than the settings say; ends when they keep the pace, or fall silent."""
        changed, now = [], site.at(KEPT_BINS - 1)
        for facts in self._probes:
            standing = next(
                (s for s in known if (s.probe, s.kind) == (facts.id, "slow") and s.until is None), None
            )
            sums = self._sums.get((facts.id, Quantity.TEMPERATURE))
            learned = learned_s(sums, site.first + KEPT_BINS - 1) if sums else None
            if learned is not None and is_slow(facts, learned):
                numbers: dict[str, float | str] = {
                    "learned_h": learned / 3600,
                    "interval": f"{facts.interval_s:g} s",
                }
                since = standing.since if standing else now
                changed.append(Suspicion(facts.id, "slow", since, None, since, now, numbers))
            elif standing is not None:
                changed.append(
                    Suspicion(
                        facts.id, "slow", standing.since, now, standing.shown_from, now, standing.numbers
                    )
                )
        return changed


def _hour(at: int, zone: ZoneInfo) -> float:
    local = datetime.fromtimestamp(at / 1000, UTC).astimezone(zone)
    return local.hour + local.minute / 60
