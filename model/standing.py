"""All that is looked at when it is decided what to do with one panel: numbers and times, no judgement. Times UTC ms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from model.verdict import Say


@dataclass(frozen=True)
class When:
    """When a milestone is passed by the early, middle and late part of the range; None: beyond the outlook.

    passed   share of the range that has passed it now, 0 to 1
    """

    early: int | None
    likely: int | None
    late: int | None
    passed: float


NEVER = When(None, None, None, 0.0)


@dataclass(frozen=True)
class Stopped:
    """Curing has stopped: the least temperature that moves it (degC), and what warming to warm_C would do.

    warmed_h   hours to `do` at warm_C, for the quick end, the middle and the slow end; None: not at that warmth
    """

    move_C: float
    do: str
    warm_C: float
    warmed_h: tuple[float, float, float] | None


@dataclass(frozen=True)
class Glassy:
    """Hard but not cured: softens from soften_C up; hours to sanding, slow end, if held at warm_C."""

    soften_C: float
    warm_C: float
    warmed_h: float | None


@dataclass(frozen=True)
class FilmNow:
    """What the young film was exposed to, not yet washed away; level is some, heavy or wet, or None for nothing.

    exposed_h   weighted hours of damp air; margin_h   hours with less than 3 K over the dew point
    measured    False if nobody measured the air's moisture
    felt_at     when a hand found it greasy or wet, UTC ms
    """

    level: str | None
    exposed_h: float = 0.0
    margin_h: float = 0.0
    under_K: float = 0.0
    wet_at: int | None = None
    dry_at: int | None = None
    missing_h: float = 0.0
    measured: bool = True
    felt_at: int | None = None


@dataclass(frozen=True)
class Pot:
    """Mixed and not yet on: when it must be out of the pot, and how long it is likely usable. Times UTC ms."""

    mixed_at: int
    pour_by: int
    usable_at: int


@dataclass(frozen=True)
class Job:
    """What the newest coat asks for beside recoating and sanding, as long as that has not been done.

    flange       a flange to be trimmed with a knife
    taped        masking tape to be pulled; carves: to be carved with a rasp, or sanded later
    clamped      a glue line in its clamps; under_ply: peel ply lies on it
    ply_off_at   when peel ply came off that had lain on the film all the while it was young, UTC ms
    warmer_K     how much warmer than the panel it is inside, where something closes, K
    vertical     it stands or hangs
    coat_to_come by the plan another coat follows this one
    """

    flange: bool = False
    taped: bool = False
    carves: bool = False
    clamped: bool = False
    under_ply: bool = False
    ply_off_at: int | None = None
    warmer_K: float = 0.0
    vertical: bool = False
    coat_to_come: bool = False

    @property
    def bonds(self) -> bool:
        """Another coat can be put on it as it is."""
        return not (self.clamped or self.under_ply)


@dataclass(frozen=True)
class Standing:
    """All that decide() looks at.

    panel_C        mean of the last minutes, so that one cold reading does not turn the answer
    trend          "falling", "steady" or "rising" over the last hour
    newest, least  passings by milestone, of the newest coat and of the one furthest from sanding; a missing one
                   counts as never
    pot            while nobody has said that the newest coat is on, else None
    since_cold     since when the panel has been below the card's minimum without a break
    cold_h         hours of the newest coat's life below the card's minimum
    gap            the longest stretch of its life without readings (from, to); missing_h all such hours
    under_K        how far the panel is under the dew point, if it has been at it for ten minutes on end; else None
    suspect_since  when the slow end had passed the softest that a thumb still finds there; None: mix not suspected
    disagrees      a thumb test of the newest coat contradicts the temperatures, or another one
    torn           the newest that tells something does
    soften_C       from where on the least cured coat may soften, degC, low end
    proven         what demoulding asks for beside the range: hardness, every pot in ratio, a name
    proven_cured   what signing off asks for beside the range: the hardness of a full cure, and all of the above
    cap            why nothing past sanding may be said, as a sentence; None if nothing forbids it
    job            what the newest coat's kind asks for
    """

    at: int
    panel_C: float
    trend: str
    minimum_C: float
    maximum_C: float
    newest: Mapping[str, When]
    least: Mapping[str, When]
    film: FilmNow
    sanded_at: int | None = None
    pot: Pot | None = None
    stopped: Stopped | None = None
    glassy: Glassy | None = None
    since_cold: int | None = None
    cold_h: float = 0.0
    gap: tuple[int, int] | None = None
    missing_h: float = 0.0
    under_K: float | None = None
    suspect_since: int | None = None
    disagrees: bool = False
    torn: bool = False
    soften_C: float | None = None
    proven: bool = False
    proven_cured: bool = False
    cap: Say | None = None
    job: Job = Job()
