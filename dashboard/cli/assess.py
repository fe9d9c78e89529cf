"""`coldshed assess`: what a logger's CSV file means for one coat, without any server or file of ours.

The file takes the same way as every probe's bytes, decode, checks and store, into a store in memory.
"""

from __future__ import annotations

import argparse
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from collector.clock import SteppedClock, SystemClock
from collector.file_import import read_into
from collector.reading import ProbeFacts, Quantity
from collector.settings import Column, FolderSource, LoggerCsv, Probe, Settings, TimeField
from collector.store.reader import Reader
from collector.store.writer import Writer
from dashboard.assess import assess as assess_panel
from dashboard.assessment import Assessment
from dashboard.cards import CardShelf, read_card
from dashboard.cli.errors import CommandError
from dashboard.cli.times import iso, utc_ms, zone_of
from dashboard.display import View, say
from dashboard.facts import Facts
from dashboard.follow import Trace
from dashboard.panel import Coat, Panel
from model.resin_card import ResinCard

HEADING = re.compile(r"^\s*(?P<who>panel|surface|air)\b.*\[(?P<unit>degC|degF|K|%RH|%)\]\s*$", re.IGNORECASE)
TIMES = ("time", "timestamp", "date", "datetime")
HEADINGS = 'headings such as "time", "panel [degC]", "air [degC]", "air [%RH]" (or degF, K)'
SOURCE = "file"


@dataclass(frozen=True)
class Columns:
    """What a file's header says: the heading of the times, and each quantity's."""

    time: str
    fields: tuple[Column, ...]


def assess(arguments: argparse.Namespace) -> int:
    """Prints the verdict and its numbers. Returns 0, also for a verdict of "not known"."""
    card = _card(arguments.card)
    payload = _read(arguments.file)
    answer, refused, zone = _answer(arguments, card, payload)
    if arguments.json:
        print(answer.to_json())
    else:
        _print(answer, View(zone, arguments.unit, answer.at), refused)
    if arguments.chart:
        from dashboard.cli.chart import write_panel_chart

        write_panel_chart(answer, View(zone, arguments.unit, answer.at), arguments.chart)
    return 0


def _answer(
    arguments: argparse.Namespace, card: ResinCard, payload: bytes
) -> tuple[Assessment, list[str], ZoneInfo]:
    mixed = utc_ms(arguments.mixed, arguments.zone, "--mixed")
    columns = read_header(payload)
    source = LoggerCsv(
        kind="logger_csv",
        field=columns.fields,
        time=TimeField(key=columns.time, unit="iso8601", zone=arguments.zone),
        delimiter=_delimiter(payload),
    )
    names = sorted({field.name for field in columns.fields if field.name})
    settings = Settings(
        site="file",
        time_zone=arguments.zone or "UTC",
        source=(FolderSource(id=SOURCE, kind="folder", folder=".", decode=source),),
        probe=tuple(_probe(name, arguments.interval or 60.0) for name in names),
    )
    writer = Writer.open(None, SteppedClock(SystemClock().now()))
    outcome = read_into(writer, settings, SOURCE, payload, SystemClock(), topic=arguments.file.name)
    refused = [refusal.text for refusal in outcome.refused]
    if not outcome.readings:
        reasons = "; ".join(refused[:3]) or "it has no rows"
        raise CommandError(f"{arguments.file}: nothing in it can be used: {reasons}")
    reader = Reader(writer.connection)
    interval = arguments.interval or _interval(reader, names)
    traces = {
        (name, quantity): _trace(reader, name, quantity, interval) for name in names for quantity in Quantity
    }
    surface, air, humidity = (
        traces.get(key)
        for key in (
            ("panel", Quantity.TEMPERATURE), ("air", Quantity.TEMPERATURE), ("air", Quantity.RELATIVE_HUMIDITY),
        )
    )  # fmt: skip
    main = surface or air
    if main is None:
        raise CommandError(f"{arguments.file}: no temperature column; it needs {HEADINGS}")
    panel = Panel(
        id="file", name=arguments.file.stem, zone="", surface_probe="panel" if surface else None, air_probe="air",
        substrate="wood", coats=(Coat(1, card.id, mixed, mixed, "laminate", "file"),),
    )  # fmt: skip
    at = (
        utc_ms(arguments.at, arguments.zone, "--at")
        if arguments.at
        else (main.newest.at if main.newest else mixed)
    )
    if at < mixed:
        raise CommandError(
            f"--at {iso(at)} lies before --mixed {iso(mixed)}: there is no coat to answer for yet"
        )
    facts = Facts(panel, {card.id: card}, surface, air, humidity, reader.last_batch())
    return assess_panel(facts, at), refused, zone_of(arguments.zone or "UTC")


LONGEST_HEADING = 200
"""What a column of the settings can be called."""


