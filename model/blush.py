"""Exposure of a young film to moist air: said as levels, never as a probability of blush.

Amine blush needs moisture, carbon dioxide, a surface still rich in free amine and time. No kinetic law of
it is published, so the weights here are our own, ordered by what the trade watches (margin of 3 K, 85 %
ceiling); they have not been compared with real films. Only washing decides.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

import numpy as np

from model.blocks import Bools, Floats
from model.psychrometrics import relative_humidity_at

Susceptibility = Literal["low", "medium", "high"]

MARGIN_K = 3.0
"""Least surface temperature above the dew point, as cited for ISO 8502-4 in paint practice."""

AIR_ONLY_K = 2.0
"""Taken off the margin when only air is measured: a thin skin under a clear sky runs below air (common
practice).
"""

WET_MARGIN_K = 0.3
WET_MINUTES = 10
CLOSE_HOURS = 1.0
SOME_H = 1.0
UNKNOWN_SOME_H = 0.5
"""So long without a margin and it may have been wet, which takes ten minutes: while young, a gap means wash."""
HEAVY_H = 3.0
DRY_RH_PC = 60.0
DAMP_RH_PC = 85.0
OUTDOOR_CO2_PPM = 420.0
LARGEST_CO2_FACTOR = 4.0
_SUSCEPTIBILITY: dict[str, float] = {"low": 0.4, "medium": 1.0, "high": 2.0}


class Level(StrEnum):
    """How much moist air the film met while young. NONE_MEASURED is not "no blush"."""

    NONE_MEASURED = "none measured"
    SOME = "some"
    HEAVY = "heavy"
    WET = "wet"


@dataclass(frozen=True)
class FilmExposure:
    """What a young film met. Minutes are indices into the arrays given; None where there is none.

    level         None if humidity was never known while the film was young: then nothing can be said
    exposure_h    weighted hours; minutes without humidity count in full
    least_margin_K, least_margin_minute   smallest known surface temperature above the dew point, and where
    close_h       hours with a known margin below 3 K before tack-free
    wet_from, wet_to   the longest run of wet minutes, [from, to)
    unknown_h     hours of the young film without a measured margin
    cumulative_h  float64 (n,), exposure at the end of each minute
    """

    level: Level | None
    exposure_h: float
    least_margin_K: float | None
    least_margin_minute: int | None
    close_h: float
    wet_from: int | None
    wet_to: int | None
    unknown_h: float
    cumulative_h: Floats = field(compare=False, repr=False)


def film_exposure(
    surface_C: Floats,
    dew_point_C: Floats,
    conversion: Floats,
    young: Bools,
    susceptibility: Susceptibility,
    *,
    tacky: Bools | None = None,
    measured: Bools | None = None,
    air_only: bool = False,
    co2_ppm: Floats | None = None,
) -> FilmExposure:
    """Exposure X = sum of w(surface RH) (1 - a) s over the young minutes, and the level it amounts to.

    surface_C    (n,) panel's temperature in each minute, degC dew_point_C  (n,) of the air, degC, NaN where
    unknown conversion   (n,) degree of cure, 0 to 1, central path young        (n,) True from application
    until equivalent age passes 1.8 times "recoat from", or the first wash tacky        (n,) True before
    tack-free; the whole young time if not given measured     (n,) False where surface_C was not measured;
    such minutes count as exposed air_only     True if surface_C is derived from air: 2 K are taken off the
    margin co2_ppm      (n,) carbon dioxide, ppm, NaN where unknown; the exposure grows with it up to four
    times

    w grows from 0 at 60 % to 1 at 85 % relative humidity at the surface and is 1 where that is not known; s
    is 0.4, 1 or 2. "some" from 1 h, "heavy" from 3 h; a margin below 3 K for an hour before tack-free is at
    least "heavy" ("some" for low susceptibility); "wet" is a margin of at most 0.3 K for ten minutes on
    end. All but the 3 K are our own choice. Raises ValueError for arrays of different lengths, values out
    of range, or another susceptibility.
    """
    known = _check(surface_C, dew_point_C, conversion, young, tacky, measured, co2_ppm, susceptibility)
    margin = np.where(known, surface_C - np.where(known, dew_point_C, 0.0), np.inf)
    margin = margin - (AIR_ONLY_K if air_only else 0.0)
    weight = np.ones(len(surface_C))
    rh = relative_humidity_at(surface_C[known], dew_point_C[known])
    weight[known] = np.clip((rh - DRY_RH_PC) / (DAMP_RH_PC - DRY_RH_PC), 0.0, 1.0)
    rate = weight * (1.0 - conversion) * _SUSCEPTIBILITY[susceptibility] * _co2_factor(co2_ppm)
    cumulative_h = np.cumsum(np.where(young, rate, 0.0)) / 60.0
    exposure_h = float(cumulative_h[-1]) if len(cumulative_h) else 0.0
    close = young & known & (margin < MARGIN_K) & (young if tacky is None else tacky)
    close_h = np.count_nonzero(close) / 60.0
    wet = _longest_run(young & known & (margin <= WET_MARGIN_K))
    is_wet = wet[1] - wet[0] >= WET_MINUTES
    seen = young & known
    unknown_h = np.count_nonzero(young & ~known) / 60.0
    least = int(np.argmin(np.where(seen, margin, np.inf))) if np.any(seen) else None
    return FilmExposure(
        level=_level(exposure_h, close_h, is_wet, unknown_h, susceptibility) if least is not None else None,
        exposure_h=exposure_h,
        least_margin_K=None if least is None else float(margin[least]),
        least_margin_minute=least,
        close_h=close_h,
        wet_from=wet[0] if is_wet else None,
        wet_to=wet[1] if is_wet else None,
        unknown_h=unknown_h,
        cumulative_h=cumulative_h,
    )


def _level(
    exposure_h: float, close_h: float, is_wet: bool, unknown_h: float, susceptibility: Susceptibility
) -> Level:
    close = close_h >= CLOSE_HOURS
    if is_wet:
        return Level.WET
    if exposure_h >= HEAVY_H or (close and susceptibility != "low"):
        return Level.HEAVY
    some = exposure_h >= SOME_H or close or unknown_h >= UNKNOWN_SOME_H
    return Level.SOME if some else Level.NONE_MEASURED


def _co2_factor(co2_ppm: Floats | None) -> Floats | float:
    """1 where carbon dioxide is unknown or no more than outdoors."""
    if co2_ppm is None:
        return 1.0
    known_ppm = np.where(np.isnan(co2_ppm), OUTDOOR_CO2_PPM, co2_ppm)
    return np.clip(known_ppm / OUTDOOR_CO2_PPM, 1.0, LARGEST_CO2_FACTOR)


def _longest_run(true: Bools) -> tuple[int, int]:
    """[from, to) of the longest run of True, the first of equals; (0, 0) if there is none."""
    steps = np.diff(np.concatenate([[False], true, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    if len(starts) == 0:
        return 0, 0
    longest = int(np.argmax(ends - starts))
    return int(starts[longest]), int(ends[longest])


def _check(
    surface_C: Floats,
    dew_point_C: Floats,
    conversion: Floats,
    young: Bools,
    tacky: Bools | None,
    measured: Bools | None,
    co2_ppm: Floats | None,
    susceptibility: str,
) -> Bools:
    """The minutes in which the margin is known. Raises ValueError for what cannot be used."""
    given: dict[str, Floats | Bools | None] = {
        "dew_point_C": dew_point_C,
        "conversion": conversion,
        "young": young,
        "tacky": tacky,
        "measured": measured,
        "co2_ppm": co2_ppm,
    }
    for name, array in given.items():
        if array is not None and array.shape != surface_C.shape:
            raise ValueError(
                f"{name} {array.shape}: it needs one value a minute, like surface_C {surface_C.shape}"
            )
    if susceptibility not in _SUSCEPTIBILITY:
        raise ValueError(f"susceptibility {susceptibility!r}: allowed are {', '.join(_SUSCEPTIBILITY)}")
    if not np.all((conversion >= 0.0) & (conversion <= 1.0)):
        raise ValueError("conversion must lie between 0 and 1 in every minute")
    if not np.all(np.isfinite(surface_C)):
        raise ValueError("surface_C must be finite; hand in the central path and mark it in `measured`")
    known = ~np.isnan(dew_point_C)
    return known if measured is None else known & measured
