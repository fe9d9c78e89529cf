"""From alarms to notices: what has one cause is one notice, and nobody is told the same thing twice.

Pure. A notice gathers for a while before it is told: one power strip that silences eight probes is one notice. For
causes of the night (cold, damp) what comes later says nothing new, unless it names another panel: all such are told
together at the evening round, and those that come after it in the morning.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import HOUR_MS, KINDS
from dashboard.alarm_state import AlarmState, Marks, cause_of, state_of
from dashboard.quiet import Person

RINGS = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED})
"""States of which somebody has still to be told."""
FORGOTTEN_MS = 24 * HOUR_MS
"""What was over so long ago before anybody could be told is no news."""
ROUND = time(21, 30)
"""The evening round: by 22:00 the night has been told of."""
TEST = "test"


@dataclass(frozen=True)
class Notice:
    """What is told as one. Times UTC ms.

    key       cause and first occurrence: decided again after a crash, it is the same one
    ready_at  until then it gathers
    waits     it waits for the morning, whatever it is
    person    whom it is for; "": everybody
    """

    key: str
    cause: str
    opened_at: int
    ready_at: int
    alarms: tuple[str, ...]
    waits: bool = False
    person: str = ""


class Grouping:
    """Takes alarms in, one after the other; `changed` holds the notices that are new or have more in them."""

    def __init__(
        self, notices: Iterable[Notice], alarms: Mapping[str, Alarm], marks: Marks, zone: ZoneInfo
    ) -> None:
        self._notices = {notice.key: notice for notice in notices}
        self._alarms = alarms
        self._marks = marks
        self._zone = zone
        self.changed: dict[str, Notice] = {}

    def take(self, alarm: Alarm, at: int) -> None:
        """One occurrence as it is at `at`."""
        if state_of(alarm, self._marks, at) not in RINGS:
            return
        told = [notice for notice in self._notices.values() if alarm.id in notice.alarms]
        if told:
            self._again(alarm, max(notice.opened_at for notice in told), at)
            return
        if alarm.returned_at is not None and at - alarm.returned_at > FORGOTTEN_MS:
            return
        kind = KINDS[alarm.kind]
        newest = max(self._of(kind.cause), key=lambda notice: notice.opened_at, default=None)
        if newest is not None and at < newest.ready_at:
            ready = newest.ready_at if newest.waits else min(newest.ready_at, at + kind.gather)
            self._put(replace(newest, alarms=(*newest.alarms, alarm.id), ready_at=ready))
            return
        tonight = [one for one in self._of(kind.cause) if self._night(one.opened_at) == self._night(at)]
        waits = kind.nightly and bool(tonight)
        old = waits and set(alarm.panels) <= self._named(tonight)
        if newest is not None and (old or self._often(alarm, tonight)):
            self._put(replace(newest, alarms=(*newest.alarms, alarm.id)))
            return
        ready = max(at + kind.gather, self._evening(at)) if waits else at + kind.gather
        self._put(Notice(f"{kind.cause}.{alarm.id}", kind.cause, at, ready, (alarm.id,), waits=waits))

    def _again(self, alarm: Alarm, told_at: int, at: int) -> None:
        """Its quiet time is over and it is still so: that is told once."""
        shelf = self._marks.shelf(alarm)
        if alarm.returned_at is None and shelf is not None and told_at < shelf.until <= at:
            cause = KINDS[alarm.kind].cause
            self._put(Notice(f"{cause}.{alarm.id}.again.{shelf.until}", cause, at, at, (alarm.id,)))

    def _often(self, alarm: Alarm, tonight: Iterable[Notice]) -> bool:
        """Whether the same has been told as often as it may be in one night."""
        most, cause = KINDS[alarm.kind].most, cause_of(alarm.id)
        told = [notice for notice in tonight if cause in map(cause_of, notice.alarms)]
        return bool(most) and len(told) >= most

    def _put(self, notice: Notice) -> None:
        self._notices[notice.key] = self.changed[notice.key] = notice

    def _of(self, cause: str) -> list[Notice]:
        return [notice for notice in self._notices.values() if notice.cause == cause]

    def _named(self, notices: Iterable[Notice]) -> set[str]:
        ids = [alarm for notice in notices for alarm in notice.alarms]
        return {name for one in ids if one in self._alarms for name in self._alarms[one].panels}

    def _evening(self, at: int) -> int:
        """When people look round before they leave that night, UTC ms: what else it will do is told once then."""
        return round(datetime.combine(self._night(at), ROUND, self._zone).timestamp() * 1000)

    def _night(self, at: int) -> date:
        """Nights go from noon to noon."""
        local = datetime.fromtimestamp(at / 1000, UTC).astimezone(self._zone)
        return (local - timedelta(hours=12)).date()


@dataclass(frozen=True)
class Standing:
    """How a notice that waits stands now: which of its alarms still ask for something, which are over.

    held    it is quiet for now, and waits
    """

    notice: Notice
    so: tuple[Alarm, ...]
    over: tuple[Alarm, ...]
    held: bool

    @property
    def alarms(self) -> tuple[Alarm, ...]:
        return self.so + self.over

    def wakes(self, person: Person) -> bool:
        """Whether it may come in the person's quiet hours."""
        if self.notice.cause == TEST:
            return True
        return not self.notice.waits and any(person.is_woken_by(alarm) for alarm in self.so)

    @property
    def pot(self) -> bool:
        return self.notice.cause == "pot" and bool(self.so)


def standing(notice: Notice, alarms: Mapping[str, Alarm], marks: Marks, at: int) -> Standing:
    """The notice against what is so at `at` (UTC ms)."""
    known = [alarms[one] for one in notice.alarms if one in alarms]
    states = {alarm.id: state_of(alarm, marks, at) for alarm in known}
    return Standing(
        notice,
        tuple(alarm for alarm in known if states[alarm.id] is AlarmState.UNACKNOWLEDGED),
        tuple(alarm for alarm in known if states[alarm.id] is AlarmState.RETURNED),
        any(state is AlarmState.SHELVED for state in states.values()),
    )
