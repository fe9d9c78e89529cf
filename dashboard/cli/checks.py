"""`coldshed check`: what is wrong anywhere, and what to do; `check card`: what a card means from 0 to 35 degC."""

from __future__ import annotations

import argparse
import math
import os
import socket
from collections.abc import Iterator
from pathlib import Path

import apsw

from collector import settings as settings_file
from collector.clock import SystemClock
from collector.settings import MqttSource, SerialSource, Settings, SettingsError
from collector.store.reader import Reader
from collector.store.schema import NotYet, StoreError
from dashboard.cards import CardShelf, read_card
from dashboard.cli.errors import CommandError
from model.calibration import calibrate, card_central
from model.hold import hold
from model.milestones import RECOAT_LIMIT_H
from model.resin_card import Milestone, ResinCard

TABLE_C = (0, 5, 10, 11, 15, 20, 21, 25, 30, 35)

Finding = tuple[bool, str]
"""(all right, what was found and, if it is not, what to do)."""


def check(arguments: argparse.Namespace) -> int:
    """Prints findings. Returns 0 if all is right, else 1."""
    if arguments.what == "card":
        return check_card(arguments)
    findings = list(_everything(arguments.settings, only_settings=arguments.what == "settings"))
    for right, text in findings:
        print(("ok     " if right else "WRONG  ") + text)
    return 0 if all(right for right, _ in findings) else 1


def check_card(arguments: argparse.Namespace) -> int:
    """The card's table: hours at each temperature, and the ratio to the sheet's own."""
    if arguments.file is None:
        raise CommandError("check card needs the card's file, or its id")
    card = _card(arguments)
    central = calibrate(card, card_central(card))
    columns = {T: hold(central, float(T)) for T in TABLE_C}
    reference = hold(central, card.reference_C)
    print(f"{card.title}\n{'INVENTED. ' if card.invented else ''}{card.source}")
    print(f"Hours held at one temperature, and how many times the hours at {card.reference_C:g} degC.")
    print(
        f"The card covers {card.minimum_C:g} to {card.maximum_C:g} degC; outside it the numbers are extrapolated.\n"
    )
    print(f"{'degC':>6}" + "".join(f"{item.value.replace('_', ' '):>18}" for item in reference))
    for T, hours in columns.items():
        cells = "".join(f"{_cell(item, hours[item], reference[item]):>18}" for item in reference)
        mark = " " if card.minimum_C <= T <= card.maximum_C else "*"
        print(f"{T:>5}{mark}{cells}")
    print("\n* outside the card's range. Nothing here has been compared with real resin.")
    if arguments.chart:
        _chart(card, arguments.chart)
    return 0


def _cell(item: Milestone, hours: float, reference: float) -> str:
    if item is Milestone.RECOAT_UNTIL:
        hours = min(hours, RECOAT_LIMIT_H)
    if not math.isfinite(hours):
        return "never"
    return (
        f"{hours:.2f} (x{hours / reference:.2f})"
        if hours < 1000
        else f"{hours:.0f} (x{hours / reference:.1f})"
    )


def _chart(card: ResinCard, path: Path) -> None:
    from dashboard.cli.chart import write_figure

    central = calibrate(card, card_central(card))
    held = {T: hold(central, float(T)) for T in range(36)}
    traces = [
        {"type": "scatter", "mode": "lines", "name": item.value.replace("_", " "), "x": list(held),
         "y": [hours[item] for hours in held.values()]}
        for item in held[20]
    ]  # fmt: skip
    axes = {
        "xaxis": {"title": {"text": "held at, degC"}},
        "yaxis": {"title": {"text": "hours"}, "type": "log"},
    }
    write_figure({"data": traces, "layout": {"title": {"text": card.title}, **axes}}, path)


def _card(arguments: argparse.Namespace) -> ResinCard:
    if arguments.file.suffix == ".toml":
        return read_card(arguments.file)
    shelf = CardShelf(arguments.settings.parent / "cards")
    card = shelf.get(str(arguments.file))
    if card is None:
        raise CommandError(
            f"no card is called {str(arguments.file)!r}; there are: {', '.join(shelf.names())}"
        )
    return card


