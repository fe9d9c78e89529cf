"""What ten thousand probes would take, worked out from what was measured: the table in the help's page of that name."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tests.bench.rows import spell
from tests.bench.table import NOT_MEASURED, Measured

HALLS, PROBES_IN_ONE, PANELS_IN_ONE = 1_000, 10, 5
"""Of a hall's probes eight lie on panels; two hang in the air and tell humidity too. Each sends every ten seconds."""
PANELS = HALLS * PANELS_IN_ONE
MESSAGES_A_S = HALLS * PROBES_IN_ONE / 10.0
READINGS_A_S = 1.2 * MESSAGES_A_S
DAY_S, YEAR_D = 86_400.0, 365.0
OF_THOUSAND = PANELS / 1_000
HEADS = ("what", "measured", "for a thousand halls, worked out from it")


@dataclass(frozen=True)
class Step:
    """One row: a figure of the benchmarks, told with its unit, and what follows from it."""

    what: str
    section: str
    key: str
    told: str
    follows: Callable[[float], str]


def of(part: float, whole: float) -> str:
    return f"{spell(100.0 * part / whole)} % of it"


STEPS = (
    Step(
        "collect: a message from its arrival to its commit", "taking-in", "mqtt_cpu", "{} µs of a core",
        lambda us: f"{spell(us * MESSAGES_A_S / HALLS / 1e4)} % of a core in each hall",
    ),
    Step(
        "a reading in readings.db", "store", "size", "{} bytes",
        lambda size: f"{spell(size * READINGS_A_S / HALLS * DAY_S / 1e6)} MB a day in each hall",
    ),
    Step(
        "forward: readings sent on", "sending-on", "victoria-metrics", "{} a second",
        lambda rate: f"{spell(READINGS_A_S / HALLS)} a second in each hall: {of(READINGS_A_S / HALLS, rate)}",
    ),
    Step(
        "server: lines taken, by one client", "sending-on", "victoria-metrics raw", "{} a second",
        lambda rate: f"{spell(READINGS_A_S)} a second from all: {of(READINGS_A_S, rate)}",
    ),
    Step(
        "watch: 1,000 panels, all the time", "growth", "minute", "{} % of a core",
        lambda share: f"{spell(OF_THOUSAND * share)} % of a core: {math.ceil(OF_THOUSAND * share / 100)} or more",
    ),
    Step(
        "watch and serve: memory, 1,000 panels", "growth", "memory", "{} MB",
        lambda held: f"{spell(OF_THOUSAND * held / 1e3)} GB in all of them",
    ),
    Step(
        "watch: 1,000 panels answered after a start", "growth", "start", "{} ms of a core",
        lambda taken: f"{spell(taken / 1e3)} s for each thousand; until then nothing is known of the last of them",
    ),
    Step(
        "serve: morning round of 1,000 panels", "growth", "page", "{} ms of a core",
        lambda taken: f"{spell(OF_THOUSAND * taken)} ms for all on one page, which nobody would read",
    ),
)  # fmt: skip


def for_help(measured: Measured) -> str:
    """Markdown: the day, and the table."""
    rows = [HEADS, ("---",) * len(HEADS), *(_row(step, measured) for step in STEPS)]
    lines = ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(
        [f"Measured on {measured.date}, on the machine that is named under *What it costs*.", "", *lines]
    )


def _row(step: Step, measured: Measured) -> tuple[str, str, str]:
    section, _, raw = step.key.partition(" ")
    found = measured.found.get(step.section, {}).get(section)
    value = None if found is None else found.peer if raw else found.ours
    if value is None:
        return step.what, NOT_MEASURED, NOT_MEASURED
    return step.what, step.told.format(spell(value)), step.follows(value)
