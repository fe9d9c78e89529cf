"""`coldshed import` and `export`: readings in and out as CSV."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from collector import settings as settings_file
from collector.export import Correct, Floats, Times, export_csv
from collector.file_import import ImportRefused, import_file
from collector.reading import Quantity
from collector.settings import Settings
from collector.steady_clock import SteadyClock, this_machine
from collector.store.schema import NotYet
from dashboard.cli.errors import CommandError
from dashboard.cli.house import house_clock, read_logbook
from dashboard.cli.read_from import open_now
from dashboard.cli.times import utc_ms
from dashboard.correction import correct as corrected
from dashboard.devices import probe_logs


def import_(arguments: argparse.Namespace) -> int:
    """Takes a file in, or hands it to the collector that runs. Returns 0, or 1 if nothing in it could be used."""
    settings = settings_file.load(arguments.settings)
    try:
        done = import_file(arguments.file, settings, arguments.source, SteadyClock(this_machine()))
    except ImportRefused as error:
        raise CommandError(str(error)) from error
    if done.outcome is None:
        print(
            f"collect is running: handed to it as {done.handed_to}; once read in, it lies in done or refused beside it"
        )
        return 0
    for refusal in done.outcome.refused[:20]:
        print(f"refused: {refusal.text}", file=sys.stderr)
    print(f"{done.outcome.readings} readings taken in, {len(done.outcome.refused)} refused")
    return 0 if done.outcome.readings else 1


def export(arguments: argparse.Namespace) -> int:
    """Writes one probe's readings. Returns 0, or 1 if there are none."""
    settings = settings_file.load(arguments.settings)
    start = utc_ms(arguments.start, "UTC", "--from") if arguments.start else 0
    end = utc_ms(arguments.end, "UTC", "--to") if arguments.end else house_clock(settings).now()
    if settings.read_from is not None and not arguments.start:
        raise CommandError("--from is missing: when its first reading was, a server does not tell")
    reader = open_now(settings)
    try:
        known = [probe.id for probe in reader.probes()]
        if arguments.probe not in known:
            raise CommandError(
                f"no probe is called {arguments.probe!r}; there are: {', '.join(known) or 'none'}"
            )
        correct = _correct(settings, known) if arguments.corrected else None
        if arguments.output is None:
            sys.stdout.reconfigure(newline="")  # type: ignore[union-attr]
            rows = export_csv(reader, [arguments.probe], start, end, sys.stdout, correct)
        else:
            try:
                with arguments.output.open("x", encoding="utf-8", newline="") as out:
                    rows = export_csv(reader, [arguments.probe], start, end, out, correct)
            except OSError as error:
                raise CommandError(f"{arguments.output}: cannot be written ({error.strerror})") from error
    finally:
        reader.close()
    print(f"{rows} readings of {arguments.probe}", file=sys.stderr)
    return 0 if rows else 1


def _correct(settings: Settings, probes: Sequence[str]) -> Correct:
    """By what the logbook says; nothing is corrected while nobody has logged anything."""
    try:
        events = read_logbook(settings).events()
    except NotYet:
        events = []
    logs = probe_logs(events, probes)

    def correct(probe: str, quantity: Quantity, t: Times, value: Floats) -> tuple[Floats, list[str]]:
        made = corrected(t, value, logs[probe].stretches(quantity), 0.0)
        return made.value, [made.versions[i] if i >= 0 else "" for i in made.version.tolist()]

    return correct
