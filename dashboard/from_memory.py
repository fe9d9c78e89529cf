"""Telling that nothing is recorded any more, when notices.db cannot be written either: one full disk stops both."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import MINUTE_MS
from dashboard.alarm_state import AlarmState, Marks, state_of
from dashboard.display import View
from dashboard.flight import Flight, Launch
from dashboard.notice import Notice, Standing
from dashboard.notice_words import Message, message
from dashboard.quiet import Person

AGAIN_MS = MINUTE_MS


@dataclass
class FromMemory:
    """Each person is told once of each occurrence in this process's life; it tries each minute until it was taken."""

    send: Callable[[str, Message], str | None]
    launch: Launch
    zone: ZoneInfo
    site: str
    pages: str
    _flights: dict[tuple[str, str], tuple[Flight, int]] = field(default_factory=dict, init=False)

    def tell(self, alarms: Iterable[Alarm], marks: Marks, people: Iterable[Person], view: View) -> None:
        """Of the alarms only those of the recording that nobody has seen."""
        rung = [
            one
            for one in alarms
            if one.kind == "recording" and state_of(one, marks, view.now) is AlarmState.UNACKNOWLEDGED
        ]
        for person in people:
            for alarm in rung:
                if not person.quiet(view.now, self.zone) or person.is_woken_by(alarm):
                    self._tell(person.name, alarm, view)

    def _tell(self, name: str, alarm: Alarm, view: View) -> None:
        flight, since = self._flights.get((alarm.id, name), (None, 0))
        if flight is not None:
            done = flight.ended()
            if not done or flight.outcome() is None or view.now - since < AGAIN_MS:
                return
        notice = Notice(f"recording.{alarm.id}", "recording", view.now, view.now, (alarm.id,))
        made = message([Standing(notice, (alarm,), (), False)], [], view, self.site, self.pages)
        self._flights[alarm.id, name] = self.launch(lambda: self.send(name, made)), view.now
