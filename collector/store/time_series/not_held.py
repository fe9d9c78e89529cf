"""What a time-series server cannot hold, said with the reason."""

from __future__ import annotations

from typing import NoReturn

from collector.reading import Quantity
from collector.store.reads import NotHeld


class KeptAtTheSite:
    """The part of store.reads.Reads that only readings.db can answer: each method raises NotHeld."""

    def digests(self, day: int) -> NoReturn:
        raise _not_held("the digests of finished days, which are made over rows as the file has them,")

    def removed(self) -> NoReturn:
        raise _not_held("which days' readings were removed to make room")

    def summaries(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> NoReturn:
        raise _not_held("hourly summaries of removed readings")

    def span(self) -> NoReturn:
        raise _not_held("the time of the very first reading, which no server tells without reading all,")

    def tallies(self) -> NoReturn:
        raise _not_held("what was refused")

    def heard(self) -> NoReturn:
        raise _not_held("names that no probe claims")

    def conflicts(self) -> NoReturn:
        raise _not_held("second, other values for one time")

    def missing(self) -> NoReturn:
        raise _not_held("gaps in what devices count")


def _not_held(what: str) -> NotHeld:
    return NotHeld(
        f"a time-series server holds readings; {what} stays in readings.db at the site: look there"
    )
