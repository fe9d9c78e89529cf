"""Works every panel out again when something came in, stores what it says, and raises alarms.

One round takes in what was committed since the last, assesses the panels that need it, and stores each result;
only then is it told to the broker. If readings.db or shop.db is not there yet, it waits. Where watch.db cannot be
written, as on a full disk, alarms are told all the same, and stored once there is room.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from collector.clock import Clock
from collector.reading import Quantity
from collector.store.reads import Where
from collector.store.schema import MAY_PASS, NotYet
from collector.store.trouble import kind_of
from collector.supervise import Stop
from dashboard.alarm_kinds import KINDS
from dashboard.alarms import AlarmStates
from dashboard.anew import FactsOf
from dashboard.assess import assess, failed, unread
from dashboard.assessment import Assessment
from dashboard.cards import CardShelf
from dashboard.conditions import conditions, recording
from dashboard.devices import ProbeLog, probe_logs
from dashboard.display import View, say
from dashboard.doubts import matters
from dashboard.fold import fold
from dashboard.follow import Follower
from dashboard.forecast_file import ForecastFile
from dashboard.live import asking, facts_of, weather_now
from dashboard.logbook import LogbookReader
from dashboard.lot_known import lots_between, lots_of
from dashboard.lots import Lots
from dashboard.panel import Panel
from dashboard.settling import Settling
from dashboard.watch_store import Alarm, WatchWriter
from dashboard.weather import Weather

if TYPE_CHECKING:
    from dashboard.announce import Announcer  # a watch that tells no broker holds nothing of what that takes

log = logging.getLogger("coldshed.watch")

MINUTE_MS = 60_000
PAUSE_S = 0.5
TURN_S = 4.0
"""So long panels are worked out before readings are taken in again, with a thousand of them too. Each has its turn once
a minute; where that is not enough for all, those that waited longest come first, and an answer is good no longer than
it says.
"""


@dataclass
class Watch:
    """The process's parts; round() is one turn of it.

    readings   where they are: the path of readings.db, or a server
    zone       the time zone of the words told to the broker
    forecast   the shop's forecast file, if it has one
    turned     called whenever a round, or one panel of it, is done
    waiting    panels whose turn comes in the next round
    """

    readings: Where
    logbook: LogbookReader
    cards: CardShelf
    store: WatchWriter
    clock: Clock
    zone: ZoneInfo
    announcer: Announcer | None = None
    turned: Callable[[], None] = lambda: None
    forecast: ForecastFile | None = None
    monotonic: Callable[[], float] = time.monotonic
    waiting: int = field(default=0, init=False)
    _follower: Follower | None = field(default=None, init=False)
    _settling: Settling | None = field(default=None, init=False)
    _latest: dict[str, Assessment] = field(default_factory=dict, init=False)
    _silent: dict[str, bool] = field(default_factory=dict, init=False)
    # Those that are open, and every one there ever was: a closed one has taught its lots.
    _panels: dict[str, Panel] = field(default_factory=dict, init=False)
    _every: dict[str, Panel] = field(default_factory=dict, init=False)
    _lots: Lots = field(default_factory=Lots, init=False)
    _logs: dict[str, ProbeLog] = field(default_factory=dict, init=False)
    _logbook_version: int = field(default=-1, init=False)
    # What is still to be worked out or told anew: kept when an entry that comes in between puts a round off.
    _changed: set[str] = field(default_factory=set, init=False)
    _gone: list[str] = field(default_factory=list, init=False)
    _waiting_for: str = field(default="", init=False)
    # What watch.db could not take, and why.
    _unstored: dict[str, Alarm] = field(default_factory=dict, init=False)
    _undropped: list[str] = field(default_factory=list, init=False)
    _trouble: str = field(default="", init=False)

    def __post_init__(self) -> None:
        self._alarms = AlarmStates(self.store.standing_alarms())

    def run(self, stop: Stop) -> int:
        """Rounds until `stop`. Returns 0."""
        for alarm in self._alarms.active:
            self._tell_alarm(alarm)
        while not stop():
            self.round()
            self.turned()
            if not self.waiting:
                stop.wait(PAUSE_S)
        return 0

    def round(self) -> None:
        """Takes in, assesses, saves, tells. Waits quietly while another process has not made its file yet."""
        at = self.clock.now()
        follower = self._taken_in(at)
        if follower is None or self._settling is None:
            return
        began = self.monotonic()
        due = sorted((p for p in self._panels.values() if self._due(p, follower, at)), key=self._waited)
        self.waiting = len(due)
        behind = self._from_the_start(due, follower, self._settling, began)
        for panel in due:
            if self._is_over(began):
                break  # what has come in meanwhile is taken in first; the others have their turn then
            if panel.id in behind:
                continue
            # Each is stored as soon as it is known: fifty panels must not wait for the last of them.
            item = self._assessed(panel, follower, self._settling)
            if item is None:
                self.waiting -= 1
                self.turned()
                continue
            self._latest[panel.id] = item.without_curve
            self._changed.discard(panel.id)
            self._silent[panel.id] = _is_silent(panel, follower, item.at)
            self.waiting -= 1
            if self._stored(item):
                self._tell_verdict(item)
            self.turned()
        rung = self._rung(follower)
        self._unstored |= {alarm.id: alarm for alarm in rung}
        self._undropped += self._gone
        self._stored()
        self._tell(rung, self._gone)
        self._gone = []

    def _taken_in(self, at: int) -> Follower | None:
        """What is known of the readings now; None if that is nothing yet, or all of it is to be taken in once more."""
        try:
            # Kept before the first wait: what settles must ask the very follower that is refreshed below.
            follower = self._follower = self._follower or Follower(self.readings, at, self.turned)
            self._settling = self._settling or Settling(follower, self.turned)
            self._take_in_logbook()
            follower.logs = self._logs
            follower.keep(at, self._settling.needed(self._panels.values()))
            follower.refresh()
            if self.logbook.version() != self._logbook_version:
                return None  # an entry came, or times moved, in between: all of it in the next round
        except NotYet as reason:
            self._logbook_version = -1  # what was taken in before is taken in again
            if str(reason) != self._waiting_for:
                log.info("waiting: %s", reason)
                self._waiting_for = str(reason)
            return self._follower if self._latest else None  # what was answered once grows old, and rings
        self._waiting_for = ""
        return follower

    def _is_over(self, began: float) -> bool:
        return self.monotonic() - began > TURN_S

    def _from_the_start(
        self, due: list[Panel], follower: Follower, settling: Settling, began: float
    ) -> set[str]:
        """After a start their lives are worked out together. Returns those that are not ready to be answered."""
        at = self.clock.now()
        fresh = [panel for panel in due if panel.id not in self._latest]
        return settling.together(
            fresh, lambda panel: self._asking(panel, follower, at), at, lambda: self._is_over(began)
        )

    def _rung(self, follower: Follower) -> list[Alarm]:
        """Alarms that changed. None until every panel has had its turn after a start: what nobody has looked at yet is
        not over.
        """
        if not self._panels.keys() <= self._latest.keys():
            return []
        at = self.clock.now()
        so = conditions(self._latest.values(), follower.probes, follower, at, self.zone, self._panels)
        return self._alarms.update(so + recording(self.readings, at), at)

    def _stored(self, *items: Assessment) -> bool:
        """True if they and all that waited are in watch.db; what waits is tried again with the next."""
        try:
            self.store.save(items, self._unstored.values(), self._undropped)
        except MAY_PASS as error:
            trouble = f"{kind_of(error).value} ({error})"
            if trouble != self._trouble:
                log.error("watch.db cannot be written: %s; alarms are told, answers are not kept", trouble)
            self._trouble = trouble
            return False
        self._unstored, self._undropped, self._trouble = {}, [], ""
        return True

    def _assessed(self, panel: Panel, follower: Follower, settling: Settling) -> Assessment | None:
        """None: the store does not give what it needs just now, and what was said last still holds."""
        at = self.clock.now()
        weather = weather_now(self.forecast, follower, at)
        try:
            return settling.ask(panel, self._asking(panel, follower, at, weather), at, assess)
        except NotYet as reason:
            last = self._latest.get(panel.id)
            if last is not None and at < last.good_until and panel.id not in self._changed:
                return None
            log.warning("panel %r cannot be worked out: %s", panel.id, reason)
            return unread(facts_of(panel, follower, self.cards.get, weather), at)
        except Exception:
            log.exception("panel %r cannot be worked out", panel.id)
            return failed(facts_of(panel, follower, self.cards.get, weather), at)

    def _asking(self, panel: Panel, follower: Follower, at: int, weather: Weather | None = None) -> FactsOf:
        lots = self._lots.known(panel, self._every.values(), follower, self.cards.get, at)
        return asking(panel, follower, self.cards.get, weather, lots)

    def _take_in_logbook(self) -> None:
        """Notes panels that are gone (closed or taken back), and those whose entries, or whose probes', changed."""
        version = self.logbook.version()
        if version == self._logbook_version:
            return
        events = self.logbook.events()
        every = fold(events)
        panels = {panel.id: panel for panel in every.values() if not panel.closed}
        changed = {key for key, panel in panels.items() if self._panels.get(key) != panel}
        taught = lots_between(self._every, every)
        changed |= {key for key, panel in panels.items() if lots_of(panel) & taught}
        logs = probe_logs(events)
        said_anew = {probe for probe in self._logs | logs if self._logs.get(probe) != logs.get(probe)}
        changed |= {key for key, panel in panels.items() if panel.probes & said_anew}
        known = set(self._panels) if self._logbook_version >= 0 else self.store.panels()
        self._changed = (self._changed & panels.keys()) | changed
        self._gone = [key for key in sorted(known | set(self._gone)) if key not in panels]
        for key in self._gone:
            self._latest.pop(key, None)
        if self._settling is not None:
            self._settling.keep_only(panels)
        self._panels, self._every, self._logs, self._logbook_version = panels, every, logs, version

    def _waited(self, panel: Panel) -> tuple[bool, int, str, str]:
        """Who comes first: what somebody has just entered, then what was answered longest ago; of one minute those of
        the same probes together, for they have the same outlook.
        """
        last = self._latest.get(panel.id)
        minute = 0 if last is None else last.at // MINUTE_MS
        return panel.id not in self._changed, minute, panel.surface_probe or "", panel.air_probe or ""

    def _due(self, panel: Panel, follower: Follower, at: int) -> bool:
        """Once a minute; at once when its entries changed, its probe fell silent or was heard, or time ran out."""
        last = self._latest.get(panel.id)
        if (
            last is None
            or panel.id in self._changed
            or at >= last.good_until
            or at // MINUTE_MS != last.at // MINUTE_MS
        ):
            return True
        return _is_silent(panel, follower, at) != self._silent.get(panel.id)

    def _tell(self, rung: list[Alarm], gone: list[str]) -> None:
        for alarm in rung:
            rings, over = KINDS[alarm.kind].alarm, alarm.returned_at is not None
            level = logging.WARNING if rings and not over else logging.INFO
            what = ("alarm" if rings else "notice") + (" over" if over else "")
            log.log(level, "%s: %s", what, self._words(alarm))
            self._tell_alarm(alarm)
        if self.announcer is None:
            return
        for panel in gone:
            self.announcer.clear_verdict(panel)

    def _tell_verdict(self, item: Assessment) -> None:
        if self.announcer is None:
            return
        view = self._view()
        why = [say(sentence, view) for sentence in item.verdict.why]
        self.announcer.tell_verdict(item, say(item.verdict.headline, view), why)

    def _tell_alarm(self, alarm: Alarm) -> None:
        if (
            self.announcer is not None and KINDS[alarm.kind].alarm
        ):  # a lamp must not shine for what only may be done
            self.announcer.tell_alarm(alarm, self._words)

    def _words(self, alarm: Alarm) -> str:
        return say(alarm.say, self._view())

    def _view(self) -> View:
        now = self.clock.now()
        try:
            return View.chosen(self.logbook.preference, self.zone, now)
        except NotYet:
            return View(self.zone, "degC", now)


def _is_silent(panel: Panel, follower: Follower, at: int) -> bool:
    """Whether nothing can be worked out now: its probe is silent, not to be believed, or not there yet."""
    probe = panel.surface_probe or panel.air_probe
    if probe and probe not in follower.probes:
        return True
    doubts = matters(follower.doubts(probe), probe, Quantity.TEMPERATURE) if probe else []
    return bool(doubts) or follower.silent(probe, Quantity.TEMPERATURE, at)
