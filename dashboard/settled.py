"""What is settled of a panel's course: all that later answers still ask of its minutes before a full hour.

With it an answer works out only what came since, and is the same, to the last bit, as one worked out from the coat's
start. dashboard.settle makes it, dashboard.settling keeps it and tells when it holds no longer. Times UTC ms.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from model.blocks import Bools, Floats
from model.coat import CoatState, Path
from model.degree_hours import LifeSums
from model.history import Samples, Times
from model.members import Weights
from model.milestones import Reached
from model.observation import Touch


class Unsettled(Exception):
    """What is settled was worked out under another assumption than now holds: work it out anew, under `found`."""

    def __init__(self, found: Assumed) -> None:
        super().__init__("settled under another assumption")
        self.found = found


@dataclass(frozen=True)
class CoatAssumed:
    """Of one coat: weights of the range, None if nothing was learned; the age, h, that a suspected mix is held to."""

    number: int
    weights: Weights | None
    soft_h: float | None

    def same(self, other: CoatAssumed) -> bool:
        if (self.number, self.soft_h) != (other.number, other.soft_h):
            return False
        mine, its = self.weights, other.weights
        if mine is None or its is None:
            return mine is its
        return np.array_equal(mine.likely, its.likely) and np.array_equal(mine.cautious, its.cautious)


@dataclass(frozen=True)
class Assumed:
    """What later readings and entries can change of all that came before: the probe's half-width, K (95 %), and what
    was learned of each coat that counts.
    """

    accuracy_K: float
    coats: tuple[CoatAssumed, ...]

    def same(self, other: Assumed) -> bool:
        return (
            self.accuracy_K == other.accuracy_K
            and len(self.coats) == len(other.coats)
            and all(mine.same(its) for mine, its in zip(self.coats, other.coats, strict=True))
        )


@dataclass(frozen=True)
class Strand:
    """A course of one coat up to the hour: where every member stands on each path, and what was reached."""

    states: dict[Path, CoatState]
    reached: dict[Path, Reached]


@dataclass(frozen=True)
class CoatSettled:
    """One coat: from its last pot and from its first, the same where there is one; None: not begun yet.

    felt          touches by their place among the coat's thumb tests
    soft_since    when a suspected mix had passed what the thumb still found
    aged_from     end of the first minute in which the film was no longer young
    """

    last: Strand | None
    first: Strand | None
    felt: Mapping[int, Touch]
    soft_since: int | None
    aged_from: int | None


NOTHING_SETTLED = CoatSettled(None, None, {}, None, None)


@dataclass(frozen=True, eq=False)
class FilmRows:
    """The newest coat's minutes while its film is young by age, one value a minute (n,)."""

    t_ms: Times
    panel_C: Floats
    conversion: Floats
    age_h: Floats
    measured: Bools
    dew_C: Floats

    def __len__(self) -> int:
        return len(self.t_ms)

    def joined(self, later: FilmRows) -> FilmRows:
        return FilmRows(
            *(np.concatenate([getattr(self, item.name), getattr(later, item.name)]) for item in fields(self))
        )

    def first(self, rows: int) -> FilmRows:
        """Copies: a view would hold the course of all members."""
        return FilmRows(*(getattr(self, item.name)[:rows].copy() for item in fields(self)))


@dataclass(frozen=True, eq=False)
class Columns:
    """The chart's traces (7, n) at the times `t` before the hour, NaN where there is none, and at the hour (7,)."""

    t: Times
    values: NDArray[np.float64]
    at_hour: Floats


@dataclass(frozen=True, eq=False)
class Settled:
    """A panel's course before `until`, a full hour.

    begin         of its history; last_at  the newest sample of the panel's temperature by `until`
    half_width_K  the widest of the samples up to last_at; None: no correction
    lagged        the panel's own last samples up to last_at where only the air is measured
    gaps          those up to last_at; sums  of the newest coat's life up to last_at, None if it began later
    warm_until    end of the last minute at or above the newest coat's minimum; cold_minutes  of its life below it
    """

    until: int
    begin: int
    last_at: int
    assumed: Assumed
    half_width_K: float | None
    lagged: Samples | None
    coats: tuple[CoatSettled, ...]
    gaps: tuple[tuple[int, int], ...]
    sums: LifeSums | None
    warm_until: int | None
    cold_minutes: int
    film: FilmRows
    chart: Columns
