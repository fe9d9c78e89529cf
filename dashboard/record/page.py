"""The record as a page that prints: every row of it as text, in the order of reading."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from dashboard.cards import CardFileError, card_of
from dashboard.display import View
from dashboard.fold import fold, withdrawn
from dashboard.panel import Event, Panel
from dashboard.record.chart import Mark, chart
from dashboard.record.coats import coat_rows
from dashboard.record.entries import Line, decisions, entries, observations
from dashboard.record.results import Results
from dashboard.record.used import Used
from dashboard.record.used_probes import Table, digest_rows, probe_rows
from dashboard.record.wording import Wording
from dashboard.words import CAUTIONS, RECORD
from model.resin_card import ResinCard

CAUTIONED = ("estimate", "dust", "gloves", "burner")
"""Cautions that belong on paper beside any record."""


@dataclass(frozen=True)
class Block:
    """One coat: a heading, names and values; `bold` are values that must not be overlooked."""

    title: str
    rows: tuple[tuple[str, str], ...]
    bold: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Page:
    """All text of a record.

    what, unmeasured   page one: what it is, and what nobody measured
    latest      the decisions that matter on page one: the last of each act
    """

    title: str
    site: str
    span: str
    zone: str
    state: str
    what: tuple[tuple[str, str], ...]
    unmeasured: tuple[str, ...]
    latest: tuple[Line, ...]
    signed: str
    chart: Markup
    blocks: tuple[Block, ...]
    pots: Table
    observations: tuple[Line, ...]
    decisions: tuple[Line, ...]
    entries: tuple[Line, ...]
    probes: Table
    digests: Table
    days: Table
    cautions: tuple[str, ...]
    software: str
    sha256: str


def page(used: Used, results: Results, sha256: str, view: View) -> Page:
    """`view`: the shop's zone and unit."""
    say = Wording.of(used, view)
    panel, cards = fold(used.events)[used.panel], _cards(used)
    listed = entries(used, say)
    decided = decisions(used, results, say)
    latest = {line.key: line for line in decided if not line.struck}
    signed = any(line.key == "sign off" and line.good for line in latest.values())
    pots, blocks = coat_rows(results, cards, say)
    ended = any(event.kind in ("closed", "scrapped") for event in used.events) and panel.closed
    return Page(
        title=RECORD["record_title"].format(name=panel.name),
        site=f"{used.site}, {panel.zone}",
        span=RECORD["record_from"].format(start=say.at(_begun(panel, used)), end=say.at(used.at)),
        zone=RECORD["times_in"].format(zone=used.time_zone),
        state=RECORD["record_closed" if ended else "record_open"],
        what=tuple(_what(panel, cards)),
        unmeasured=tuple(_unmeasured(used, results, panel, say)),
        latest=tuple(latest.values()),
        signed="" if signed else RECORD["not_signed"],
        chart=chart(
            results,
            [card.minimum_C for card in cards.values()],
            [Mark(line.at, line.number) for line in listed if line.number and not line.struck],
            view,
            RECORD["chart_of"].format(name=panel.name),
        ),
        blocks=tuple(Block(title, rows, bold) for title, rows, bold in blocks),
        pots=pots,
        observations=tuple(observations(used, say)),
        decisions=tuple(decided),
        entries=tuple(listed),
        probes=probe_rows(used, say),
        digests=digest_rows(used),
        days=tuple((item.day, item.probe, str(item.n), item.sha256) for item in used.days),
        cautions=tuple(CAUTIONS[key] for key in CAUTIONED),
        software=RECORD["made_by"].format(software=used.software),
        sha256=sha256,
    )


def _cards(used: Used) -> dict[str, ResinCard]:
    found = {}
    for name, text in used.cards.items():
        try:
            found[name] = card_of(text, name)
        except CardFileError:
            continue  # the coat's block says so
    return found


def _begun(panel: Panel, used: Used) -> int:
    return panel.coats[0].mixed_at if panel.coats else used.at


def _what(panel: Panel, cards: Mapping[str, ResinCard]) -> Iterator[tuple[str, str]]:
    yield RECORD["panel_is"], f"{panel.name} ({panel.id})"
    yield RECORD["laid_on"], panel.substrate
    names = dict.fromkeys(coat.card for coat in panel.coats)
    for name in names:
        card = cards.get(name)
        if card is None:
            yield RECORD["resin_cards"], f"{name}: {RECORD['no_card_text']}"
            continue
        whose = RECORD["invented_card" if card.invented else "own_card"]
        source = RECORD["source_of"].format(source=card.source)
        yield (
            RECORD["resin_cards"],
            f"{card.title} ({card.id}), {whose}. {source} SHA-256 {card.digest[:16]}…",
        )


def _unmeasured(used: Used, results: Results, panel: Panel, say: Wording) -> Iterator[str]:
    """What page one says in bold."""
    if not panel.coats:
        return
    hours = say.view.hours
    if results.missing_h >= 1 / 60:
        all_h = results.measured_h + results.missing_h
        yield RECORD["missing_surface"].format(span=hours(results.missing_h), all=hours(all_h)) + "."
        yield from (
            RECORD["gap_line"].format(start=say.at(begin), end=say.at(end), span=say.span(begin, end)) + "."
            for begin, end in results.gaps
        )
    if used.removed:
        yield RECORD["removed_days"].format(days=", ".join(used.removed)) + "."
    if used.kept_at_site:
        yield RECORD["kept_at_site"] + "."
    if results.air_only:
        yield RECORD["air_alone"] + "."
    if results.moisture_missing_h is None:
        yield RECORD["no_moisture"] + "."
    elif results.moisture_missing_h >= 1 / 60:
        yield RECORD["missing_moisture"].format(span=hours(results.moisture_missing_h)) + "."
    for coat in results.coats:
        if coat.unknown:
            why = RECORD["no_card_text" if coat.unknown == "no card" else "no_readings_text"]
            yield RECORD["nothing_known"].format(n=coat.number, why=why) + "."
    pots = [pot for coat in results.coats for pot in coat.pots]
    bare = [pot for pot in pots if pot.off_percent is None]
    if bare:
        yield RECORD["pots_unweighed"].format(n=len(bare), all=len(pots)) + "."
    if not _logged(used, "hardness"):
        yield RECORD["no_hardness"] + "."
    yield from (_unsure(item, say) for item in used.unsure if item.start <= used.at)


def _logged(used: Used, kind: str) -> list[Event]:
    gone = withdrawn(used.events)
    return [event for event in used.events if event.kind == kind and event.id not in gone]


def _unsure(item: Any, say: Wording) -> str:
    hours = say.view.hours
    late = RECORD["unsure_open"] if item.late is None else hours(item.late / 3_600_000)
    end = RECORD["still_open"] if item.end is None else say.at(item.end)
    early = hours(-item.early / 3_600_000)
    return RECORD["unsure_times"].format(start=say.at(item.start), end=end, early=early, late=late) + "."