def read_header(payload: bytes) -> Columns:
    """Finds time, panel and air columns by their headings. Raises CommandError saying what they may be called."""
    first = payload.removeprefix(b"\xef\xbb\xbf").split(b"\n", 1)[0].decode("utf-8", "replace").strip("\r")
    headings = [cell.strip().strip('"') for cell in first.split(_delimiter(payload))]
    headings = [name for name in headings if len(name) <= LONGEST_HEADING]
    time = next((name for name in headings if name.split(" [")[0].strip().lower() in TIMES), None)
    if time is None:
        raise CommandError(f"no column of times in {headings}: it needs {HEADINGS}")
    fields = []
    for name in headings:
        found = HEADING.match(name)
        if found is None:
            continue
        humid = found["unit"].startswith("%")
        unit = "%" if humid else {"degc": "degC", "degf": "degF", "k": "K"}[found["unit"].lower()]
        quantity = Quantity.RELATIVE_HUMIDITY if humid else Quantity.TEMPERATURE
        who = "air" if found["who"].lower() == "air" else "panel"
        fields.append(Column.model_validate({"key": name, "quantity": quantity, "unit": unit, "name": who}))
    if not fields:
        raise CommandError(f"no column with a quantity and its unit in {headings}: it needs {HEADINGS}")
    return Columns(time, tuple(fields))


def _delimiter(payload: bytes) -> Literal[",", ";", "\t"]:
    first = payload.split(b"\n", 1)[0]
    marks: tuple[Literal[",", ";", "\t"], ...] = (",", ";", "\t")
    return max(marks, key=lambda mark: first.count(mark.encode()))


def _probe(name: str, interval_s: float) -> Probe:
    return Probe(
        id=name,
        source=SOURCE,
        zone="file",
        place="air" if name == "air" else "surface",
        interval_s=interval_s,
    )


def _trace(reader: Reader, name: str, quantity: Quantity, interval_s: float) -> Trace | None:
    t, value, quality = reader.samples(name, quantity, 0, 2**62)
    if not len(t):
        return None
    facts = ProbeFacts(name, "file", "surface", interval_s, 0.8)
    return Trace.of(facts, quantity, t, value, quality)


def _interval(reader: Reader, names: list[str]) -> float:
    """The middle distance between the file's readings, s."""
    for name in names:
        t = reader.samples(name, Quantity.TEMPERATURE, 0, 2**62)[0]
        if len(t) > 1:
            return max(1.0, float(np.median(np.diff(t))) / 1000)
    return 60.0


def _card(name: str) -> ResinCard:
    path = Path(name)
    if path.suffix == ".toml":
        return read_card(path)
    shelf = CardShelf(Path("cards"))
    card = shelf.get(name)
    if card is None:
        raise CommandError(
            f"no card is called {name!r}; there are: {', '.join(shelf.names())}, or name a .toml file"
        )
    return card


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise CommandError(f"{path}: cannot be read ({error.strerror})") from error


def _print(answer: Assessment, view: View, refused: list[str]) -> None:
    print(say(answer.verdict.headline, view))
    for sentence in (*answer.verdict.why, *((answer.verdict.next,) if answer.verdict.next else ())):
        print("  " + say(sentence, view))
    print()
    for name, value in rows(answer, view):
        print(f"  {name:<34} {value}")
    for text in refused[:5]:
        print(f"  refused: {text}")
    if len(refused) > 5:
        print(f"  ... and {len(refused) - 5} more rows were refused")
    print("\n  An estimate, not an approval; nothing here has been compared with real resin yet.")


def rows(answer: Assessment, view: View) -> list[tuple[str, str]]:
    """The table: names and values in the viewer's unit."""
    table = [("answer for", view.clock(answer.at)), ("good until", view.clock(answer.good_until))]
    table.append(("readings to", "none" if answer.readings_to is None else view.clock(answer.readings_to)))
    if answer.conversion is None or answer.glass_transition_C is None or answer.film is None:
        return table
    low, middle, high = (f"{100 * value:.1f}" for value in answer.conversion)
    hours = [
        ("hours measured, missing", f"{answer.measured_h:.2f} h, {answer.missing_h:.2f} h"),
        (
            f"temperature-time factor above {view.temperature(answer.datum_C)}",
            f"{_number(answer.temperature_time_factor_Ch)} °C h",
        ),
        (
            "equivalent age, exact",
            f"{_number(answer.equivalent_age_h)} h at {view.temperature(answer.reference_C or 0.0)}",
        ),
        ("equivalent age, interval mean", f"{_number(answer.equivalent_age_interval_mean_h)} h"),
    ]
    cure = [
        ("degree of cure", f"{middle} % ({low} to {high})"),
        (
            "glass transition",
            " to ".join(view.temperature(value) for value in answer.glass_transition_C[::2]),
        ),
    ]
    air = [
        (name, view.temperature(value))
        for name, value in (
            ("panel", answer.panel_C),
            ("air", answer.air_C),
            ("dew point", answer.dew_point_C),
        )
        if value is not None
    ]
    film = [("exposure of the young film", answer.film.level or "not known")]
    when = [
        (item.name.replace("_", " "), " / ".join("later" if at is None else view.clock(at) for at in times))
        for item in answer.milestones
        for times in [(item.early, item.likely, item.late)]
    ]
    return [*table, *hours, *cure, *air, *film, *when]


def _number(value: float | None) -> str:
    return "not known" if value is None else f"{value:.2f}"
