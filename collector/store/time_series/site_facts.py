"""What a site tells of its probes and clock, read back; it counts only as a whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from collector.reading import ProbeFacts, Suspicion
from collector.store.runs import Run
from collector.store.time_series.asking import NoSense
from collector.store.time_series.lines import as_named
from collector.store.time_series.rows import ODD, Engine, Rows

COUNTED = ("probes", "suspicions", "runs", "fields")
_NUMBER = "number_"
_OF_A_SUSPICION = ("site", "item", "probe", "kind")


@dataclass(frozen=True)
class SiteFacts:
    """As of a tick (UTC ms of the site)."""

    tick: int
    probes: tuple[ProbeFacts, ...]
    suspicions: tuple[Suspicion, ...]
    runs: tuple[Run, ...]


def facts_at(engine: Engine, site: str, tick: int, counts: Mapping[str, int]) -> SiteFacts | None:
    """Those of one tick; None while not all of them are seen. counts: what the line `facts` says, by COUNTED.

    Raises NoSense for what no site sends.
    """
    found = {
        name: list(_at(engine.rows(name, {"site": [site]}, (), tick, tick), tick))
        for name in ("probe", "suspicion", "run")
    }
    fields = sum(len(numbers) for lines in found.values() for _, numbers in lines)
    seen = (len(found["probe"]), len(found["suspicion"]), len(found["run"]), fields)
    if seen != tuple(counts[name] for name in COUNTED):
        return None
    try:
        return _facts(tick, found)
    except ODD as error:
        raise NoSense(f"what site {site} tells of itself makes no sense: {error!r}") from error


_Line = tuple[Mapping[str, str], Mapping[str, float]]


def _facts(tick: int, found: Mapping[str, list[_Line]]) -> SiteFacts:
    probes = sorted((_probe(*line) for line in found["probe"]), key=lambda probe: probe.id)
    suspicions = sorted(found["suspicion"], key=lambda line: int(line[0]["item"]))
    runs = sorted(found["run"], key=lambda line: int(line[0]["item"]))
    return SiteFacts(
        tick,
        tuple(probes),
        tuple(_suspicion(*line) for line in suspicions),
        tuple(_run(*line) for line in runs),
    )


def _at(rows: Iterable[Rows], tick: int) -> Iterator[_Line]:
    """Tags and fields of each series at that time."""
    for series in rows:
        for i in np.flatnonzero(series.t == tick):
            told = {name: float(column[i]) for name, column in series.columns.items()}
            yield series.tags, {name: value for name, value in told.items() if not np.isnan(value)}


def _probe(tags: Mapping[str, str], numbers: Mapping[str, float]) -> ProbeFacts:
    return ProbeFacts(
        as_named(tags["probe"]),
        as_named(tags["zone"]),
        tags["place"],
        numbers["interval_s"],
        numbers["accuracy_K"],
    )


def _suspicion(tags: Mapping[str, str], numbers: Mapping[str, float]) -> Suspicion:
    until = numbers.get("until")
    told: dict[str, float | str] = {
        name.removeprefix(_NUMBER): int(value) if value.is_integer() else value
        for name, value in numbers.items()
        if name.startswith(_NUMBER)
    }
    told |= {name: as_named(text) for name, text in tags.items() if name not in _OF_A_SUSPICION}
    return Suspicion(
        as_named(tags["probe"]),
        tags["kind"],
        int(numbers["since"]),
        None if until is None else int(until),
        int(numbers["shown_from"]),
        int(numbers["shown_to"]),
        told,
    )


def _run(tags: Mapping[str, str], numbers: Mapping[str, float]) -> Run:
    elapsed, late = numbers.get("elapsed"), numbers.get("late")
    return Run(
        int(numbers["id"]),
        as_named(tags.get("boot", "")),
        int(numbers["started"]),
        None if elapsed is None else int(elapsed),
        tags["state"],
        int(numbers["lasted"]),
        int(numbers["offset"]),
        int(numbers["early"]),
        None if late is None else int(late),
    )
