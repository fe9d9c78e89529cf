"""What whoever reads readings asks of a store, and one way to open any: readings.db, or a time-series server.

Unknown is never shown as ready: what a store does not hold ends in `NotHeld`, never in an empty answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.store.digests import Digest
from collector.store.reader import Batch, HeardName, Ledger, Reader, Samples, Tally
from collector.store.runs import Run, Unsure, unsure
from collector.store.schema import StoreError
from collector.store.sequences import Missing
from collector.store.site_state import SiteState
from collector.store.summaries import Summary


class NotHeld(StoreError):
    """This store cannot hold what was asked for; the text says why and where it is."""


class Reads(Protocol):
    """A store that is open for reading, for one thread at a time. Times UTC ms; any method may raise StoreError."""

    def close(self) -> None: ...
    def probes(self) -> list[ProbeFacts]: ...
    def suspicions(self) -> list[Suspicion]: ...
    def last_batch(self) -> int: ...
    def batches_after(self, seq: int) -> list[Batch]: ...
    def readings_after(self, seq: int, limit: int) -> tuple[list[Reading], int]: ...
    def samples(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Samples: ...
    def ledger(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Ledger: ...
    def every(self, start_ms: int, end_ms: int) -> dict[tuple[str, Quantity], Samples]: ...
    def latest(self, probe: str, quantity: Quantity) -> Reading | None: ...
    def newest(self) -> list[Reading]: ...

    def clocks(self) -> Mapping[str, list[Run]]:
        """All runs, in the order they were begun, by the site whose clock they were; "" is this house's own."""
        ...

    def site_of(self, probe: str) -> str:
        """The site whose probe it is; "" is this house's own."""
        ...

    def seqs(self, batch: int) -> Mapping[str, int]:
        """What a batch's number means for each site, where it is a sum over several; empty in a house of one."""
        ...

    def sites(self) -> list[SiteState]:
        """The sites that a server holds; none in a house of one."""
        ...

    # What only readings.db holds: elsewhere each raises NotHeld.
    def digests(self, day: int) -> list[Digest]: ...
    def removed(self) -> set[int]: ...
    def summaries(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> list[Summary]: ...
    def span(self) -> tuple[int, int] | None: ...
    def tallies(self) -> list[Tally]: ...
    def heard(self) -> list[HeardName]: ...
    def conflicts(self) -> int: ...
    def missing(self) -> list[Missing]: ...


class Opens(Protocol):
    """A store elsewhere. open() raises NotYet while it cannot be reached or holds nothing yet."""

    def open(self) -> Reads: ...


Where = Path | Opens
"""Where the readings are: the path of readings.db, or a store that opens itself."""


def open_store(where: Where) -> Reads:
    """Raises NotYet if its writer has not begun yet, StoreError if it cannot be used."""
    return Reader.open(where) if isinstance(where, Path) else where.open()


def unsure_of(clocks: Mapping[str, list[Run]], sites: set[str]) -> tuple[Unsure, ...]:
    """The stretches whose place in time is not known exactly, by the clocks of those sites and the house's own."""
    spans = (span for site in sorted(sites | {""}) for span in unsure(clocks.get(site, ())))
    return tuple(sorted(spans, key=lambda span: span.start))
