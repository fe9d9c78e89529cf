"""Replays an invented night (alarm_scene.py) through assess, the alarms and the outbox, with a clock moved by hand.

Nobody acts on any alarm: the worst case. Two people are told: Kim, who never chose, and Robin, who asked to be woken
for everything that can be asked for. The way out may be shut for two hours, and the notifier killed while it sends.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from collector.clock import SteppedClock
from collector.reading import Quantity
from dashboard.alarm import Alarm
from dashboard.alarm_kinds import OFFERED
from dashboard.alarms import AlarmStates
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.conditions import conditions
from dashboard.facts import Facts
from dashboard.flight import at_once
from dashboard.notice_store import NoticeStore
from dashboard.notice_words import Message
from dashboard.notify import Notifier
from dashboard.panel import Event, Panel
from dashboard.quiet import people
from model.verdict import Mark
from tests.dashboard.alarm_scene import (
    CARD,
    END,
    LAST_MINUTE,
    MINUTE,
    NOON,
    PANELS,
    PROBES,
    ZONE,
    Scene,
    Shed,
    panel_at,
)

NAMES = ("Kim", "Robin")


@dataclass
class Sent:
    """A message somebody took: minute, to whom, and whether it came in quiet hours."""

    minute: float
    person: str
    made: Message
    woke: bool


@dataclass
class Outcome:
    """What came of a night."""

    scene: Scene
    alarms: dict[str, Alarm] = field(default_factory=dict)
    changes: list[tuple[float, str]] = field(default_factory=list)
    sent: list[Sent] = field(default_factory=list)
    states: dict[str, dict[str, str]] = field(default_factory=dict)
    told: dict[str, set[str]] = field(default_factory=dict)
    washable: set[str] = field(default_factory=set)
    at_nine: dict[str, Assessment] = field(default_factory=dict)
    killed: int = 0

    def spoke_at(self, minute: int) -> set[str]:
        """Probes of which something was heard at that minute."""
        faults = self.scene.faults
        mute = {one.probe for one in faults if not one.tape_off and one.begin <= minute < one.end}
        return set(PROBES) - mute


class Replay:
    """One night, minute by minute; panels are worked out anew each `step` minutes and whenever a limit passes."""

    def __init__(self, scene: Scene, step: int, panels: int = len(PANELS), shed: Shed | None = None) -> None:
        self._scene, self._step, self._followed = scene, step, PANELS[:panels]
        self._shed = shed or Shed(scene)
        self._states = AlarmStates()
        self._latest: dict[str, Assessment] = {}
        self._panels: dict[str, Panel] = {}
        self.clock = SteppedClock(NOON)
        self.outcome = Outcome(scene)
        self.store = NoticeStore(None)
        self.notifier = self._notifier()
        self._ring = 0

    def alarms(self, limit: int = 200) -> list[Alarm]:
        return sorted(self.outcome.alarms.values(), key=lambda item: -item.raised_at)[:limit]

    def events(self, panel: str | None = None) -> list[Event]:
        body = {"person": "Robin", "start": "22:00", "end": "06:00", "wake": list(OFFERED)}
        return [Event("robin-quiet", NOON, NOON, "Robin", "quiet hours", None, body)]

    def version(self) -> int:
        return len(self.outcome.changes)

    def preference(self, key: str) -> str | None:
        return None

    def _notifier(self) -> Notifier:
        return Notifier(
            watched=self, logbook=self, store=self.store, names=NAMES, send=self._send, clock=self.clock,
            zone=ZONE, site="Invented shed", launch=at_once,
        )  # fmt: skip

    def _send(self, name: str, made: Message) -> str | None:
        minute = (self.clock.at - NOON) / MINUTE
        begin, end = self._scene.away
        if begin <= minute < end:
            return "address 1 did not take it"
        if minute >= self._scene.killed and not self.outcome.killed:
            self.outcome.killed += 1
            raise Killed
        since = people(NAMES, self.events())[name].quiet_since(self.clock.at, ZONE)
        self.outcome.sent.append(Sent(minute, name, made, since is not None))
        return None

    def run(self, begin: int = 60, end: int = LAST_MINUTE) -> Outcome:
        """From minute to minute since noon."""
        for minute in range(begin, end):
            at = self._shed.at(minute)
            self.clock.at = at
            self._work_out(minute, at)
            so = conditions(self._latest.values(), PROBES, self._shed, at, ZONE, self._panels)  # type: ignore[arg-type]
            for alarm in self._states.update(so, at):
                self.outcome.alarms[alarm.id] = alarm
                self.outcome.changes.append((minute, alarm.id))
                self._ring = minute
            if minute - self._ring < 15 or minute % 5 == 0:
                self._tell()
        for _ in range(60):  # the morning goes on until everything has been told
            self.clock.at += 5 * MINUTE
            self._tell()
        self._close()
        return self.outcome

    def _tell(self) -> None:
        try:
            self.notifier.round()
        except Killed:
            self.notifier = self._notifier()  # another process goes on from the file

    def _work_out(self, minute: int, at: int) -> None:
        for name, surface, air in self._followed:
            coats = self._scene.coats[name]
            panel = panel_at(name, surface, air, coats, minute)
            if not panel.coats:
                continue
            last = self._latest.get(name)
            changed = self._panels.get(name) != panel
            self._panels[name] = panel
            if not changed and last is not None and not self._due(last, at):
                continue
            self._latest[name] = self._assess(panel, surface, air, at)

    def _due(self, last: Assessment, at: int) -> bool:
        """Each step; when the answer's time is over; and when its probe has gone silent or is heard again."""
        named = [
            int(value)
            for name, value in last.verdict.headline.values.items()
            if name.endswith(("_by", "_from"))
        ]
        near = any(0 <= value - at <= 20 * MINUTE for value in named)
        step = min(self._step, 10) if near else self._step
        known = last.verdict.kind != "not known"
        end = last.at + step * MINUTE if known else last.at + 5 * MINUTE
        limit = min((value for value in named if value > last.at), default=END)
        return at >= min(end, limit)

    def _assess(self, panel: Panel, surface: str, air: str, at: int) -> Assessment:
        warm = self._shed.trace(surface, Quantity.TEMPERATURE)
        facts = Facts(
            panel, {CARD.id: CARD}, warm, self._shed.trace(air, Quantity.TEMPERATURE),
            self._shed.trace(air, Quantity.RELATIVE_HUMIDITY), 1,
        )  # fmt: skip
        item = assess(facts, at)
        # As if watch had renewed it each minute: what is between two steps is not too old.
        return replace(item, good_until=max(item.good_until, at + (self._step + 1) * MINUTE))

    def _close(self) -> None:
        rows = self.store._connection.execute("SELECT notice, person, state FROM delivery")
        for notice, person, state in rows:
            self.outcome.states.setdefault(str(notice), {})[str(person)] = str(state)
        for notice in self.store.notices():
            for alarm in notice.alarms:
                self.outcome.told.setdefault(alarm, set()).add(notice.key)
        for item in self._latest.values():
            wet = item.film is not None and item.film.level in ("heavy", "wet")
            if wet and item.verdict.mark is Mark.DROP:
                self.outcome.washable.add(item.panel)
            self.outcome.at_nine[item.panel] = item


class Killed(BaseException):
    """The process is gone."""
