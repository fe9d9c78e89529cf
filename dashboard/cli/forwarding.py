"""What the forwarder is told of the shop's corrections."""

from __future__ import annotations

from bisect import bisect_right

from collector.forward.corrected import InForce, Series
from collector.forward.state import progress
from collector.reading import Reading
from collector.settings import Settings
from collector.store.schema import NotYet, StoreError
from dashboard.correction import Stretch
from dashboard.devices import CORRECTED, probe_logs
from dashboard.logbook import LogbookReader


def not_sent_on(settings: Settings) -> str:
    """Why readings are not sent on to the server just now; empty if they are, or if the settings name none."""
    if settings.forward is None:
        return ""
    try:
        return progress(settings.data_folder).trouble
    except (OSError, StoreError) as error:
        return str(error)


class ShopCorrections:
    """See collector.forward.corrected.Corrections; nothing is corrected while nobody has logged anything."""

    def __init__(self, book: LogbookReader) -> None:
        self._book = book
        self._stretches: dict[Series, tuple[Stretch, ...]] = {}

    def in_force(self) -> InForce:
        try:
            events = self._book.events()
        except NotYet:
            events = []
        every = {
            (probe, quantity): log.stretches(quantity)
            for probe, log in probe_logs(events).items()
            for quantity in CORRECTED
        }
        self._stretches = {
            series: stretches
            for series, stretches in every.items()
            if any(correction for _, correction in stretches)
        }
        return {
            series: [(since, correction.version if correction else "") for since, correction in stretches]
            for series, stretches in self._stretches.items()
        }

    def value(self, reading: Reading) -> float | None:
        stretches = self._stretches.get((reading.probe, reading.quantity))
        if stretches is None:
            return None
        place = bisect_right(stretches, reading.at, key=lambda stretch: stretch[0]) - 1
        correction = stretches[place][1] if place >= 0 else None
        return None if correction is None else correction.one(reading.value)
