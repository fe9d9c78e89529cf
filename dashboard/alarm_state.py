"""What people said of alarms, and the state each occurrence is in by that: words of ISA-18.2 and IEC 62682.

Entries of the logbook, by kind, with their bodies:

    alarm seen         alarm                 acknowledged: one occurrence
    alarm shelved      alarm, until, reason  quiet until then (UTC ms): the alarm's cause, also if it rings anew
    alarm unshelved    alarm
    out of service     kind, of, reason      nothing of that kind rings for the panel or probe `of` ("": for any)
    in service         kind, of
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import KINDS, Wakes
from dashboard.fold import withdrawn
from dashboard.panel import Event


class AlarmState(StrEnum):
    """The states of the alarm standards that occur here; nothing latches, nothing is suppressed by design."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal unacknowledged"
    SHELVED = "shelved"
    OUT_OF_SERVICE = "out of service"


@dataclass(frozen=True)
class Said:
    """When, by whom and why; `until` of a shelf. UTC ms."""

    at: int
    who: str
    reason: str = ""
    until: int = 0


@dataclass(frozen=True)
class Marks:
    """All that people said of alarms, the newest entry of each counts.

    seen      by occurrence
    shelved   by cause, see cause_of(); also shelves that have ended
    out       by (kind, panel or probe; "" for any)
    """

    seen: Mapping[str, Said] = field(default_factory=dict)
    shelved: Mapping[str, Said] = field(default_factory=dict)
    out: Mapping[tuple[str, str], Said] = field(default_factory=dict)

    @classmethod
    def of(cls, events: Iterable[Event]) -> Marks:
        """From the logbook's entries in the order they were taken down."""
        listed = list(events)
        gone = withdrawn(listed)
        seen: dict[str, Said] = {}
        shelved: dict[str, Said] = {}
        out: dict[tuple[str, str], Said] = {}
        for event in listed:
            if event.id in gone:
                continue
            body, reason = event.body, str(event.body.get("reason", ""))
            match event.kind:
                case "alarm seen":
                    seen[str(body["alarm"])] = Said(event.at, event.who)
                case "alarm shelved":
                    until = int(body["until"])
                    shelved[cause_of(str(body["alarm"]))] = Said(event.at, event.who, reason, until)
                case "alarm unshelved":
                    shelved.pop(cause_of(str(body["alarm"])), None)
                case "out of service":
                    out[str(body["kind"]), str(body["of"])] = Said(event.at, event.who, reason)
                case "in service":
                    out.pop((str(body["kind"]), str(body["of"])), None)
        return cls(seen, shelved, out)

    def shelf(self, alarm: Alarm) -> Said | None:
        """The newest shelf its cause was put on, ended or not."""
        return self.shelved.get(cause_of(alarm.id))

    def out_of_service(self, alarm: Alarm) -> Said | None:
        if KINDS[alarm.kind].wakes is Wakes.ALWAYS:
            return None  # whatever an older logbook says: it burns
        return self.out.get((alarm.kind, alarm.of)) or self.out.get((alarm.kind, ""))


def cause_of(alarm: str) -> str:
    """What an occurrence has in common with the next one of the same kind and subject: its id without its time."""
    return alarm.rpartition(".")[0] or alarm


def state_of(alarm: Alarm, marks: Marks, at: int) -> AlarmState:
    """Its state at `at` (UTC ms)."""
    if marks.out_of_service(alarm) is not None:
        return AlarmState.OUT_OF_SERVICE
    seen = alarm.id in marks.seen
    if alarm.returned_at is not None:
        return AlarmState.NORMAL if seen else AlarmState.RETURNED
    shelf = marks.shelf(alarm)
    if shelf is not None and shelf.at <= at < shelf.until:
        return AlarmState.SHELVED
    return AlarmState.ACKNOWLEDGED if seen else AlarmState.UNACKNOWLEDGED
