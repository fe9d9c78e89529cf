"""How cost grows, from growing.py: its exponents, and what the largest of each series takes."""

from __future__ import annotations

import logging

from tests.bench import growing
from tests.bench.rows import Found, Row, Section, alone

PANELS, PROBES, DAYS = growing.PANELS[-1], growing.PROBES[-1], growing.DAYS[-1]
LARGEST = {
    "start": Row(
        f"{PANELS:,} panels on {PANELS // growing.PER_PROBE} probes: all answered after a start", "ms"
    ),
    "minute": Row("  watch, of one core", "%", at_most=100.0),
    "round": Row("  its longest round", "s", at_most=10.0),
    "idle": Row("  its round when nothing is new", "ms"),
    "first page": Row("  morning round, first after a start", "ms"),
    "page": Row("  morning round, asked again", "ms", at_most=100.0),
    "memory": Row("  the most memory held so far, pages too", "MB", at_most=500.0),
    "probes start": Row(f"{PROBES:,} probes, one panel: answered after a start", "ms"),
    "intake": Row("  watch, in each minute", "ms"),
    "days": Row(f"one panel of {DAYS} days: readings taken in after a start", "ms"),
    "first": Row("  first answer after it", "ms"),
    "later": Row("  each answer after it", "ms"),
}
NAMES = {
    growing.by_panels: {
        "start": f"{PANELS} panels: all answered after a start",
        "minute": "    of one core",
        "round": "    its longest round",
        "idle": "  a round in which nothing is new",
        "first page": "  Morning round, first after a start",
        "page": "  Morning round, a second later",
        "memory": "  most memory so far",
    },
    growing.by_probes: {
        "probes start": f"{PROBES} probes: answered after a start",
        "intake": "  watch in each minute",
    },
    growing.by_days: {
        "days": f"panel of {DAYS} days: readings taken in after a start",
        "first": "  first answer after it",
        "later": "  each answer after it",
    },
}
"""What growing.py calls them. Memory is the most that the process has held: so panels come first."""
EXPONENTS = (
    "panels, all answered after a start",
    "panels, a minute",
    "panels, an idle round",
    "panels, first page",
    "panels, page after it",
    "probes, answered after a start",
    "probes, a minute of readings",
    "days, readings taken in after a start",
    "days, first answer after it",
    "days, each answer after it",
)
ROWS = {name: Row(f"exponent of {name}", at_most=growing.EXPONENT) for name in EXPONENTS} | LARGEST


def measure() -> dict[str, Found]:
    logging.disable(logging.CRITICAL)
    found: dict[str, Found] = {}
    for part, names in NAMES.items():
        values = {
            line.name: line.value for line in part()
        }  # of a name that comes with each size the largest's
        of_sizes = {name: f"exponent of {name}" for name in EXPONENTS if f"exponent of {name}" in values}
        found |= {key: alone([values[name]]) for key, name in (names | of_sizes).items()}
    return found


SECTION = Section("growth", "How cost grows", ROWS, measure, 480.0)
