"""How the cost of watch grows, from growing.py: the exponents, and the largest of each series."""

from __future__ import annotations

from tests.bench import growing
from tests.bench.rows import Found, Row, Section, alone

ROWS = {
    "panels": Row("exponent of panels, 1 to 1,000", at_most=growing.EXPONENT),
    "probes": Row("exponent of probes, 1 to 1,000", at_most=growing.EXPONENT),
    "first": Row("exponent of days, 1 to 90: first answer after a start", at_most=growing.EXPONENT),
    "later": Row("exponent of days, 1 to 90: each answer after it", at_most=growing.EXPONENT),
    "start": Row("1,000 panels on 200 probes: all answered after a start", "s"),
    "minute": Row("  watch, of one core", "%", at_most=100.0),
    "round": Row("  its longest round", "s", at_most=10.0),
    "memory": Row("  the most memory it held", "MB", at_most=500.0),
    "intake": Row("1,000 probes, one panel: watch, of one core", "%"),
}
LINES = {
    "panels": "exponent of panels",
    "probes": "exponent of probes",
    "first": "exponent of days, first answer",
    "later": "exponent of days, each after it",
    "start": "1000 panels: all answered after a start",
    "minute": "  each minute, of one core",
    "round": "  its longest round",
    "memory": "  most memory so far",
    "intake": "1000 probes: each minute, of one core",
}
"""What growing.py calls them."""


def measure() -> dict[str, Found]:
    """Panels first: the memory told after them is theirs."""
    values: dict[str, float] = {}
    for part in growing.PARTS:
        for line in part():
            values.setdefault(line.name, line.value)
    return {key: alone([values[name]]) for key, name in LINES.items()}


SECTION = Section("growth", "How cost grows", ROWS, measure, 300.0)
