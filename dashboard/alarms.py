"""Which warnings stand: raised when a condition has lasted, gone when it has been away as long.

A condition that must act at once has no on-delay; one that a short excursion may cause has one. Both delays
keep a value that sits on its limit from raising alarm after alarm. Words of ISA-18.2: an occurrence is active
until it has returned to normal, and unacknowledged until a person has seen it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from collector.reading import ProbeFacts
from collector.store.trouble import Kind, Trouble, read
from dashboard.assessment import Assessment
from dashboard.doubts import NOTICES, words
from dashboard.follow import Follower
from dashboard.watch_store import Alarm
from model.verdict import Flag, Mark, Say, State

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS


@dataclass(frozen=True)
class Delays:
    """How long a condition must last before it rings, and how long it must be away before it is over; ms."""

    on: int
    off: int


DELAYS = {
    "too cold": Delays(on=2 * MINUTE_MS, off=10 * MINUTE_MS),
    "blush exposure": Delays(on=0, off=0),
    "probe silent": Delays(on=0, off=MINUTE_MS),
    "probe suspect": Delays(on=0, off=MINUTE_MS),
    "recording": Delays(on=0, off=MINUTE_MS),
}

REOPENED_MS = 10 * MINUTE_MS

Cause = tuple[str, str]
"""(kind, panel or probe): one occurrence of it at a time."""


@dataclass(frozen=True)
class Condition:
    """Something that is so right now."""

    kind: str
    panel: str | None
    probe: str | None
    say: Say
    on_ms: int = 0
    """How long this one must last before it rings, if that is longer than its kind's delay."""

    @property
    def cause(self) -> Cause:
        return self.kind, self.panel or self.probe or ""


class AlarmStates:
    """Carries conditions from round to round; update() answers with the occurrences that changed."""

    def __init__(self, standing: Iterable[Alarm] = ()) -> None:
        self._active: dict[Cause, Alarm] = {(a.kind, a.panel or a.probe or ""): a for a in standing}
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
            if standing.say == condition.say:
                return None
            self._active[cause] = replace(standing, say=condition.say)
            return self._active[cause]
        over = self._over.pop(cause, None)
        if over is not None and over.returned_at is not None and at - over.returned_at < REOPENED_MS:
            # The same trouble back again, e.g. a wash that was taken back: one occurrence, seen or not as it was.
            self._active[cause] = replace(over, returned_at=None, say=condition.say)
            return self._active[cause]
        since = self._since.setdefault(cause, at)
        if at - since < max(DELAYS[condition.kind].on, condition.on_ms):
            return None
        alarm = Alarm(
            id=f"{condition.kind.replace(' ', '-')}.{cause[1]}.{since}",
            kind=condition.kind,
            panel=condition.panel,
            probe=condition.probe,
            raised_at=since,
            returned_at=None,
            say=condition.say,
        )
        self._active[cause] = alarm
        return alarm

    def _absent(self, cause: Cause, at: int) -> Alarm | None:
        away = self._away.setdefault(cause, at)
        if at - away < DELAYS[cause[0]].off:
            return None
        del self._away[cause]
        self._over[cause] = replace(self._active.pop(cause), returned_at=away)
        return self._over[cause]


def conditions(
    assessments: Iterable[Assessment], probes: Mapping[str, ProbeFacts], follower: Follower, at: int
) -> list[Condition]:
    """What is wrong at `at`: panels too cold or exposed while young, and probes in use that have gone silent."""
    found: list[Condition] = []
    for item in assessments:
        found += _too_cold(item)
        found += _exposed(item)
    for probe in probes.values():
        found += _silent(probe, follower, at)
        found += _suspect(probe, follower, at)
    return found


def _silent(probe: ProbeFacts, follower: Follower, at: int) -> list[Condition]:
    """By the settings. A probe known to be slower than they say is one alarm that stays, not one each pause."""
    heard = follower.heard(probe.id)
    if heard is None:
        # Before it can have spoken, on the first day, nothing is wrong with it.
        say, on_ms = Say("alarm_never_heard", {"probe": probe.id}), round(3000 * probe.interval_s)
        return [Condition("probe silent", None, probe.id, say, on_ms)]
    slow = next((item for item in follower.doubts(probe.id) if item.kind == "slow"), None)
    if slow is not None and at - heard <= 3 * HOUR_MS * float(slow.numbers["learned_h"]):
        say = Say("alarm_slow", {"probe": probe.id, "learned_h": round(float(slow.numbers["learned_h"]), 2)})
        return [Condition("probe silent", None, probe.id, say)]
    if at - heard > 3000 * probe.interval_s:
        say = Say("alarm_silent", {"probe": probe.id, "silent_at": heard})
        return [Condition("probe silent", None, probe.id, say)]
    return []


def _suspect(probe: ProbeFacts, follower: Follower, at: int) -> list[Condition]:
    """One alarm for a probe whatever speaks against it; notices ring nothing. Numbers that move are left out."""
    told = next((item for item in follower.doubts(probe.id) if item.kind not in NOTICES), None)
    if told is not None:
        say = words(told, "alarm")
        kept = {name: value for name, value in say.values.items() if name in ("probe", "other")}
        return [Condition("probe suspect", None, probe.id, Say(say.key, kept))]
    newest = follower.unusable(probe.id, at)
    if newest is None:
        return []
    say = Say("alarm_unusable", {"probe": probe.id, "read_C": newest.value})
    return [Condition("probe suspect", None, probe.id, say)]


def recording(readings: Path, at: int) -> list[Condition]:
    """What keeps collect from storing, the gravest. A file that is locked for less than a minute rings nothing."""
    return [Condition("recording", None, None, _recording(item)) for item in _grave(read(readings), at)[:1]]


def untold(troubles: Iterable[Trouble], stored: Iterable[Alarm], at: int) -> list[Alarm]:
    """The gravest that keeps collect from storing, if watch could not store its alarm: one disk is full for both."""
    if any(alarm.kind == "recording" and alarm.returned_at is None for alarm in stored):
        return []
    return [
        Alarm(f"recording.untold.{item.since}", "recording", None, None, item.since, None, _recording(item))
        for item in _grave(troubles, at)[:1]
    ]


def _grave(troubles: Iterable[Trouble], at: int) -> list[Trouble]:
    return [item for item in troubles if item.kind is not Kind.LOCKED or at - item.since >= MINUTE_MS]


def _recording(item: Trouble) -> Say:
    return Say("alarm_recording", {"trouble": item.kind.value})


def _too_cold(item: Assessment) -> list[Condition]:
    if Flag.STOPPED_BY_COLD not in item.verdict.flags or item.verdict.state is State.NOT_KNOWN:
        return []
    values = item.verdict.headline.values
    say = Say("alarm_stopped", {"panel": item.name, "move_C": values.get("move_C", item.minimum_C or 0.0)})
    return [Condition("too cold", item.panel, None, say)]


def _exposed(item: Assessment) -> list[Condition]:
    """Rings only when the page itself says to wash: a tacky film must be left alone, and "some" can wait."""
    film = item.film
    if film is None or film.level not in ("heavy", "wet") or item.verdict.mark is not Mark.DROP:
        return []
    return [
        Condition(
            "blush exposure", item.panel, None, Say("alarm_blush", {"panel": item.name, "level": film.level})
        )
    ]
