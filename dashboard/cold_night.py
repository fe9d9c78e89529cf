"""Whether the coming night will be too cold for a coat that is not done yet, so that it is said before people leave."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.alarm_kinds import HOUR_MS, KINDS, MINUTE_MS
from dashboard.assessment import Assessment
from model.verdict import State

FROM_H, SAID_BY_H, MORNING_H = 12, 22, 8
"""Said between noon and 22:00; the night ends at 08:00. Common practice, no source: at 22:00 a builder goes to bed."""
TOLD_MS = KINDS["too cold tonight"].on + KINDS["too cold tonight"].gather + 5 * MINUTE_MS
"""So long it takes from when it is so until it has been told."""
JUST_MIXED_MS = HOUR_MS
"""Who has mixed within the hour is awake, whatever the clock says."""
LASTING = 4
"""So many quarters of an hour likely under the card's minimum make a cold night."""
DONE = frozenset({State.SANDABLE, State.DEMOULDABLE, State.FULLY_CURED, State.PLANNED, State.NOT_KNOWN})


def cold_tonight(item: Assessment, at: int, zone: ZoneInfo) -> tuple[float, bool] | None:
    """The least temperature (degC, whole) that the night likely brings, and whether that is new to say.

    None if no coat is hurt by it. Past 22:00 nothing new is said: what was said before stands until the morning.
    """
    if item.night is None or item.minimum_C is None or item.verdict.state in DONE:
        return None
    local = datetime.fromtimestamp(at / 1000, zone)
    ends = _morning(local)
    if ends is None:
        return None
    ahead = [value for value, t in zip(item.night.likely_C, item.night.t, strict=True) if t <= ends]
    if item.panel_C is not None:
        ahead.append(item.panel_C)
    if not ahead or min(ahead) >= item.minimum_C + KINDS["too cold tonight"].deadband:
        return None
    lasting = sum(value < item.minimum_C for value in ahead) >= LASTING
    return float(math.floor(min(ahead))), lasting and _awake(item, at, local)


def _awake(item: Assessment, at: int, local: datetime) -> bool:
    if item.mixed_at is not None and at - item.mixed_at <= JUST_MIXED_MS:
        return True
    last = local.replace(hour=SAID_BY_H, minute=0, second=0, microsecond=0) - timedelta(milliseconds=TOLD_MS)
    return local.hour >= FROM_H and local <= last


def _morning(local: datetime) -> int | None:
    """When the night that is coming or on ends, UTC ms; None between morning and noon."""
    if MORNING_H <= local.hour < FROM_H:
        return None
    day = local.date() + timedelta(days=1 if local.hour >= FROM_H else 0)
    return round(datetime(day.year, day.month, day.day, MORNING_H, tzinfo=local.tzinfo).timestamp() * 1000)
