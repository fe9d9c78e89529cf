"""`coldshed notify`: tells people of alarms away from the pages; with --test only that they are reached."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Sequence
from functools import partial
from zoneinfo import ZoneInfo

from collector.heartbeat import Heartbeat
from collector.notice_tables import NoticeAddressError, Notices, addresses
from collector.settings import Settings
from collector.store.trouble import read
from dashboard.cli.errors import CommandError
from dashboard.cli.processes import clock_of, settings_of, stop_of
from dashboard.display import View
from dashboard.entry_times import EntryTimes
from dashboard.logbook import LogbookReader
from dashboard.notice import TEST, Notice, Standing
from dashboard.notice_store import NoticeStore
from dashboard.notice_words import message
from dashboard.notify import Notifier
from dashboard.send_notice import AddressError, Apprise
from dashboard.watch_store import WatchReader


def notify(arguments: argparse.Namespace) -> int:
    """Until a signal; or, with --test, once to everybody: 0 if all were reached, else 1."""
    settings = settings_of(arguments)
    if settings.notices is None:
        raise CommandError(f"{arguments.settings}: no [notices] table: say there who is told, and how")
    if arguments.test:
        return _test(arguments, settings, settings.notices)
    stop, heartbeat = stop_of(arguments), Heartbeat.of_environment()
    logbook = LogbookReader(settings.shop_db, EntryTimes(settings.readings_db))
    store = NoticeStore(settings.notices_db)
    try:
        return Notifier(
            watched=WatchReader(settings.watch_db, logbook),
            logbook=logbook,
            store=store,
            names=[to.name for to in settings.notices.to],
            send=sender(settings, settings.notices),
            clock=clock_of(arguments, settings),
            zone=ZoneInfo(settings.time_zone),
            site=settings.site,
            pages=settings.serve.public_url or "",
            troubles=lambda: [] if settings.read_from else read(settings.readings_db),
            turned=heartbeat.turned,
        ).run(stop)
    finally:
        heartbeat.stopping()
        store.close()


def sender(settings: Settings, notices: Notices) -> Apprise:
    """Reads addresses anew for each message: one that was corrected counts at once."""

    def reading(to: object) -> Sequence[str]:
        try:
            return addresses(to, settings.folder, os.environ)  # type: ignore[arg-type]
        except NoticeAddressError as error:
            raise AddressError(str(error)) from error

    by_name: dict[str, Callable[[], Sequence[str]]] = {to.name: partial(reading, to) for to in notices.to}
    return Apprise(by_name)


def _test(arguments: argparse.Namespace, settings: Settings, notices: Notices) -> int:
    send = sender(settings, notices)
    now = clock_of(arguments, settings).now()
    asked = Standing(Notice(f"{TEST}.{now}", TEST, now, now, ()), (), (), False)
    view, pages = View(ZoneInfo(settings.time_zone), "degC", now), settings.serve.public_url or ""
    made = message([asked], [], view, settings.site, pages)
    reached = True
    for to in notices.to:
        why = send(to.name, made)
        print(f"{to.name}: {'told' if why is None else why}", flush=True)
        reached &= why is None
    return 0 if reached else 1
