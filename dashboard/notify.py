"""Tells people of alarms away from the pages: decides, takes down, sends, and tries again until it was taken.

watch raises alarms and knows nothing of this: a notifier that hangs, fails or is killed delays no answer. What is told
is decided from watch.db and the logbook (dashboard.notice), stands in notices.db before it is sent, and is sent again
until it was taken or is no longer true. Each person's messages go one at a time, on a thread of their own.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol
from zoneinfo import ZoneInfo

from collector.clock import Clock
from collector.store.schema import MAY_PASS, NotYet
from collector.store.trouble import Trouble, kind_of
from collector.supervise import Stop
from dashboard.alarm import Alarm
from dashboard.alarm_kinds import KINDS, MINUTE_MS
from dashboard.alarm_state import Marks
from dashboard.conditions import untold
from dashboard.display import View
from dashboard.flight import Flight, Launch, in_a_thread
from dashboard.fold import withdrawn
from dashboard.from_memory import FromMemory
from dashboard.notice import TEST, Grouping, Notice, Standing, standing
from dashboard.notice_store import KEPT_MS, Attempt, NoticeStore
from dashboard.notice_words import Message, message
from dashboard.panel import Event
from dashboard.quiet import Person, people

log = logging.getLogger("coldshed.notify")

PAUSE_S = 0.5
ENDING_S = 5.0
FIRST_WAIT_MS, LONGEST_WAIT_MS = 5_000, 5 * MINUTE_MS
POT_WAIT_MS = 30_000
"""A pot does not wait longer than this for the next try."""
APART_MS = 2 * MINUTE_MS
"""Between two messages to one person, but for a pot: what rings in between goes into the second."""
MOST_WAKING = 3
"""So many messages wake a person in one stretch of quiet hours; a pot wakes all the same."""
ALONE_MS = 30 * MINUTE_MS
"""What is over waits so long for a message to go along with, then it is told by itself."""
TEST_MS = 10 * MINUTE_MS
DAY_MS = 24 * 60 * MINUTE_MS


class Watched(Protocol):
    """What watch has raised; version() grows with every change of it, and with every entry of the logbook."""

    def alarms(self, limit: int = 200) -> list[Alarm]: ...
    def version(self) -> int: ...


class Logged(Protocol):
    """What people entered."""

    def events(self, panel: str | None = None) -> list[Event]: ...
    def preference(self, key: str) -> str | None: ...


@dataclass
class _Sent:
    """What is on its way to a person."""

    flight: Flight
    message: Message
    so: tuple[str, ...]
    over: tuple[str, ...]
    woke: bool


@dataclass
class Notifier:
    """The process's parts; round() is one turn of it.

    names     of the people in the settings
    send      takes a name and a message; returns None once it was taken, or why it was not
    launch    how a send is started: on a thread, or at once in tests
    troubles  what keeps collect from storing: told even if watch could not store its alarm
    """

    watched: Watched
    logbook: Logged
    store: NoticeStore
    names: Sequence[str]
    send: Callable[[str, Message], str | None]
    clock: Clock
    zone: ZoneInfo
    site: str
    pages: str = ""
    launch: Launch = in_a_thread
    troubles: Callable[[], list[Trouble]] = list
    turned: Callable[[], None] = lambda: None
    _flights: dict[str, _Sent] = field(default_factory=dict, init=False)
    _notices: dict[str, Notice] = field(default_factory=dict, init=False)
    _forgot: int = field(default=0, init=False)
    _said: str = field(default="", init=False)
    _version: int = field(default=-1, init=False)
    _events: list[Event] = field(default_factory=list, init=False)
    _stored: list[Alarm] = field(default_factory=list, init=False)
    _unit: str = field(default="degC", init=False)

    def __post_init__(self) -> None:
        self._notices = {notice.key: notice for notice in self.store.notices()}
        self._memory = FromMemory(self.send, self.launch, self.zone, self.site, self.pages)

    def run(self, stop: Stop) -> int:
        """Rounds until `stop`. Returns 0."""
        while not stop():
            self.round()
            self.turned()
            stop.wait(PAUSE_S)
        self._last_flights()
        return 0

    def _last_flights(self) -> None:
        """What is on its way when we are asked to end is waited for a little: else it would be sent twice."""
        end = time.monotonic() + ENDING_S
        while self._flights and time.monotonic() < end:
            self._land(self.clock.now())
            time.sleep(PAUSE_S / 10)

    def round(self) -> None:
        """Decides, takes down what was taken, sends what is due. Waits while another process has not made its file."""
        at = self.clock.now()
        try:
            self._look()
            events, stored, unit = self._events, self._stored, self._unit
            alarms = {alarm.id: alarm for alarm in (*stored, *untold(self.troubles(), stored, at))}
        except NotYet as reason:
            self._once(f"waiting: {reason}")
            return
        marks, view = Marks.of(events), View(self.zone, unit, at)
        try:
            self._decide(alarms, marks, events, at)
            self._land(at)
            waiting = self.store.waiting()
            for person in people(self.names, events).values():
                mine = [self._notices[key] for key, name in waiting if name == person.name]
                self._serve(person, [standing(notice, alarms, marks, at) for notice in mine], view)
            self._forget(at)
        except MAY_PASS as error:
            self._once(f"notices.db cannot be written ({kind_of(error).value}): only that is told")
            self._memory.tell(alarms.values(), marks, people(self.names, events).values(), view)
            return
        self._said = ""

    def _look(self) -> None:
        """Reads anew only what has changed: it is asked twice a second. Raises NotYet."""
        version = self.watched.version()
        if version != self._version:
            self._events, self._stored = self.logbook.events(), self.watched.alarms(500)
            self._unit, self._version = self.logbook.preference("unit") or "degC", version

    def _decide(self, alarms: Mapping[str, Alarm], marks: Marks, events: Iterable[Event], at: int) -> None:
        """What is new becomes a notice, in the file before anything is sent."""
        grouping = Grouping(self._notices.values(), alarms, marks, self.zone)
        for alarm in sorted(alarms.values(), key=lambda item: (item.raised_at, item.id)):
            grouping.take(alarm, at)
        new = grouping.changed | self._tests(events, at)
        self.store.decided(new.values(), self.names, at)
        self._notices |= new

    def _tests(self, events: Iterable[Event], at: int) -> dict[str, Notice]:
        listed = list(events)
        gone = withdrawn(listed)
        asked = [
            Notice(f"{TEST}.{event.id}", TEST, at, at, (), person=str(event.body.get("person", "")))
            for event in listed
            if event.kind == "notice test" and event.id not in gone and at - event.at <= TEST_MS
        ]
        return {notice.key: notice for notice in asked if notice.key not in self._notices}

    def _land(self, at: int) -> None:
        """Takes down how those went that have ended."""
        for name, sent in list(self._flights.items()):
            if not sent.flight.ended():
                continue
            del self._flights[name]
            why = sent.flight.outcome()
            if why is None:
                self.store.told(name, sent.message, sent.so, sent.over, at, sent.woke)
                log.info("told %s: %s", name, sent.message.title)
                continue
            tries = self._attempt(name).tries
            self.store.trying(Attempt(name, tries, at + _wait(tries), why))
            self._once(f"{name} was not told: {why}; tried again until it was taken")

    def _attempt(self, name: str) -> Attempt:
        return self.store.attempts().get(name, Attempt(name))

    def _serve(self, person: Person, mine: Sequence[Standing], view: View) -> None:
        """Sends what is due to one person, in one message; drops what was seen or is no longer asked for."""
        at = view.now
        waiting = [one for one in mine if not self._dropped(one, person, at)]
        if person.name in self._flights:
            return
        since = person.quiet_since(at, self.zone)
        so = [one for one in waiting if _told_now(one, at)]
        if since is not None:
            full = self.store.woken(person.name, since) >= MOST_WAKING
            so = [one for one in so if one.wakes(person) and (one.pot or not full)]
        pot = any(one.pot or one.notice.cause == TEST for one in so)
        over = [one for one in waiting if one.over and not one.so and not one.held]
        if not so and not (since is None and any(_alone(one, at) for one in over)):
            return
        attempt = self._attempt(person.name)
        if at < _due(attempt, pot) or (not pot and at - self.store.last_told(person.name) < APART_MS):
            return
        made = message(so, over, view, self.site, self.pages)
        tries = attempt.tries + 1
        self.store.trying(Attempt(person.name, tries, at + _wait(tries), attempt.why))
        keys, gone = (tuple(one.notice.key for one in group) for group in (so, over))
        flight = self.launch(lambda: self.send(person.name, made))
        self._flights[person.name] = _Sent(flight, made, keys, gone, since is not None)
        self._land(at)

    def _dropped(self, one: Standing, person: Person, at: int) -> bool:
        why = ""
        if one.notice.cause == TEST:
            why = "it was a test, hours ago" if at - one.notice.opened_at > DAY_MS else ""
        elif not one.alarms and not one.held:
            why = "it was seen on the page, or is switched off"
        elif not one.so and not one.held and not any(KINDS[alarm.kind].late for alarm in one.over):
            why = "it was over before it could be told"
        if why:
            self.store.dropped(one.notice.key, person.name, why, at)
        return bool(why)

    def _forget(self, at: int) -> None:
        if at - self._forgot >= DAY_MS:
            self.store.forget(at - KEPT_MS)
            self._forgot = at

    def _once(self, text: str) -> None:
        if text != self._said:
            log.warning("%s", text)
            self._said = text


def _told_now(one: Standing, at: int) -> bool:
    return at >= one.notice.ready_at and (bool(one.so) or one.notice.cause == TEST)


def _alone(one: Standing, at: int) -> bool:
    return all(alarm.returned_at is not None and at - alarm.returned_at >= ALONE_MS for alarm in one.over)


def _due(attempt: Attempt, pot: bool) -> int:
    """When to try again; for a pot, sooner."""
    return attempt.next_at - (max(0, _wait(attempt.tries) - POT_WAIT_MS) if pot else 0)


def _wait(tries: int) -> int:
    """After so many tries in vain."""
    return min(FIRST_WAIT_MS << min(max(tries - 1, 0), 10), LONGEST_WAIT_MS)
