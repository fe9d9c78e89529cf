"""Collects what a panel's record rests on from the shop's own files."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from typing import Protocol

import numpy as np

from collector.reading import Quantity
from collector.store.digests import READINGS, day_of
from collector.store.reader import Ledger
from collector.store.reads import NotHeld, Reads, Where, open_store, unsure_of
from collector.store.runs import Unsure
from collector.store.schema import NotYet
from dashboard.cards import CardFileError, card_of
from dashboard.devices import probe_logs
from dashboard.fold import fold, told, withdrawn
from dashboard.follow import Follower
from dashboard.lot_known import LotKnown, lots_of
from dashboard.lots import Lots
from dashboard.panel import Event, Panel
from dashboard.record.used import DayDigest, RecordError, Said, Series, Used
from model.resin_card import ResinCard

DAY_MS = 86_400_000
QUANTITIES = (Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY)
ENDS = ("closed", "scrapped")
"""What ends a panel's record: its probes go to other work then."""


class Book(Protocol):
    """The logbook."""

    def events(self, panel: str | None = None) -> list[Event]: ...
    def preference(self, key: str) -> str | None: ...


@dataclass(frozen=True)
class Archive:
    """The shop's files, for a record. `card_text`: a card's text by its id; `said`: headlines of a panel as shown.

    readings   where the readings are
    """

    readings: Where
    logbook: Book
    card_text: Callable[[str], str | None]
    said: Callable[[str], list[tuple[int, str, str]]]
    site: str
    time_zone: str

    def used(self, panel_id: str, now: int) -> Used:
        """What the panel's record rests on at `now` (UTC ms), or when it was closed.

        Raises RecordError for a panel there is not, NotYet while serve or collect has never run.
        """
        events = self.logbook.events()
        every = fold(events)
        panel = every.get(panel_id)
        if panel is None:
            raise RecordError(f"there is no panel {panel_id!r}: 'coldshed panel list' names them")
        probes = probes_of(panel)
        at = _end(events, panel_id, now)
        since = since_of(panel, at)
        texts = {coat.card: self.card_text(coat.card) for coat in panel.coats}
        with closing(open_store(self.readings)) as reader:
            batch = reader.last_batch()
            seqs = reader.seqs(batch)
            days, removed, kept_at_site = _of_days(reader, panel, since, at)
            return Used(
                panel=panel_id,
                site=self.site,
                time_zone=self.time_zone,
                unit=self.logbook.preference("unit") or "degC",
                software=software(),
                at=at,
                since=since,
                batch=batch,
                events=tuple(_of_panel(events, panel_id, probes)),
                cards={name: text for name, text in sorted(texts.items()) if text is not None},
                probes=tuple(probe for probe in reader.probes() if probe.id in probes),
                suspicions=tuple(item for item in reader.suspicions() if item.probe in probes),
                unsure=_unsure(reader, probes, since),
                said=tuple(item for item in self._headlines(panel_id) if item.at <= at),
                days=days,
                series=tuple(ledgers(reader, probes, since, at, batch, seqs)),
                lots=self._lots(panel, every, events, at),
                removed=removed,
                kept_at_site=kept_at_site,
            )

    def _lots(
        self, panel: Panel, every: Mapping[str, Panel], events: list[Event], at: int
    ) -> dict[int, LotKnown]:
        """By the coat's number; without a lot nothing is read."""
        if not lots_of(panel):
            return {}
        follower = Follower(self.readings, at)
        follower.logs = probe_logs(events)
        follower.refresh()
        return Lots().known(panel, every.values(), follower, self._card, at)

    def _card(self, name: str) -> ResinCard | None:
        text = self.card_text(name)
        try:
            return None if text is None else card_of(text, name)
        except CardFileError:
            return None  # its coats say "no card"

    def _headlines(self, panel_id: str) -> list[Said]:
        try:
            shown = [(at, state, json.loads(headline)) for at, state, headline in self.said(panel_id)]
        except NotYet:
            return []
        return [Said(at, state, say["key"], say["values"]) for at, state, say in shown]


