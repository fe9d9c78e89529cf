"""Whether a young film's margin over the dew point is about to be used up, while a cover or some warmth still helps."""

from __future__ import annotations

from dashboard.alarm_kinds import HOUR_MS, KINDS
from dashboard.assessment import Assessment
from model.verdict import State

SOON_MS = 2 * HOUR_MS
"""Told when the outlook's margin closes within this; away once it is an hour (its deadband) further off."""
KEPT_MS = SOON_MS + round(KINDS["margin closing"].deadband * HOUR_MS)
YOUNG = frozenset({State.WORKABLE, State.SETTING, State.RECOATABLE})


def closing(item: Assessment, at: int) -> tuple[float, bool] | None:
    """The margin now (K, whole), and whether it is new to say; None if it is wide, or the film is hurt no more.

    Once it has closed, a cover helps no more: washing is another alarm's.
    """
    if item.margin_K is None or item.night is None or item.verdict.state not in YOUNG:
        return None
    closes, safe = item.night.closes_at, _tack_free(item)
    if closes is None or item.margin_K <= item.night.margin_K or closes - at > KEPT_MS:
        return None
    if safe is not None and safe <= closes:
        return None
    return float(round(item.margin_K)), closes - at <= SOON_MS


def _tack_free(item: Assessment) -> int | None:
    """The safe end of tack-free, UTC ms; None beyond the outlook."""
    return next((one.late for one in item.milestones if one.name == "tack_free"), None)
