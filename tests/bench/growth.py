"""How the cost of watch grows, from growing.py: the exponents, and the largest of each series."""

from __future__ import annotations

from tests.bench import growing
from tests.bench.rows import Found, Row, Section, alone

PANELS, PROBES, DAYS = growing.PANELS[-1], growing.PROBES[-1], growing.DAYS[-1]
ROWS = {
    "panels": Row(f"exponent of panels, 1 to {PANELS:,}", at_most=growing.EXPONENT),
    "probes": Row(f"exponent of probes, 1 to {PROBES:,}", at_most=growing.EXPONENT),
    "first": Row(f"exponent of days, 1 to {DAYS}: first answer after a start", at_most=growing.EXPONENT),
    "later": Row(f"exponent of days, 1 to {DAYS}: each answer after it", at_most=growing.EXPONENT),
    "start": Row(
        f"{PANELS:,} panels on {PANELS // growing.PER_PROBE} probes: all answered after a start", "s"
    ),
    "minute": Row("  watch, of one core", "%", at_most=100.0),
    "round": Row("  its longest round", "s", at_most=10.0),
    "memory": Row("  the most memory it held", "MB", at_most=500.0),
    "intake": Row(f"{PROBES:,} probes, one panel: watch, of one core", "%"),
}
LINES = {
    growing.by_panels: {
        "panels": "exponent of panels",
        "start": f"{PANELS} panels: all answered after a start",
        "minute": "  each minute, of one core",
        "round": "  its longest round",
        "memory": "  most memory so far",
    },
    growing.by_probes: {
        "probes": "exponent of probes",
        "intake": f"{PROBES} probes: each minute, of one core",
    },
    growing.by_days: {
        "first": "exponent of days, first answer",
        "later": "exponent of days, each after it",
    },
}
"""What growing.py calls them. Memory is the most that the process has held: so panels come first."""


def measure() -> dict[str, Found]:
    found: dict[str, Found] = {}
    for part, names in LINES.items():
        values = {
            line.name: line.value for line in part()
        }  # of a name that comes for each size the largest size's
        found |= {key: alone([values[name]]) for key, name in names.items()}
    return found


SECTION = Section("growth", "How cost grows", ROWS, measure, 480.0)