def software() -> str:
    """The name and release of this program, as "coldshed 0.1.0"."""
    return f"coldshed {version('coldshed')}"


def probes_of(panel: Panel) -> list[str]:
    """Every probe that stood for the panel, by id."""
    return sorted(panel.probes)


def since_of(panel: Panel, at: int) -> int:
    """From when on readings belong to the panel, UTC ms: a day before its first coat, or `at` without one."""
    return panel.coats[0].mixed_at - DAY_MS if panel.coats else at


def ledgers(
    reader: Reads, probes: Iterable[str], since: int, until: int, batch: int, seqs: Mapping[str, int]
) -> list[Series]:
    """Readings of those probes up to commit `batch`, both ends in; a day at a time, so that no read is cut off.

    seqs   what the commit's number means for each site, where it is a sum over several
    """
    found = []
    for probe in probes:
        for quantity in QUANTITIES:
            parts = [
                reader.ledger(probe, quantity, start, min(start + DAY_MS - 1, until))
                for start in range(since, until + 1, DAY_MS)
            ]
            found.append(_series(probe, quantity, parts, seqs.get(reader.site_of(probe), batch)))
    return [one for one in found if len(one.t)]


def _series(probe: str, quantity: Quantity, parts: list[Ledger], batch: int) -> Series:
    if not parts:
        empty = np.empty(0, np.int64)
        return Series(probe, quantity, empty, np.empty(0), empty, empty)
    t, value, quality, came = (np.concatenate(column) for column in zip(*parts, strict=True))
    keep = came <= batch
    return Series(probe, quantity, t[keep], value[keep], quality[keep], came[keep])


def _end(events: list[Event], panel_id: str, now: int) -> int:
    gone = withdrawn(events)
    ends = [
        event.at
        for event in told(events)
        if event.panel == panel_id and event.kind in ENDS and event.id not in gone
    ]
    return min([*ends, now])


def _of_panel(events: Iterable[Event], panel_id: str, probes: Iterable[str]) -> list[Event]:
    """The panel's entries, those of its probes, and what took any of them back."""
    names, kept, ids = set(probes), [], set[str]()
    for event in events:
        mine = event.panel == panel_id or (event.panel is None and event.body.get("probe") in names)
        if mine or (event.kind == "withdrawn" and event.body.get("event") in ids):
            kept.append(event)
            ids.add(event.id)
    return kept


def _unsure(reader: Reads, probes: Iterable[str], since: int) -> tuple[Unsure, ...]:
    spans = unsure_of(reader.clocks(), {reader.site_of(probe) for probe in probes})
    return tuple(item for item in spans if item.end is None or item.end > since)


def _of_days(
    reader: Reads, panel: Panel, since: int, at: int
) -> tuple[tuple[DayDigest, ...], tuple[str, ...], bool]:
    """Digests of finished days, and days that were given up; True: only the site itself has them."""
    try:
        days = tuple(_days(reader, probes_of(panel), since, at))
        removed = tuple(_day(day) for day in sorted(reader.removed()) if _within(day, panel, at))
    except NotHeld:
        return (), (), True
    return days, removed, False


def _days(reader: Reads, probes: Iterable[str], since: int, until: int) -> list[DayDigest]:
    names = set(probes)
    return [
        DayDigest(
            _day(day),
            item.name,
            item.n,
            item.sha256.hex(),
        )
        for day in range(day_of(since), day_of(until) + 1)
        for item in reader.digests(day)
        if item.kind == READINGS and item.name in names
    ]


def _day(day: int) -> str:
    """A UTC day since 1970 as "2026-11-25"."""
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=day)).strftime("%Y-%m-%d")


def _within(day: int, panel: Panel, at: int) -> bool:
    """Whether it touches the panel's life up to `at` (UTC ms)."""
    return bool(panel.coats) and day_of(panel.coats[0].mixed_at) <= day <= day_of(at)
