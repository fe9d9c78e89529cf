"""What a record's numbers are: per coat and for the panel. Times UTC ms; None: not known."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from typing import Any

Three = tuple[float, float, float]
Gap = tuple[int, int]


@dataclass(frozen=True)
class FilmMet:
    """What a coat's film met while it was young and lay open, up to `until`.

    level      none measured, some, heavy or wet; None: nobody knows
    unknown_h  hours of it without a known margin over the dew point
    """

    until: int
    level: str | None
    exposure_h: float
    least_margin_K: float | None
    least_margin_at: int | None
    under_3K_h: float
    unknown_h: float
    wet_from: int | None
    wet_to: int | None
    washed_at: int | None


@dataclass(frozen=True)
class Passed:
    """A milestone that was passed by the record's end: by the middle, and by the end that is safe to claim.

    Not demoulding and clamps, which look two days ahead, at what was expected then.
    """

    name: str
    likely: int | None
    safe: int | None
    share: float


@dataclass(frozen=True)
class Poured:
    """One pot. off_percent: too much (+) or too little (-) of the hardener its card asks for; None: not weighed."""

    mixed_at: int
    resin_g: float | None
    hardener_g: float | None
    off_percent: float | None
    in_ratio: bool | None
    stirred: bool | None
    vessel: str | None
    bottles_C: float | None


@dataclass(frozen=True)
class Numbers:
    """One coat's life from `begun` to the record's end.

    conversion_card   of the one coat that does exactly what the card says, 0 to 1
    conversion, age_h, rate, glass_transition_C   10, 50 and 90 % of the range; rate is over the card's
    equivalent_age_h  exact on each line between two readings; the interval mean is the tables' rule
    """

    begun: int
    last_begun: int
    measured_h: float
    missing_h: float
    gaps: tuple[Gap, ...]
    coldest_C: float | None
    warmest_C: float | None
    datum_C: float
    temperature_time_factor_Ch: float
    activation_energy_J_mol: float
    reference_C: float
    equivalent_age_h: float
    equivalent_age_interval_mean_h: float
    conversion_card: float
    conversion: Three
    age_h: Three
    rate: Three
    glass_transition_C: Three
    film: FilmMet
    passed: tuple[Passed, ...]
    thumb_tests: int
    disagree: int
    suspect_since: int | None


@dataclass(frozen=True)
class CoatResult:
    """One coat; unknown says why there are no numbers: "no card", "no readings", or "".

    taught_by   ids of the panels whose coats have taught of its lot
    """

    number: int
    kind: str
    card: str
    mixed_at: int
    applied_at: int | None
    covered_at: int | None
    resin_lot: str | None
    hardener_lot: str | None
    pots: tuple[Poured, ...]
    unknown: str
    numbers: Numbers | None
    taught_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class DecisionFits:
    """Whether the readings and cards that a decision rested on are the ones on this record."""

    event: str
    readings_same: bool | None
    cards_same: bool | None


@dataclass(frozen=True)
class Traces:
    """What the chart draws, one value each `step_min` minutes; None where nothing was measured.

    conversion   for each coat in order, (10, 50, 90 %) at each time, None before it was mixed
    """

    step_min: int
    t: tuple[int, ...]
    panel_C: tuple[float | None, ...]
    air_C: tuple[float | None, ...]
    dew_point_C: tuple[float | None, ...]
    conversion: tuple[tuple[Three | None, ...], ...]


@dataclass(frozen=True)
class Results:
    """Everything on the record that was worked out.

    measured_h, missing_h   of the life from the first coat to `until`, with and without the panel's temperature
    moisture_missing_h      hours of it without a known dew point; None: nobody measures the air's moisture
    air_only                the panel itself was never measured
    """

    until: int
    readings_to: int | None
    measured_h: float
    missing_h: float
    moisture_missing_h: float | None
    air_only: bool
    gaps: tuple[Gap, ...]
    coats: tuple[CoatResult, ...]
    decisions: tuple[DecisionFits, ...]
    traces: Traces | None

    def to_json(self) -> dict[str, Any]:
        """As JSON gives it back: lists for tuples."""
        plain: dict[str, Any] = json.loads(json.dumps(dataclasses.asdict(self), allow_nan=False))
        return plain
