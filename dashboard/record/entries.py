"""What people did and decided, as lines of a record; what was taken back stays, struck through."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from dashboard import entries as log
from dashboard.fold import time_changes, told, withdrawn
from dashboard.panel import Event
from dashboard.record.results import DecisionFits, Results
from dashboard.record.used import Used
from dashboard.record.wording import Wording, number, percent
from dashboard.words import LABELS, RECORD

FELT = ("thumb test", "hardness")
UNSEEN = frozenset({"withdrawn", "time changed", "decided"})


@dataclass(frozen=True)
class Line:
    """One entry. Times UTC ms.

    number  its number on this record, "" for one that has none
    struck  when and by whom it was taken back, or ""
    before  what was said of it first, and by whom and when that was changed
    more    further sentences; bold: they must not be overlooked
    key     the act, of a decision; good: it was granted
    """

    at: int
    when: str
    number: str
    text: str
    who: str
    struck: str = ""
    before: tuple[tuple[str, str], ...] = ()
    more: tuple[str, ...] = ()
    bold: tuple[str, ...] = ()
    key: str = ""
    good: bool = True


def entries(used: Used, say: Wording) -> list[Line]:
    """Everything that was logged, in the order of its time, numbered."""
    coats = _coats(used)
    return [
        _line(used, event, str(number), coats.get(event.id), say)
        for number, event in enumerate(_shown(used), start=1)
    ]


def _coats(used: Used) -> dict[str, int]:
    """By entry the number of its coat, as the pages count: one that was taken back has that of the one after it."""
    gone, found, count = withdrawn(used.events), {}, 0
    for event in used.events:
        if event.kind == "coat mixed":
            found[event.id] = count + 1
            count += event.id not in gone
    return found


def observations(used: Used, say: Wording) -> list[Line]:
    """Thumb tests and hardness."""
    return [line for line, event in zip(entries(used, say), _shown(used), strict=True) if event.kind in FELT]


def decisions(used: Used, results: Results, say: Wording) -> list[Line]:
    """Each decision with what was said then, as it was said."""
    fits = {item.event: item for item in results.decisions}
    decided = [event for event in used.events if event.kind == "decided"]
    return [_decision(used, event, fits[event.id], say) for event in sorted(decided, key=lambda one: one.at)]


def _shown(used: Used) -> list[Event]:
    """At the times that were last said of them."""
    return sorted((event for event in told(used.events) if event.kind not in UNSEEN), key=lambda one: one.at)


def _back(used: Used, event: Event, say: Wording) -> str:
    """Also of a decision whose entry was taken back."""
    ids = {event.id, event.body.get("of")} if event.kind == "decided" else {event.id}
    back = next((one for one in used.events if one.kind == "withdrawn" and one.body["event"] in ids), None)
    if back is None:
        return ""
    return _by(back, "struck", say)


def _by(entry: Event, key: str, say: Wording) -> str:
    text = RECORD[key].format(at=say.at(entry.recorded), who=entry.who or LABELS["nobody"])
    return f"{text}: {entry.body['reason']}" if entry.body.get("reason") else text


def _before(used: Used, event: Event, say: Wording) -> tuple[tuple[str, str], ...]:
    """Each time that was said of it before, and who said another when."""
    first = next(one for one in used.events if one.id == event.id)
    found, at = [], first.at
    for change in time_changes(used.events):
        if change.body["event"] == event.id:
            found.append((say.at(at), _by(change, "time_said_anew", say)))
            at = int(change.body["to"])
    return tuple(found)


def _line(used: Used, event: Event, index: str, coat: int | None, say: Wording) -> Line:
    # Seen from its own day: the date stands beside it.
    here = replace(say.view, now=event.at)
    return Line(
        at=event.at,
        when=say.at(event.at),
        number=index,
        text=log.said(event, here, coat),
        more=_photo(event),
        who=event.who or LABELS["nobody"],
        struck=_back(used, event, say),
        before=_before(used, event, say),
    )


def _photo(event: Event) -> tuple[str, ...]:
    if event.kind != "photo":
        return ()
    return (f"{event.body.get('name', '')} SHA-256 {event.body.get('digest', '')}",)


def _decision(used: Used, event: Event, fits: DecisionFits, say: Wording) -> Line:
    body, act = event.body, _word(event.body["act"])
    said = body["said"]
    words = said["words"] if said else RECORD["nothing_said"]
    more = [*(said["why"] if said else ())]
    if said and said["conversion"]:
        more.append(_then(said, say))
    bold = []
    if body["deviation"]:
        key = "deviation" if said else "without_answer"
        bold.append(RECORD[key].format(did=RECORD[f"did_{act}"], said=words))
    if not body["granted"]:
        bold.append(RECORD["not_granted"].format(missing="; ".join(body["missing"])))
    if "signed" in body:
        (more if body["signed"] else bold).append(RECORD["signed" if body["signed"] else "name_typed"])
    rests = {True: "same_readings", False: "other_readings", None: "readings_unkept"}[fits.readings_same]
    if said:
        more.append(f"{RECORD['rested_on']} {RECORD[rests]}.")
    if fits.cards_same is False:
        bold.append(f"{RECORD['rested_on']} {RECORD['other_card']}.")
    return Line(
        at=event.at,
        when=say.at(event.at),
        number="",
        text=f"{RECORD[f'act_{act}']}: {words}",
        who=event.who or LABELS["nobody"],
        struck=_back(used, event, say),
        more=tuple(more),
        bold=tuple(bold),
        key=body["act"],
        good=bool(body["granted"]),
    )


def _word(act: str) -> str:
    return act.replace(" ", "")


def _then(said: Mapping[str, Any], say: Wording) -> str:
    low, _, high = (percent(value) for value in said["conversion"])
    margin = say.difference(said["least_margin_K"])
    return RECORD["cure_then"].format(low=low, high=high, missing=number(said["missing_h"]), margin=margin)
