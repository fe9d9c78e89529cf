"""What a film would meet if it were mixed at some hour of the outlook: until it is tack-free, and on bare wood until it
gels.

All of it is a forecast: the panel's by its own spread, the dew point's as likely. The margin and the card's minimum
are looked at in the 10 % coldest nights, because there a wrong "yes" costs most. All times UTC ms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from model.blocks import MINUTE_MS, Blocks, Floats
from model.calibration import Calibration
from model.forecast import EIGHTY_PC_HALF_WIDTHS
from model.mix_now import LEAST_MARGIN_K
from model.psychrometrics import relative_humidity_at, usable
from model.resin_card import Milestone
from model.what_if import LatestMixing, latest_mixing, passed_if
from model.wood import outgassing

FOLLOWED_H = 24.0
"""A film that takes longer than this to lose its tack is said to take "longer": no night is forecast further."""


@dataclass(frozen=True)
class Start:
    """A film mixed at at_ms. None: not known, or not within FOLLOWED_H.

    panel_C       the panel then, as likely, degC
    margin_K, surface_rh_pc   panel less dew point then, K; humidity at the surface, %
    coldest_C     coldest minute until tack-free at the cold end, degC
    least_margin_K  least margin until tack-free at the cold end, K
    closes_ms     first minute before tack-free in which the margin is not known to be kept at the cold end
    gels_ms, tack_free_ms   likely gel, and the safe end of tack-free
    rise_K        largest warming of the panel until gel, as likely, K: what bare wood would breathe out
    """

    at_ms: int
    panel_C: float
    margin_K: float | None
    surface_rh_pc: float | None
    coldest_C: float
    least_margin_K: float | None
    closes_ms: int | None
    gels_ms: int | None
    tack_free_ms: int | None
    rise_K: float


def start_at(
    calibration: Calibration,
    outlook: Blocks,
    dew_point_C: Floats,
    at_ms: int,
    *,
    air_only_K: float = 0.0,
) -> Start:
    """What a film started at at_ms, a time within `outlook`, would meet.

    dew_point_C (n,) forecast for each minute of the outlook, degC, NaN where unknown; air_only_K as in
    latest_mixing(). Raises ValueError for a time outside the outlook or a dew point of another length.
    """
    if dew_point_C.shape != outlook.central.shape:
        raise ValueError(f"dew_point_C {dew_point_C.shape}: it needs one value a minute, {len(outlook)}")
    if not outlook.start <= at_ms < outlook.end:
        raise ValueError(f"{at_ms} lies outside the outlook, {outlook.start} to {outlook.end} (UTC ms)")
    first = (at_ms - outlook.start) // MINUTE_MS
    last = min(first + round(60.0 * FOLLOWED_H), len(outlook))
    ahead, dew = _minutes(outlook, first, last), dew_point_C[first:last]
    passed = passed_if(calibration, ahead, max(at_ms, ahead.start), at_ms)
    tack_free, gels = passed[Milestone.TACK_FREE].safe, passed[Milestone.RECOAT_FROM].likely
    young = _until(ahead, tack_free)
    cold = ahead.central[:young] - EIGHTY_PC_HALF_WIDTHS * ahead.spread[:young] - air_only_K
    margin = cold - dew[:young]
    closed = np.flatnonzero(~(margin >= LEAST_MARGIN_K))
    panel = float(ahead.central[0])
    return Start(
        at_ms=at_ms,
        panel_C=panel,
        margin_K=_known(panel - air_only_K - float(dew[0])),
        surface_rh_pc=surface_rh(panel - air_only_K, float(dew[0])),
        coldest_C=float(np.min(cold + air_only_K)),
        least_margin_K=_known(float(np.min(margin))),
        closes_ms=ahead.start + int(closed[0]) * MINUTE_MS if len(closed) else None,
        gels_ms=gels,
        tack_free_ms=tack_free,
        rise_K=outgassing(ahead.central[: _until(ahead, gels)]).rise_K,
    )


def latest_start(
    calibration: Calibration, outlook: Blocks, dew_point_C: Floats, *, air_only_K: float = 0.0
) -> tuple[LatestMixing, bool]:
    """The latest start from the outlook's first minute on, and whether it is the cold that ends it, not the margin.

    The margin closes at 3 K; the cold comes when the panel, at its cold end, falls below the card's minimum, where
    nothing is claimed of a film that is still tacky. Arguments and errors as latest_mixing().
    """
    cold = outlook.central - EIGHTY_PC_HALF_WIDTHS * outlook.spread
    too_cold = cold < calibration.card.minimum_C
    both = np.where(too_cold, np.nan, dew_point_C)
    found = latest_mixing(calibration, outlook, both, LEAST_MARGIN_K, air_only_K=air_only_K)
    if found.closes_ms is None:
        return found, False
    return found, bool(too_cold[(found.closes_ms - outlook.start) // MINUTE_MS])


def first_hours(of: Blocks, hours: float) -> Blocks:
    """The beginning of an outlook; all of it if it is shorter."""
    return _minutes(of, 0, min(round(60.0 * hours), len(of)))


def surface_rh(surface_C: float, dew_point_C: float) -> float | None:
    """Relative humidity at a surface, %, 100 at most; None where the dew point is not known."""
    if not usable(surface_C, 50.0) or not usable(dew_point_C, 50.0):
        return None
    return min(float(relative_humidity_at(surface_C, dew_point_C)), 100.0)


def _minutes(of: Blocks, first: int, last: int) -> Blocks:
    rows = slice(first, last)
    return Blocks(
        of.start + first * MINUTE_MS,
        of.cold[rows],
        of.central[rows],
        of.hot[rows],
        of.measured[rows],
        of.spread[rows],
    )


def _until(of: Blocks, end_ms: int | None) -> int:
    """Minutes up to end_ms, at least one; all of them if it is None."""
    return len(of) if end_ms is None else max(-(-(end_ms - of.start) // MINUTE_MS), 1)


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None
