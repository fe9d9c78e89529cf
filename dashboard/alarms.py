"""Which warnings stand: raised when a condition has lasted, gone when it has been away as long.

A condition that must act at once has no on-delay; one that a short excursion may cause has one. Both delays
keep a value that sits on its limit from raising alarm after alarm. Words of ISA-18.2: an occurrence is active
until it has returned to normal, and unacknowledged until a person has seen it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import KINDS, MINUTE_MS
from model.verdict import Say

REOPENED_MS = 10 * MINUTE_MS

Cause = tuple[str, str]
"""(kind, panel, probe or site): one occurrence of it at a time."""


@dataclass(frozen=True)
class Condition:
    """Something that is so right now.

    firm     False within the deadband: it keeps an alarm that stands, and raises none
    panels   names of the panels it is about
    urgent   False: it can wait for the morning, whoever asked to be woken for its kind
    """

    kind: str
    panel: str | None
    probe: str | None
    say: Say
    on_ms: int = 0
    """How long this one must last before it rings, if that is longer than its kind's delay."""
    firm: bool = True
    panels: tuple[str, ...] = ()
    urgent: bool = True

    @property
    def cause(self) -> Cause:
        return self.kind, self.panel or self.probe or str(self.say.values.get("site", ""))

    def naming(self, panels: tuple[str, ...], urgent: bool) -> Condition:
        """The same, about these panels."""
        return replace(self, panels=panels, urgent=urgent)


class AlarmStates:
    """Carries conditions from round to round; update() answers with the occurrences that changed."""

    def __init__(self, standing: Iterable[Alarm] = ()) -> None:
        self._active: dict[Cause, Alarm] = {(a.kind, a.of): a for a in standing}
        self._since: dict[Cause, int] = {}
        self._away: dict[Cause, int] = {}
        self._over: dict[Cause, Alarm] = {}

    @property
    def active(self) -> list[Alarm]:
        return list(self._active.values())

    def update(self, conditions: Iterable[Condition], at: int) -> list[Alarm]:
        """Takes in what is so at `at` (UTC ms); returns alarms newly raised, worded anew, or returned to normal."""
        now = {condition.cause: condition for condition in conditions}
        changed = [self._present(cause, condition, at) for cause, condition in now.items()]
        changed += [self._absent(cause, at) for cause in list(self._active) if cause not in now]
        for cause in [cause for cause in self._since if cause not in now]:
            del self._since[cause]
        return [alarm for alarm in changed if alarm is not None]

    def _present(self, cause: Cause, condition: Condition, at: int) -> Alarm | None:
        self._away.pop(cause, None)
        standing = self._active.get(cause)
        if standing is not None:
            so = _as_now(standing, condition)
            self._active[cause] = so
            return so if so != standing else None
        if not condition.firm:
            self._since.pop(cause, None)
            return None
        over = self._over.pop(cause, None)
        if over is not None and over.returned_at is not None and at - over.returned_at < REOPENED_MS:
            # The same trouble back again, e.g. a wash that was taken back: one occurrence, seen or not as it was.
            self._active[cause] = _as_now(replace(over, returned_at=None), condition)
            return self._active[cause]
        since = self._since.setdefault(cause, at)
        if at - since < max(KINDS[condition.kind].on, condition.on_ms):
            return None
        alarm = Alarm(
            id=f"{condition.kind.replace(' ', '-')}.{cause[1]}.{since}",
            kind=condition.kind,
            panel=condition.panel,
            probe=condition.probe,
            raised_at=since,
            returned_at=None,
            say=condition.say,
            panels=condition.panels,
            urgent=condition.urgent,
        )
        self._active[cause] = alarm
        return alarm

    def _absent(self, cause: Cause, at: int) -> Alarm | None:
        away = self._away.setdefault(cause, at)
        if at - away < KINDS[cause[0]].off:
            return None
        del self._away[cause]
        self._over[cause] = replace(self._active.pop(cause), returned_at=away)
        return self._over[cause]


def _as_now(alarm: Alarm, condition: Condition) -> Alarm:
    return replace(alarm, say=condition.say, panels=condition.panels, urgent=condition.urgent)
