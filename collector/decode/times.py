"""Dates and times as text to UTC milliseconds: ISO 8601 with an offset, or local time in a stated zone."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

FORM = "2026-02-03T04:05:06Z, 2026-02-03 04:05:06+01:00, or without offset if a zone is set"

_FORM = re.compile(
    r"(20[0-9]{2}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}:[0-9]{2})(:[0-9]{2}(?:[.,][0-9]{1,6})?)? ?"
    r"(Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def utc_ms(text: str, zone: ZoneInfo | None) -> int:
    """UTC ms of a date and time, years 2000 to 2099. An offset in the text comes before `zone`.

    Raises ValueError if the text has another form, if it has no offset and no zone is given, and for a local
    time that the zone's clocks skip or repeat: which of two hours was meant cannot be known from one time.
    """
    parts = _FORM.fullmatch(text)
    if parts is None:
        raise ValueError(f"time {text[:40]!r}; allowed: {FORM}")
    date, minute, second, offset = parts.groups()
    try:
        stamp = datetime.fromisoformat(f"{date}T{minute}{(second or ':00').replace(',', '.')}{offset or ''}")
    except ValueError as error:
        raise ValueError(f"time {text[:40]!r} is not in the calendar: {error}") from error
    if stamp.tzinfo is None:
        stamp = _placed(stamp, zone)
    return round((stamp - _EPOCH).total_seconds() * 1000)


def _placed(stamp: datetime, zone: ZoneInfo | None) -> datetime:
    if zone is None:
        raise ValueError(f'time {stamp} has no offset and no zone is set: write zone = "Europe/Oslo" at time')
    first, second = (stamp.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first
    back = first.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    what = "occurs twice" if back == stamp else "does not exist"
    raise ValueError(
        f"local time {stamp} {what} in {zone.key}, where the clocks are changed then: "
        "set the logger to UTC, or let it write the offset"
    )
