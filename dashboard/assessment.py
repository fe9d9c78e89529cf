"""What watch stores for one panel and every page shows: a verdict with the numbers and the readings it rests on."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from dashboard.panel import Panel
from model.verdict import Flag, Kind, Mark, Say, State, Verdict

CLOCK_MS = 2 * 60_000
"""So much may two clocks differ before an answer lies in the future."""


@dataclass(frozen=True)
class Passing:
    """When a milestone is passed by 10, 50 and 90 % of the range; UTC ms, None beyond two days.

    passed  share of the range that has passed it at the assessment's time, 0 to 1
    """

    name: str
    early: int | None
    likely: int | None
    late: int | None
    passed: float


@dataclass(frozen=True)
class Film:
    """Exposure of the young film; levels are words, never probabilities. None: not known for want of humidity."""

    level: str | None
    exposure_h: float
    least_margin_K: float | None
    least_margin_at: int | None
    wet_from: int | None
    wet_to: int | None
    washed_at: int | None


@dataclass(frozen=True)
class Curve:
    """Traces for the chart, one value each ten minutes; None where there is none. Times UTC ms."""

    t: tuple[int, ...]
    conversion_low: tuple[float, ...]
    conversion: tuple[float, ...]
    conversion_high: tuple[float, ...]
    glass_transition_C: tuple[float, ...]
    panel_C: tuple[float | None, ...]
    air_C: tuple[float | None, ...]
    dew_point_C: tuple[float | None, ...]
    outlook_C: tuple[float | None, ...]

    def to_json(self) -> str:
        """Inverse of from_json()."""
        return _json(self)

    @classmethod
    def from_json(cls, text: str) -> Curve:
        """Raises ValueError or TypeError for a text that to_json() did not write."""
        return cls(**{key: tuple(value) for key, value in json.loads(text).items()})


@dataclass(frozen=True)
class Night:
    """What lies ahead of the panel in a bit more than a day, one value each quarter of an hour; times UTC ms.

    likely_C, low_C, high_C   the panel, degC, and between what 8 of 10 such nights lie
    dew_point_C   of the air beside it, as likely; empty where it is not measured
    cold_at       from when the panel is likely below the card's minimum for an hour; None: not within these hours
    closes_by, closes_at   when the margin over the dew point falls under margin_K: early end, and as likely
    source        what is said of the forecast file; None: there is none
    """

    t: tuple[int, ...]
    likely_C: tuple[float, ...]
    low_C: tuple[float, ...]
    high_C: tuple[float, ...]
    dew_point_C: tuple[float, ...]
    margin_K: float
    cold_at: int | None = None
    closes_by: int | None = None
    closes_at: int | None = None
    source: Say | None = None


@dataclass(frozen=True)
class Assessment:
    """One panel at one time. `good_until`: past it every reader must say "not known". Times UTC ms.

    readings_to   the newest usable reading of the panel's temperature, None if there never was one
    batch         the last batch of readings this rests on; seqs  what it means for each site, where it is a sum
    coat          number of the newest coat, from 1; 0 if none was mixed
    measured_h, missing_h   hours of the newest coat's life with and without readings
    temperature_time_factor_Ch, equivalent_age_h, equivalent_age_interval_mean_h   see model.degree_hours
    entries       the mark of the panel as it was then; "" if nobody kept it
    corrections   entries of the logbook that the readings were corrected by
    conversion    10, 50 and 90 % of the range of the least cured coat, 0 to 1
    rate, age_h   of the same: its rate over the card's, and its equivalent age
    effective     how many of the range's coats still count after the thumb tests of the newest coat
    cards         (id, digest of its text) of every card the panel's coats were mixed with
    lot           card, lot of the resin and of the hardener of the newest coat, if other coats have taught of it;
                  lot_panels  ids of the panels that did
    """

    panel: str
    name: str
    zone: str
    coat: int
    coats: int
    card: str
    at: int
    readings_to: int | None
    good_until: int
    batch: int
    verdict: Verdict
    milestones: tuple[Passing, ...] = ()
    conversion: tuple[float, float, float] | None = None
    glass_transition_C: tuple[float, float, float] | None = None
    panel_C: float | None = None
    air_C: float | None = None
    air_RH: float | None = None
    dew_point_C: float | None = None
    margin_K: float | None = None
    minimum_C: float | None = None
    mixed_at: int | None = None
    measured_h: float = 0.0
    missing_h: float = 0.0
    datum_C: float = 0.0
    temperature_time_factor_Ch: float | None = None
    equivalent_age_h: float | None = None
    equivalent_age_interval_mean_h: float | None = None
    reference_C: float | None = None
    film: Film | None = None
    gaps: tuple[tuple[int, int], ...] = ()
    curve: Curve | None = None
    night: Night | None = None
    cautions: tuple[str, ...] = ()
    corrections: tuple[str, ...] = ()
    entries: str = ""
    rate: tuple[float, float, float] | None = None
    age_h: tuple[float, float, float] | None = None
    effective: float | None = None
    cards: tuple[tuple[str, str], ...] = ()
    lot: tuple[str, str, str] | None = None
    lot_panels: tuple[str, ...] = ()
    seqs: tuple[tuple[str, int], ...] = ()

    def is_of(self, panel: Panel) -> bool:
        """Whether it was worked out from all that has been logged of the panel by now."""
        return self.coat == len(panel.coats) and self.entries in ("", panel.mark)

    def is_old(self, now: int) -> bool:
        """Whether every reader must say "not known" at `now` (UTC ms): past its time, or before it was worked out."""
        return now >= self.good_until or now < self.at - CLOCK_MS

    @cached_property
    def by_name(self) -> dict[str, Passing]:
        """The milestones by their names."""
        return {one.name: one for one in self.milestones}

    @property
    def without_curve(self) -> Assessment:
        """The same without the traces of its chart, which are most of it."""
        return dataclasses.replace(self, curve=None)

    def to_json(self) -> str:
        """Inverse of from_json()."""
        return _json(self)

    @classmethod
    def from_json(cls, text: str) -> Assessment:
        """Raises ValueError or KeyError for a text that to_json() did not write."""
        raw: dict[str, Any] = json.loads(text)
        verdict = raw.pop("verdict")
        film, curve, night = raw.pop("film"), raw.pop("curve"), raw.pop("night", None)
        return cls(
            **{key: _tuples(value) for key, value in raw.items() if key != "milestones"},
            milestones=tuple(Passing(**item) for item in raw["milestones"]),
            verdict=Verdict(
                state=State(verdict["state"]),
                kind=Kind(verdict["kind"]),
                mark=Mark(verdict["mark"]),
                headline=Say(**verdict["headline"]),
                why=tuple(Say(**item) for item in verdict["why"]),
                next=Say(**verdict["next"]) if verdict["next"] else None,
                flags=frozenset(Flag(item) for item in verdict["flags"]),
                rank=verdict["rank"],
            ),
            film=Film(**film) if film else None,
            curve=Curve(**{key: tuple(value) for key, value in curve.items()}) if curve else None,
            night=_night(night) if night else None,
        )


def _json(value: Any) -> str:
    return json.dumps(value, default=_plain, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    """What JSON does not know by itself."""
    if dataclasses.is_dataclass(value):
        return {item.name: getattr(value, item.name) for item in dataclasses.fields(value)}
    if isinstance(value, frozenset):
        return sorted(str(item) for item in value)
    raise TypeError(f"{type(value).__name__} has no place in a stored answer")


def _night(raw: dict[str, Any]) -> Night:
    source = raw.pop("source")
    return Night(
        **{key: _tuples(value) for key, value in raw.items()}, source=Say(**source) if source else None
    )


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value
