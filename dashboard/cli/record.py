"""`coldshed record PANEL`: the panel's record as a page, as JSON or as CSV; and `coldshed check record FILE`."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.settings import Settings
from dashboard.cards import CardShelf
from dashboard.cli.errors import CommandError
from dashboard.cli.findings import Finding, ok, wrong
from dashboard.cli.house import house_clock, read_logbook
from dashboard.cli.read_from import readings_of
from dashboard.display import View
from dashboard.record.document import differing, document, read, to_text
from dashboard.record.gather import Archive
from dashboard.record.render import html
from dashboard.record.table import csv_text
from dashboard.record.used import Used
from dashboard.record.work_out import work_out
from dashboard.watch_store import WatchReader


def record(arguments: argparse.Namespace) -> int:
    """Writes what is asked for, or prints the page's text numbers as JSON. Returns 0."""
    settings = settings_file.load(arguments.settings)
    used = _used(settings, arguments.panel)
    if not (arguments.html or arguments.json or arguments.csv):
        print(to_text(document(used)), end="")
        return 0
    results = work_out(used)
    made = document(used, results)
    if arguments.json:
        _write(arguments.json, to_text(made))
    if arguments.csv:
        _write(arguments.csv, "".join(csv_text(used)))
    if arguments.html:
        view = View(ZoneInfo(used.time_zone), used.unit, used.at)
        _write(arguments.html, html(used, results, made["sha256"], view))
    return 0


def check_record(file: Path | None) -> Iterator[Finding]:
    """Whether a record's JSON is what its own readings and entries come to."""
    if file is None:
        raise CommandError("check record needs a file: the JSON of 'coldshed record PANEL --json FILE'")
    made = read(file)
    found = False
    for text in differing(made):
        found = True
        yield wrong(text, "hold it against the digest on paper, then write the record anew")
    if not found:
        yield ok(f"{file}: every number comes again from its readings and entries; digest {made['sha256']}")


def _used(settings: Settings, name: str) -> Used:
    logbook = read_logbook(settings)
    panels = logbook.panels()
    found = next((panel for panel in panels.values() if name in (panel.id, panel.name)), None)
    if found is None:
        names = ", ".join(panel.name for panel in panels.values()) or "none yet: coldshed panel add NAME"
        raise CommandError(f"no panel is called {name!r}; there are: {names}")
    archive = Archive(
        readings_of(settings),
        logbook,
        CardShelf(settings.folder / "cards").text,
        WatchReader(settings.watch_db, logbook).said,
        settings.site,
        settings.time_zone,
    )
    return archive.used(found.id, house_clock(settings).now())


def _write(path: Path, text: str) -> None:
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            file.write(text)
    except OSError as error:
        raise CommandError(
            f"{path}: cannot be written ({error.strerror}): name a file in a folder that is there"
        ) from error
    print(f"written: {path}")
