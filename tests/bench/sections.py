"""All sections of the benchmarks' table, in its order."""

from __future__ import annotations

from tests.bench import (
    air,
    charting,
    collecting,
    curing,
    forwarding,
    growth,
    installing,
    pages,
    processes,
    stored,
)

SECTIONS = (
    curing.SECTION,
    air.SECTION,
    collecting.SECTION,
    stored.SECTION,
    forwarding.SECTION,
    pages.SECTION,
    charting.SECTION,
    processes.SECTION,
    installing.SECTION,
    growth.SECTION,
)
