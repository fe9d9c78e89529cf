"""`coldshed alarm`: what asks for somebody, and Seen, Quiet until and Switch off from a command line."""

from __future__ import annotations

import argparse
import secrets
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard.alarm import Alarm
from dashboard.alarm_desk import alarm_line, deadline, groups, until_of
from dashboard.alarm_state import Marks
from dashboard.cli.errors import CommandError
from dashboard.cli.house import house_clock, read_logbook
from dashboard.cli.log_entry import log_entry
from dashboard.display import TIE, View
from dashboard.panel import Event
from dashboard.quiet import QuietError
from dashboard.watch_store import WatchReader
from dashboard.words import LABELS


def alarm(arguments: argparse.Namespace) -> int:
    """Lists, or takes an entry down. Returns 0; 1 if list finds one that nobody has seen."""
    settings = settings_file.load(arguments.settings)
    now = house_clock(settings).now()
    watched = WatchReader(settings.watch_db, read_logbook(settings))
    try:
        found = watched.alarms()
    except NotYet as reason:
        raise CommandError(f"no alarm can be told: {reason}") from reason
    if arguments.what == "list":
        return _list(settings, found, now)
    if not arguments.alarm:
        raise CommandError(f"alarm {arguments.what} needs the alarm's id: 'coldshed alarm list' shows them")
    chosen = next((one for one in found if one.id == arguments.alarm), None)
    if chosen is None:
        raise CommandError(f"no alarm is called {arguments.alarm!r}: 'coldshed alarm list' shows them")
    print(log_entry(settings, _event(arguments, settings, chosen, watched, now)))
    return 0


def _list(settings: Settings, found: list[Alarm], now: int) -> int:
    logbook = read_logbook(settings)
    try:
        marks, unit = Marks.of(logbook.events()), logbook.preference("unit") or "degC"
    except NotYet:
        marks, unit = Marks(), "degC"
    view = View(ZoneInfo(settings.time_zone), unit, now)
    sorted_ = groups([alarm_line(one, marks, view) for one in found])
    for group in sorted_:
        print(group.title)
        for line in group.lines:
            print(f"  {line.text}; {line.state_words}, {line.when}".replace(TIE, " "))
            print(f"    {line.id}")
            if line.act:
                print(f"    {line.act}")
    if not sorted_:
        print(LABELS["no_alarms"])
    return 1 if any(group.state == "unacknowledged" for group in sorted_) else 0


def _event(
    arguments: argparse.Namespace, settings: Settings, chosen: Alarm, watched: WatchReader, now: int
) -> Event:
    def made(entry: str, **body: object) -> Event:
        return Event(secrets.token_hex(12), now, now, arguments.who, entry, None, body)

    of = chosen.panel or chosen.probe or ""
    match arguments.what:
        case "quiet":
            end = deadline(chosen, read_logbook(settings).panels(), watched.latest(), now)
            try:
                until = until_of(chosen, arguments.minutes, end, now, ZoneInfo(settings.time_zone))
            except QuietError as error:
                raise CommandError(str(error)) from error
            return made("alarm shelved", alarm=chosen.id, until=until, reason=arguments.reason)
        case "loud":
            return made("alarm unshelved", alarm=chosen.id)
        case "off":
            return made("out of service", kind=chosen.kind, of=of, reason=arguments.reason)
        case "on":
            return made("in service", kind=chosen.kind, of=of)
    return made("alarm seen", alarm=chosen.id)