def _everything(path: Path, *, only_settings: bool) -> Iterator[Finding]:
    try:
        settings = settings_file.load(path)
    except SettingsError as error:
        yield False, str(error)
        return
    yield True, f"{path}: {len(settings.source)} sources, {len(settings.probe)} probes"
    if only_settings:
        return
    yield from _cards(settings)
    yield from _folder(settings)
    yield from _sources(settings)
    yield from _readings(settings)
    yield _pages(settings)


def _cards(settings: Settings) -> Iterator[Finding]:
    shelf = CardShelf(settings.folder / "cards")
    for text in shelf.errors():
        yield False, text
    yield True, f"cards: {', '.join(shelf.names())}"


def _folder(settings: Settings) -> Iterator[Finding]:
    folder = settings.data_folder
    if not folder.exists():
        yield True, f"{folder}: not there yet; the first start makes it"
    elif not os.access(folder, os.W_OK):
        yield False, f"{folder}: cannot be written: give this user the right to"
    else:
        free = os.statvfs(folder)
        free_MB = free.f_bavail * free.f_frsize // 1_000_000
        yield (
            free_MB >= 200,
            f"{folder}: {free_MB} MB free" + ("" if free_MB >= 200 else ": make room before the night"),
        )


def _sources(settings: Settings) -> Iterator[Finding]:
    for source in settings.source:
        if isinstance(source, SerialSource):
            there = os.access(source.port, os.R_OK | os.W_OK)
            do = "plug it in, or see 'coldshed listen --ports'; this user may need the group 'dialout'"
            yield there, f"source {source.id}: {source.port}" + ("" if there else f" cannot be opened: {do}")
        elif isinstance(source, MqttSource):
            yield _answers(f"source {source.id}: broker", source.host, source.port)
    if settings.announce is not None:
        yield _answers("announce: broker", settings.announce.host, settings.announce.port)


def _answers(what: str, host: str, port: int) -> Finding:
    try:
        with socket.create_connection((host, port), timeout=3):
            return True, f"{what} {host}:{port} answers"
    except OSError as error:
        return False, f"{what} {host}:{port} does not answer ({error}): start it, or correct host and port"


def _readings(settings: Settings) -> Iterator[Finding]:
    try:
        reader = Reader.open(settings.readings_db)
    except NotYet as reason:
        yield True, str(reason)
        return
    except StoreError as error:
        yield False, str(error)
        return
    try:
        now = SystemClock().now()
        newest: dict[str, int] = {}
        for reading in reader.newest():
            newest[reading.probe] = max(newest.get(reading.probe, 0), reading.at)
        for probe in settings.probe:
            heard = newest.get(probe.id)
            if heard is None:
                yield False, f"probe {probe.id}: never heard: see 'coldshed listen'"
            else:
                age_s = (now - heard) / 1000
                right = age_s <= 3 * probe.interval_s
                yield (
                    right,
                    f"probe {probe.id}: last heard {age_s:.0f} s ago"
                    + (
                        ""
                        if right
                        else f", silent after {3 * probe.interval_s:.0f} s: check battery and cable"
                    ),
                )
        for tally in reader.tallies():
            yield True, f"refused {tally.n} x {tally.kind} on {tally.source}, last: {tally.last_text}"
    finally:
        reader.close()
    yield _whole(settings.readings_db)


def _whole(path: Path) -> Finding:
    connection = apsw.Connection(str(path), flags=apsw.SQLITE_OPEN_READONLY)
    try:
        found = connection.pragma("quick_check")
    finally:
        connection.close()
    return found == "ok", f"{path.name}: {found}" + (
        "" if found == "ok" else ": restore a backup; keep this file"
    )


def _pages(settings: Settings) -> Finding:
    host, port = settings.serve.host, settings.serve.port
    try:
        with socket.create_connection((host, port), timeout=1):
            return True, f"pages: http://{host}:{port} answers"
    except OSError:
        return True, f"pages: http://{host}:{port} does not answer; 'coldshed run' starts them"
