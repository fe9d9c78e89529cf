"""All sections of the benchmarks' table, in its order."""

from __future__ import annotations

from tests.bench import air, charting, collecting, curing, installing, pages, processes, stored

SECTIONS = (
    curing.SECTION,
    air.SECTION,
    collecting.SECTION,
    stored.SECTION,
    pages.SECTION,
    charting.SECTION,
    processes.SECTION,
    installing.SECTION,
)
