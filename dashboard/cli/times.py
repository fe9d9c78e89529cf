"""Times on a command line."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from dashboard.cli.errors import CommandError


def utc_ms(text: str, zone: str | None, what: str) -> int:
    """UTC ms of an ISO 8601 time; `zone` counts for one without an offset. Raises CommandError."""
    try:
        time = datetime.fromisoformat(text)
    except ValueError as error:
        raise CommandError(f"{what} {text!r}: write a time such as 2026-01-10T18:20") from error
    if time.tzinfo is None:
        if zone is None:
            raise CommandError(
                f"{what} {text!r} has no time zone: add --zone Europe/Oslo, or an offset such as +01:00 to the time"
            )
        time = time.replace(tzinfo=zone_of(zone))
    return round(time.timestamp() * 1000)


def zone_of(name: str) -> ZoneInfo:
    """The time zone called `name`. Raises CommandError if there is none."""
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, KeyError) as error:
        raise CommandError(
            f"no time zone is called {name!r}: write one such as Europe/Oslo or UTC"
        ) from error


def iso(at: int) -> str:
    """UTC ms as 2026-01-10T17:20:00Z."""
    return datetime.fromtimestamp(at / 1000, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
