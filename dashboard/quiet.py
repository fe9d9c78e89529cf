"""Whom a notice may reach when: each person's quiet hours, and how long an alarm may be kept quiet.

Entry of the logbook "quiet hours", body: person, start, end ("22:00"; the same twice: none), wake (kinds that may wake
that person). A pot about to go wakes everybody: it burns.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import KINDS, MINUTE_MS, OFFERED, SUGGESTED, Wakes
from dashboard.fold import withdrawn
from dashboard.panel import Event

START, END = "22:00", "06:00"
"""Quiet hours of a person who has not chosen."""
QUIET_MS = 30 * MINUTE_MS
MOST_QUIET_MS = 12 * 60 * MINUTE_MS
BEFORE_MS = 10 * MINUTE_MS
"""An alarm that was made quiet comes back so long before the panel's next deadline."""


class QuietError(ValueError):
    """It cannot be quiet; the text says why and what is allowed."""


@dataclass(frozen=True)
class Person:
    """One who is told; `start` and `end` are local times, equal for no quiet hours."""

    name: str
    start: str = START
    end: str = END
    wake: frozenset[str] = frozenset(SUGGESTED)
    chosen: bool = False

    def quiet(self, at: int, zone: ZoneInfo) -> bool:
        """Whether it is this person's quiet time at `at` (UTC ms)."""
        return self.quiet_since(at, zone) is not None

    def quiet_since(self, at: int, zone: ZoneInfo) -> int | None:
        """When the quiet hours that are on began, UTC ms; None outside of them."""
        if self.start == self.end:
            return None
        local = datetime.fromtimestamp(at / 1000, UTC).astimezone(zone)
        for day in (local.date(), local.date() - timedelta(days=1)):
            begins = datetime.combine(day, time.fromisoformat(self.start), zone)
            ends_day = day if self.end > self.start else day + timedelta(days=1)
            ends = datetime.combine(ends_day, time.fromisoformat(self.end), zone)
            if begins.timestamp() * 1000 <= at < ends.timestamp() * 1000:
                return round(begins.timestamp() * 1000)
        return None

    def is_woken_by(self, alarm: Alarm) -> bool:
        """A pot wakes everybody; else it must have been asked for, and be of use at that hour."""
        if KINDS[alarm.kind].wakes is Wakes.ALWAYS:
            return True
        return alarm.urgent and alarm.kind in self.wake


def people(names: Sequence[str], events: Iterable[Event]) -> dict[str, Person]:
    """Those of the settings, by name, with what was last entered of each."""
    listed = list(events)
    gone = withdrawn(listed)
    found = {name: Person(name) for name in names}
    for event in listed:
        if event.kind == "quiet hours" and event.id not in gone and event.body["person"] in found:
            body = event.body
            name = str(body["person"])
            found[name] = Person(name, str(body["start"]), str(body["end"]), frozenset(body["wake"]), True)
    return found


def check_quiet_hours(person: str, start: str, end: str, wake: Iterable[str]) -> None:
    """Raises QuietError."""
    if not person.strip():
        raise QuietError("whose quiet hours? name a person of the settings")
    for text in (start, end):
        if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text):
            raise QuietError(f"{text!r} is no time of day: write it as 22:00")
    other = sorted(set(wake) - set(OFFERED))
    if other:
        raise QuietError(f"nobody is woken for {', '.join(other)}; allowed: {', '.join(OFFERED)}")


def quiet_until(alarm: Alarm, asked: int, deadline: int | None, at: int) -> int:
    """Until when an alarm may be quiet, if `asked` for; `deadline` is the next of its panels. UTC ms.

    Raises QuietError for a pot, for a deadline too near, and for a time that has gone or is too far away.
    """
    if KINDS[alarm.kind].wakes is Wakes.ALWAYS:
        raise QuietError("a pot is never quiet: pour it out, then say that the coat is on")
    if asked <= at:
        raise QuietError("that time has gone: choose a later one")
    until = min(asked, at + MOST_QUIET_MS)
    if deadline is not None and at < deadline:
        until = min(until, deadline - BEFORE_MS)
        if until <= at:
            raise QuietError("its next deadline is too near for quiet: see to it now")
    return until
