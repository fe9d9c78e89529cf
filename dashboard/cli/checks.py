"""`coldshed check`: what is wrong anywhere, and what to do. Exit code 1 if anything is."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from collector.settings import Settings
from collector.store.reader import Reader
from collector.store.schema import StoreError
from dashboard.alive import doing
from dashboard.cards import CardShelf
from dashboard.cli import check_house, check_notices, check_probes, check_settings, check_sites, check_wires
from dashboard.cli.card_table import check_card
from dashboard.cli.check_store import check_store, recording_findings
from dashboard.cli.findings import Finding, wrong
from dashboard.cli.house import house_clock, read_logbook
from dashboard.cli.record import check_record
from dashboard.devices import ProbeLog, probe_logs
from dashboard.panel import Panel


def check(arguments: argparse.Namespace) -> int:
    """Prints what was found, a line each. Returns 0 if nothing is wrong, else 1."""
    if arguments.what == "card":
        return check_card(arguments)
    if arguments.what == "store":
        return 0 if _print(check_store(arguments.settings, arguments.file)) else 1
    if arguments.what == "record":
        return 0 if _print(check_record(arguments.file)) else 1
    settings, found = check_settings.settings_findings(arguments.settings)
    right = _print(found)
    if settings is not None and arguments.what != "settings":
        right &= _print(everything(settings, house_clock(settings).now()))
    return 0 if right else 1


def everything(settings: Settings, now: int) -> Iterator[Finding]:
    """All checks of a shop whose settings can be read, at `now` (UTC ms); what takes longest comes last."""
    yield from check_settings.secret_findings(settings)
    yield from check_settings.door_findings(settings)
    yield from check_settings.topic_findings(settings)
    yield from check_settings.card_findings(CardShelf(settings.folder / "cards"), _panels(settings))
    yield from check_settings.forecast_findings(settings, now)
    yield from check_notices.notice_findings(settings, now)
    yield from check_house.folder_findings(settings.data_folder)
    yield from check_house.process_findings(settings)
    if settings.read_from is None:
        yield from recording_findings(settings.readings_db)
        yield from _readings(settings, now)
    else:
        yield from check_sites.site_findings(settings, settings.read_from, now)
    yield from check_house.page_findings(settings, serve_runs=doing(settings.shop_db) != "not running")
    yield from check_wires.source_findings(settings)
    yield from check_house.file_findings(settings)


def _readings(settings: Settings, now: int) -> Iterator[Finding]:
    """Probes, clock and forwarding; a file that cannot be read is told by the check of the files."""
    synchronised = check_house.kernel_says_synchronised()
    try:
        reader = Reader.open(settings.readings_db)
    except StoreError:
        yield from check_house.clock_findings(now, synchronised, None)
        return
    try:
        newest = max((reading.at for reading in reader.newest()), default=None)
        yield from check_house.clock_findings(now, synchronised, newest)
        yield from check_probes.store_findings(settings, reader, now)
        zone = ZoneInfo(settings.time_zone)
        yield from check_probes.doubt_findings(reader.suspicions(), _probe_logs(settings), zone, now)
        yield from check_house.forward_findings(settings, reader.last_batch())
    except StoreError as error:
        do = "its file is whole or not: see there. Where this comes again, look for a busy disk"
        yield wrong(f"what the probes said cannot be read ({error})", do)
    finally:
        reader.close()


def _panels(settings: Settings) -> list[Panel]:
    """The shop's panels; a file that is not there or cannot be read is told by the check of the files."""
    try:
        return list(read_logbook(settings).panels().values())
    except StoreError:
        return []


def _probe_logs(settings: Settings) -> dict[str, ProbeLog]:
    """What people entered about probes; nothing if their file is not there or cannot be read, which is told there."""
    try:
        return probe_logs(read_logbook(settings).events())
    except StoreError:
        return {}


def _print(findings: Iterator[Finding] | list[Finding]) -> bool:
    """False if one of them is wrong. Each is printed as soon as it is known: brokers may take seconds."""
    right = True
    for finding in findings:
        print(finding.line(), flush=True)
        right &= finding.level != "WRONG"
    return right
