"""Whether a young film's margin over the dew point is about to be used up, while a cover or some warmth still helps."""

from __future__ import annotations

from dashboard.alarm_kinds import HOUR_MS, KINDS
from dashboard.assessment import Assessment
from model.verdict import State

LEAST_K = 3.0
"""Below this the air counts as exposure (MODEL: dew-point margin; common practice, no source)."""
SOON_MS = HOUR_MS
TREND_MS = HOUR_MS
"""How long ago the margin is compared with."""
YOUNG = frozenset({State.WORKABLE, State.SETTING, State.RECOATABLE})


def closing(item: Assessment, at: int) -> tuple[float, bool] | None:
    """The margin now (K, whole), and whether it is new to say; None if it is wide, or the film is young no more.

    New to say while it is still above LEAST_K and at this pace will not be in an hour. Under it, what was said stands.
    """
    if item.margin_K is None or item.verdict.state not in YOUNG or item.curve is None:
        return None
    kept = LEAST_K + KINDS["margin closing"].deadband
    before = _margin_at(item, at - TREND_MS)
    if before is None:
        return (float(round(item.margin_K)), False) if item.margin_K < kept else None
    ahead_K = item.margin_K + (item.margin_K - before) * SOON_MS / TREND_MS
    if min(item.margin_K, ahead_K) >= kept:
        return None
    return float(round(item.margin_K)), ahead_K < LEAST_K < item.margin_K


def _margin_at(item: Assessment, at: int) -> float | None:
    """The margin that was measured nearest to a time, K; None if none was within a quarter of an hour."""
    assert item.curve is not None
    near = [
        (abs(t - at), panel - dew)
        for t, panel, dew in zip(item.curve.t, item.curve.panel_C, item.curve.dew_point_C, strict=True)
        if panel is not None and dew is not None and abs(t - at) <= HOUR_MS // 4
    ]
    return min(near)[1] if near else None
