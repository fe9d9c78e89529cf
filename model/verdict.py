"""Names of what can be said about a panel: states, flags, kinds and marks, and a verdict made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

Value = int | float | str


class State(StrEnum):
    """How far the coat that matters has come."""

    PLANNED = "planned"
    IN_THE_POT = "in the pot"
    WORKABLE = "workable"
    SETTING = "setting"
    RECOATABLE = "recoatable"
    FIRM = "firm"
    SANDABLE = "sandable"
    DEMOULDABLE = "demouldable"
    FULLY_CURED = "fully cured"
    NOT_KNOWN = "not known"
    CLOSED = "closed"
    SCRAPPED = "scrapped"


class Flag(StrEnum):
    """What changes what to do."""

    STOPPED_BY_COLD = "stopped by cold"
    HARD_NOT_CURED = "hard but not cured"
    WASH_FIRST = "wash first"
    WINDOW_MISSED = "window missed"
    GAP = "gap"
    PROBE_SUSPECT = "probe suspect"
    PROBE_SILENT = "probe silent"
    OUTSIDE_CARD = "outside the card's range"
    SUSPECT_MIX = "suspect the mix"


class Kind(StrEnum):
    """The tile's contour: a clock runs; any time; first do this; wait; not known."""

    ACT = "act"
    GO = "go"
    CARE = "care"
    WAIT = "wait"
    NOT_KNOWN = "not known"


class Mark(StrEnum):
    """The tile's mark, the verb."""

    LAP = "lap"
    CUP = "cup"
    TEETH = "teeth"
    PEEL = "peel"
    BLOCK = "block"
    DROP = "drop"
    KNEE = "knee"
    RAMP = "ramp"
    TORN = "torn"
    BLADE = "blade"


@dataclass(frozen=True)
class Say:
    """A sentence by its key in the page's words, with the numbers it takes.

    A number's name ends in what it is: _by (UTC ms, a latest safe time), _from (UTC ms, an earliest safe time),
    _at (UTC ms, a fact or a likely time), _C (a temperature), _K (a difference), _h (hours), _g, _pc.
    """

    key: str
    values: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True)
class Verdict:
    """What to do, why, and what comes next; `rank` orders the round (0 first)."""

    state: State
    kind: Kind
    mark: Mark
    headline: Say
    why: tuple[Say, ...] = ()
    next: Say | None = None
    flags: frozenset[Flag] = frozenset()
    rank: int = 6
