"""Film times of a data sheet: the milestones of a coat, and those that a sheet seldom gives, taken from the others."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Milestone(StrEnum):
    """What a coat passes on its way, in no strict order."""

    WORKING = "working"
    RECOAT_FROM = "recoat_from"
    TACK_FREE = "tack_free"
    RECOAT_UNTIL = "recoat_until"
    TRIM_UNTIL = "trim_until"
    SAND = "sand"
    DEMOULD = "demould"
    CURED = "cured"
    TRIM_FROM = "trim_from"
    CARVE_FROM = "carve_from"
    CARVE_UNTIL = "carve_until"
    TAPE_UNTIL = "tape_until"
    PEEL_PLY_OFF = "peel_ply_off"
    CLAMPS_OFF = "clamps_off"


CLOSING = frozenset(
    {
        Milestone.WORKING,
        Milestone.RECOAT_UNTIL,
        Milestone.TRIM_UNTIL,
        Milestone.CARVE_UNTIL,
        Milestone.TAPE_UNTIL,
    }
)
"""Milestones that end something: they are taken at the early end of a range, the others at its middle."""

TAKEN_FROM: Mapping[Milestone, tuple[float, tuple[Milestone, ...]]] = {
    Milestone.TRIM_FROM: (1.5, (Milestone.RECOAT_FROM,)),
    Milestone.TRIM_UNTIL: (1.9, (Milestone.RECOAT_FROM,)),
    Milestone.CARVE_FROM: (1.0, (Milestone.RECOAT_UNTIL,)),
    Milestone.CARVE_UNTIL: (1.0, (Milestone.RECOAT_UNTIL, Milestone.SAND)),
    Milestone.TAPE_UNTIL: (1.0, (Milestone.RECOAT_UNTIL,)),
    Milestone.PEEL_PLY_OFF: (1.0, (Milestone.SAND,)),
    Milestone.CLAMPS_OFF: (1.0, (Milestone.SAND,)),
}
"""A factor on the geometric mean of times that every sheet gives, for those it leaves out.

Common practice, no source: a knife cuts a flange for about an hour of a medium film, while it is tack-free and not
yet rubber; a rasp bites once a nail no longer dents, and half way to sanding, by factors, no more; tape that stays
until then tears; peel ply and clamps wait until the film can be sanded.
"""
PARTNER: Mapping[Milestone, Milestone] = {
    Milestone.TRIM_FROM: Milestone.TRIM_UNTIL,
    Milestone.TRIM_UNTIL: Milestone.TRIM_FROM,
    Milestone.CARVE_FROM: Milestone.CARVE_UNTIL,
    Milestone.CARVE_UNTIL: Milestone.CARVE_FROM,
}
"""Two ends of one window: where a sheet gives one of them, the other keeps its distance to it, by its factor."""


@dataclass(frozen=True)
class Span:
    """A time from a sheet, hours at the reference temperature; low == high unless the sheet gives a range."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """The geometric mean, as times scale by factors."""
        return math.sqrt(self.low * self.high)


@dataclass(frozen=True)
class Film:
    """Times of a thin film at the reference temperature. None: the sheet does not say."""

    working: Span
    recoat_from: Span
    recoat_until: Span
    sand: Span
    demould: Span
    cured: Span
    tack_free: Span | None = None
    trim_until: Span | None = None
    trim_from: Span | None = None
    carve_from: Span | None = None
    carve_until: Span | None = None
    tape_until: Span | None = None
    peel_ply_off: Span | None = None
    clamps_off: Span | None = None

    def gives(self, milestone: Milestone) -> bool:
        """Whether the sheet itself says."""
        return self.span(milestone) is not None

    def hours(self, milestone: Milestone) -> float | None:
        """The time taken for `milestone`, h: a range's lower end if it closes something, else its middle.

        What the sheet leaves out is taken from its other times (TAKEN_FROM); None for tack-free alone.
        """
        span = self.span(milestone)
        if span is not None:
            return span.low if milestone in CLOSING else span.middle
        if milestone not in TAKEN_FROM:
            return None
        partner = PARTNER.get(milestone)
        other = self.span(partner) if partner is not None else None
        if partner is None or other is None:
            return self._taken(milestone)
        given = other.low if partner in CLOSING else other.middle
        return max(
            given * self._taken(milestone) / self._taken(partner),
            self.recoat_from.middle,
        )

    def span(self, milestone: Milestone) -> Span | None:
        span: Span | None = getattr(self, milestone.value)
        return span

    def _taken(self, milestone: Milestone) -> float:
        factor, of = TAKEN_FROM[milestone]
        return factor * math.prod(self.hours(item) or 0.0 for item in of) ** (1.0 / len(of))
