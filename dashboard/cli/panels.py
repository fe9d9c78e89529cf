"""`coldshed panel`: the same entries that the pages take down, from a command line.

If serve runs, it is asked on loopback, because it is the one writer of shop.db; else the file is written here.
"""

from __future__ import annotations

import argparse
import secrets

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard.cli.errors import CommandError
from dashboard.cli.house import house_clock, read_logbook
from dashboard.cli.log_entry import log_entry
from dashboard.cli.read_from import probes_of
from dashboard.cli.times import iso, utc_ms
from dashboard.entry import coat_event, register_event, step_event, thumb_event
from dashboard.panel import Event, Panel


def panel(arguments: argparse.Namespace) -> int:
    """Registers, logs or lists. Returns 0."""
    settings = settings_file.load(arguments.settings)
    panels = _panels(settings)
    if arguments.what == "list":
        for item in panels.values():
            newest = item.newest
            last = (
                f"coat {newest.number}, {newest.card}, mixed {iso(newest.mixed_at)}"
                if newest
                else "no coat yet"
            )
            print(f"{item.id:<24} {item.name:<24} {item.zone:<12} {last}")
        return 0
    if not arguments.name:
        raise CommandError(f"panel {arguments.what} needs the panel's name")
    event = _event(arguments, settings, panels)
    print(log_entry(settings, event))
    return 0


def _panels(settings: Settings) -> dict[str, Panel]:
    try:
        return read_logbook(settings).panels()
    except NotYet:
        return {}


def _event(arguments: argparse.Namespace, settings: Settings, panels: dict[str, Panel]) -> Event:
    now = house_clock(settings).now()
    at = utc_ms(arguments.at, settings.time_zone, "--at") if arguments.at else now
    number = secrets.token_hex(12)
    if arguments.what == "add":
        probes = {probe.id for probe in probes_of(settings)}
        for probe in (arguments.surface, arguments.air):
            if probe is not None and probe not in probes:
                raise CommandError(
                    f"no probe is called {probe!r}; there are: {', '.join(sorted(probes)) or 'none'}"
                )
        return register_event(
            number, now, arguments.who, arguments.name, arguments.zone or settings.site,
            arguments.surface, arguments.air, arguments.substrate, panels,
        )  # fmt: skip
    found = next((item for item in panels.values() if arguments.name in (item.id, item.name)), None)
    if found is None:
        names = ", ".join(item.name for item in panels.values()) or "none yet: coldshed panel add NAME"
        raise CommandError(f"no panel is called {arguments.name!r}; there are: {names}")
    if arguments.what == "coat":
        if not arguments.card:
            raise CommandError("panel coat needs --card: which resin card was mixed?")
        return coat_event(number, at, now, arguments.who, found.id, arguments.card)
    if arguments.what == "felt":
        words = arguments.found or []
        return thumb_event(number, at, now, arguments.who, found.id, words, arguments.tile, arguments.patchy)
    if arguments.what == "hardness":
        if arguments.value is None or arguments.warm is None:
            raise CommandError(
                "panel hardness needs --value and --warm: what it shows, and how warm that is, degC"
            )
        body = {
            "scale": arguments.scale, "value": arguments.value, "on": arguments.on, "at_C": arguments.warm,
        }  # fmt: skip
        return step_event(number, at, now, arguments.who, found.id, "hardness", body)
    if arguments.what == "sure":
        tests = [test for coat in found.coats for test in coat.thumb_tests if not test.sure]
        if not tests:
            raise CommandError(f"no thumb test on {found.name} waits to be confirmed")
        of = max(tests, key=lambda test: test.at).event
        return step_event(number, at, now, arguments.who, found.id, "thumb sure", {"of": of})
    kind = {"pot": "pot mixed", "applied": "coat applied", "close": "closed"}.get(
        arguments.what, arguments.what
    )
    return step_event(number, at, now, arguments.who, found.id, kind)
