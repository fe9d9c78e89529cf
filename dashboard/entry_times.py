"""Entries taken down while the machine's clock was wrong, brought to the time at which they truly were."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from collector.store.reader import Reader
from collector.store.runs import Run, corrected
from collector.store.schema import NotYet
from dashboard.panel import Event


class EntryTimes:
    """By the runs in readings.db: what moved the readings of a run moves the entries made in it."""

    def __init__(self, readings: Path) -> None:
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
            reader = Reader.open(self._readings)
        except NotYet:
            return []
        try:
            return reader.runs()
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
