"""The round on paper: what a page would say, and until when somebody who carries it may go by it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.panel import Panel
from dashboard.strips import Round, Strip, round_of
from dashboard.words import CAUTIONS, LABELS
from model.decide import shuts_by

PAPER_MS = 30 * 60_000
"""So long a round takes, and so long at most a line of it is gone by (our own figure). Paper cannot turn to "not
known" by itself; a page does after three of the probe's intervals."""


@dataclass(frozen=True)
class Line:
    """One panel's line. until: UTC ms, None if nothing is known that could end, or if it is on hold."""

    strip: Strip
    until: int | None
    until_text: str


@dataclass(frozen=True)
class Sheet:
    """All lines in the round's order. cautions: keys of what is said beside these acts, each once."""

    round: Round
    zone: str | None
    lines: tuple[Line, ...]
    made: str
    cautions: tuple[str, ...]


def sheet_of(
    panels: Mapping[str, Panel], latest: Iterable[Assessment] | None, view: View, zone: str | None = None
) -> Sheet:
    """The sheet as of the view's time, of all zones or of one."""
    kept = None if latest is None else list(latest)
    found = round_of(panels, kept, view, zone)
    by_panel = {item.panel: item for item in kept or ()}
    lines = tuple(_line(strip, by_panel.get(strip.panel), view) for strip in found.strips)
    beside = {
        key
        for strip in found.strips
        if strip.known and not strip.held
        for key in by_panel[strip.panel].cautions
    }
    return Sheet(found, zone, lines, _made(found, view), tuple(key for key in CAUTIONS if key in beside))


def _line(strip: Strip, item: Assessment | None, view: View) -> Line:
    if strip.held:
        return Line(strip, None, LABELS["sheet_held"])
    if not strip.known or item is None:
        return Line(strip, None, LABELS["sheet_now"])
    ends = shuts_by(item.verdict, view.now)
    until = min(view.now + PAPER_MS, ends if ends is not None else view.now + PAPER_MS)
    return Line(strip, until, view.clock(view.rounded(until, "until_by")))


def _made(found: Round, view: View) -> str:
    """When, from which readings, how many are known."""
    said = {"at": view.clock(view.now), "known": found.known, "all": len(found.strips)}
    if found.readings_to is None:
        return LABELS["sheet_no_readings"].format(**said)
    return LABELS["sheet_printed"].format(readings=view.clock(found.readings_to), **said)
