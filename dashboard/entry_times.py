"""Entries taken down while the machine's clock was wrong, brought to the time at which they truly were."""

from __future__ import annotations

from dataclasses import replace

from collector.store.reads import Where, open_store
from collector.store.runs import Run, corrected
from collector.store.schema import NotYet
from dashboard.panel import Event


class EntryTimes:
    """By the runs of the house's own clock, in readings.db: what moved its readings moves its entries."""

    def __init__(self, readings: Where) -> None:
        self._readings = readings

    def corrected(self, events: list[Event]) -> list[Event]:
        """The same entries in the same order."""
        runs = self._runs()
        if not any(run.offset for run in runs):
            return events
        return [_moved(event, corrected(event.recorded, runs)) for event in events]

    def version(self) -> int:
        """Changes when a run is found to lie elsewhere."""
        return sum(abs(run.offset) for run in self._runs())

    def _runs(self) -> list[Run]:
        try:
            reader = open_store(self._readings)
        except NotYet:
            return []
        try:
            return reader.clocks().get("", [])
        finally:
            reader.close()


def _moved(event: Event, by: int) -> Event:
    if not by:
        return event
    body = dict(event.body)
    if isinstance(body.get("applied_at"), int):
        body["applied_at"] += by
    if event.kind == "time changed":
        body["to"] += by
    return replace(event, at=event.at + by, recorded=event.recorded + by, body=body)
