"""What commands share: the house's one clock, and its logbook with the times that clock has corrected since."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from collector.clock import Clock
from collector.settings import Settings
from collector.steady_clock import this_machine
from collector.store.house_clock import HouseClock
from dashboard.cli.read_from import readings_of
from dashboard.decided import Decisions
from dashboard.display import View
from dashboard.entry_times import EntryTimes
from dashboard.forecast_file import ForecastFile
from dashboard.logbook import LogbookReader
from dashboard.watch_store import WatchReader


def house_clock(settings: Settings) -> HouseClock:
    """The collector's, or the machine's where collect has not run in this boot."""
    return HouseClock(settings.readings_db, this_machine())


def decisions(settings: Settings, clock: Clock) -> Decisions:
    """What keeps, beside an entry, the answer that it goes on from."""
    book = read_logbook(settings)
    zone = ZoneInfo(settings.time_zone)

    def view() -> View:
        return View.chosen(book.preference, zone, clock.now())

    return Decisions(WatchReader(settings.watch_db, book), readings_of(settings, clock), view)


def read_logbook(settings: Settings) -> LogbookReader:
    """Every method of it raises NotYet while serve has never run."""
    return LogbookReader(settings.shop_db, EntryTimes(settings.readings_db))


def forecast_of(settings: Settings) -> ForecastFile | None:
    """The forecast file of the settings, relative to theirs; None: they name none."""
    told = settings.forecast
    if told is None:
        return None
    return ForecastFile(settings.folder / told.file, told.max_age_h, told.probe)
