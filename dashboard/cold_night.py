"""Whether the coming night will be too cold for a coat that is not done yet, so that it is said before people leave."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.alarm_kinds import HOUR_MS, KINDS
from dashboard.assessment import Assessment
from model.verdict import State

FROM_H, SAID_BY_H, MORNING_H = 12, 22, 8
"""Said between noon and 22:00; the night ends at 08:00. Common practice, no source: at 22:00 a builder goes to bed."""
JUST_MIXED_MS = HOUR_MS
"""Who has mixed within the hour is awake, whatever the clock says."""
LASTING = 6
"""So many values of the outlook, ten minutes apart, under the card's minimum make a cold night."""
AMISS_K = 1.0
"""The outlook may be wrong by so much: a night that comes this near is told of."""
DONE = frozenset({State.SANDABLE, State.DEMOULDABLE, State.FULLY_CURED, State.PLANNED, State.NOT_KNOWN})


def cold_tonight(item: Assessment, at: int, zone: ZoneInfo) -> tuple[float, int, bool] | None:
    """The outlook's least temperature (degC, whole) of the night, its hour (UTC ms), and whether that is new to say.

    None if no coat is hurt by it. Past 22:00 nothing new is said: what was said before stands until the morning.
    """
    if item.curve is None or item.minimum_C is None or item.verdict.state in DONE:
        return None
    local = datetime.fromtimestamp(at / 1000, zone)
    ends = _morning(local)
    if ends is None:
        return None
    ahead = [
        (value, t)
        for value, t in zip(item.curve.outlook_C, item.curve.t, strict=True)
        if value is not None and at < t <= ends
    ]
    if item.panel_C is not None:
        ahead.append((item.panel_C, at))
    if not ahead:
        return None
    limit = item.minimum_C + AMISS_K
    low_C, low_at = min(ahead)
    if low_C >= limit + KINDS["too cold tonight"].deadband:
        return None
    lasting = sum(value < limit for value, _ in ahead) >= LASTING
    just_mixed = item.mixed_at is not None and at - item.mixed_at <= JUST_MIXED_MS
    awake = FROM_H <= local.hour < SAID_BY_H or just_mixed
    hour = HOUR_MS
    return float(round(low_C)), round(low_at / hour) * hour, lasting and awake


def _morning(local: datetime) -> int | None:
    """When the night that is coming or on ends, UTC ms; None between morning and noon."""
    if MORNING_H <= local.hour < FROM_H:
        return None
    day = local.date() + timedelta(days=1 if local.hour >= FROM_H else 0)
    return round(datetime(day.year, day.month, day.day, MORNING_H, tzinfo=local.tzinfo).timestamp() * 1000)
