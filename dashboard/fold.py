"""What people did and said, folded into panels, those entries left out that were taken back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from dashboard.panel import Coat, Event, Grant, Hardness, Hold, Panel, PlannedCoat, Pot, Stay, ThumbTest
from model.observation import FILM_WORDS, Word

TAP_MS = 60_000
"""So close together two equal touches are one button tapped twice."""
WEIGHED = ("resin_g", "hardener_g", "vessel", "bottles_C", "stirred", "asked_g")
"""What may be said of a pot."""


def withdrawn(events: Iterable[Event]) -> frozenset[str]:
    """Ids of the entries that were taken back."""
    return frozenset(str(event.body["event"]) for event in events if event.kind == "withdrawn")


def preferences(events: Iterable[Event]) -> dict[str, str]:
    """What the shop chose last, by key, from its events in the order they were taken down."""
    listed = list(events)
    gone = withdrawn(listed)
    chosen = (event for event in listed if event.kind == "preference" and event.id not in gone)
    return {str(event.body["key"]): str(event.body["value"]) for event in chosen}


def fold(events: Iterable[Event]) -> dict[str, Panel]:
    """Panels by id, in the order of registration, from their events in the order they were taken down.

    What was felt comes last: a coat that was taken back and logged anew, or logged late, keeps the tests made on it.
    """
    listed = told(events)
    gone = withdrawn(listed)
    panels: dict[str, Panel] = {}
    for event in _without_coats_taken_back(listed, gone):
        if event.id in gone or event.panel is None:
            continue
        panel = panels.get(event.panel)
        if event.kind == "panel registered" and panel is None:
            panels[event.panel] = Panel(id=event.panel, **_planned(event.body))
        elif panel is not None and event.kind in STEPS:
            panels[event.panel] = STEPS[event.kind](panel, event)
    return panels


def told(events: Iterable[Event]) -> list[Event]:
    """The entries, each at the time that was last said of it."""
    listed = list(events)
    said = {str(event.body["event"]): int(event.body["to"]) for event in time_changes(listed)}
    return (
        [replace(event, at=said[event.id]) if event.id in said else event for event in listed]
        if said
        else listed
    )


def time_changes(events: Iterable[Event]) -> list[Event]:
    """Entries that say another time of an entry, without those taken back, in the order they were taken down."""
    listed = list(events)
    gone = withdrawn(listed)
    return [event for event in listed if event.kind == "time changed" and event.id not in gone]


def _planned(body: Mapping[str, Any]) -> dict[str, Any]:
    """A registration's or a change's body, its plan as planned coats."""
    made = dict(body)
    if "plan" in made:
        made["plan"] = tuple(PlannedCoat(**coat) for coat in made["plan"] or ())
    return made


def _without_coats_taken_back(events: Iterable[Event], gone: frozenset[str]) -> list[Event]:
    """Without what belongs to coats that were taken back: no other coat's. What was felt on them comes last."""
    newest: dict[str | None, str] = {}
    kept, felt = [], []
    for event in events:
        if event.kind == "coat mixed":
            newest[event.panel] = event.id
        if event.kind in ("thumb test", "thumb sure", "hardness"):
            felt.append(event)
        elif event.kind not in OF_THE_NEWEST or newest.get(event.panel) not in gone:
            kept.append(event)
    return kept + felt


def _coat_mixed(panel: Panel, event: Event) -> Panel:
    body = event.body
    coat = Coat(
        number=len(panel.coats) + 1,
        card=body["card"],
        mixed_at=event.at,
        applied_at=body.get("applied_at"),
        kind=body.get("kind", "laminate"),
        event=event.id,
        pots=(_pot(event),),
        peel_ply=bool(body.get("peel_ply")),
        taped=bool(body.get("taped")),
        resin_lot=body.get("resin_lot"),
        hardener_lot=body.get("hardener_lot"),
    )
    # What prepares the surface prepares it for what comes after: a new coat starts with a clean slate.
    return replace(
        panel, coats=(*panel.coats, coat), washed_at=None, sanded_at=None, wiped_at=None, granted=None
    )


def _pot(event: Event) -> Pot:
    return Pot(event.at, event.id, **_said_of_pot(event))


def _said_of_pot(event: Event) -> dict[str, Any]:
    said = event.body.get("pot") or {}
    return {name: said[name] for name in WEIGHED if said.get(name) is not None}


def _pot_mixed(panel: Panel, event: Event) -> Panel:
    """One more pot for the newest coat: what closes still counts from the first, what becomes ready from the last."""
    newest = panel.newest
    if newest is None:
        return panel
    return _with(panel, -1, replace(newest, pots=(*newest.pots, _pot(event)), applied_at=None))


def _pot_weighed(panel: Panel, event: Event) -> Panel:
    """What was poured, told later; what is told anew counts, what is not told stays."""

    def told(pot: Pot) -> Pot:
        return replace(pot, **_said_of_pot(event)) if pot.event == event.body.get("of") else pot

    coats = tuple(replace(coat, pots=tuple(told(pot) for pot in coat.pots)) for coat in panel.coats)
    return replace(panel, coats=coats)


def _coat_applied(panel: Panel, event: Event) -> Panel:
    """The newest coat is on: its pot is empty. Said again, it is on since it was first said."""
    newest = panel.newest
    if newest is None:
        return panel
    since = event.at if newest.applied_at is None else min(newest.applied_at, event.at)
    return _with(panel, -1, replace(newest, applied_at=since))


def _peel_ply_off(panel: Panel, event: Event) -> Panel:
    newest = panel.newest
    return panel if newest is None else _with(panel, -1, replace(newest, peel_ply_off_at=event.at))


def _thumb_test(panel: Panel, event: Event) -> Panel:
    """Of the coat that was the newest then. While that was in its only pot, the coat below was felt; but whatever
    lies on a film is washed off the newest, whenever that was put on.
    """
    body = event.body
    words = tuple(Word(word) for word in body["words"])
    test = ThumbTest(
        event.at, words, body.get("tile_C"), bool(body.get("patchy")), bool(body.get("sure", True)), event.id
    )
    index = _felt(panel, event.at, below=words[0] not in FILM_WORDS)
    if index is None or any(_same_touch(test, other) for other in panel.coats[index].thumb_tests):
        return panel
    of = panel.coats[index]
    return _with(panel, index, replace(of, thumb_tests=(*of.thumb_tests, test)))


def _thumb_sure(panel: Panel, event: Event) -> Panel:
    """An unlikely answer was meant: from now on it counts."""
    coats = tuple(
        replace(
            coat,
            thumb_tests=tuple(
                replace(test, sure=True) if test.event == event.body["of"] else test
                for test in coat.thumb_tests
            ),
        )
        for coat in panel.coats
    )
    return replace(panel, coats=coats)


def _hardness(panel: Panel, event: Event) -> Panel:
    index = _felt(panel, event.at, below=True)
    if index is None:
        return panel
    of = panel.coats[index]
    made = Hardness(event.at, **{name: event.body[name] for name in ("scale", "value", "on", "at_C")})
    return _with(panel, index, replace(of, hardness=(*of.hardness, made)))


def _felt(panel: Panel, at: int, below: bool) -> int | None:
    """Index of the coat that was met then; `below`: while the newest was in its pot, the one under it."""
    earlier = [index for index, coat in enumerate(panel.coats) if coat.mixed_at <= at]
    if below and len(earlier) > 1 and _in_its_pot(panel.coats[earlier[-1]], at):
        earlier.pop()
    return earlier[-1] if earlier else None


def _with(panel: Panel, index: int, coat: Coat) -> Panel:
    """With another coat in the place of one; -1 is the newest."""
    coats = list(panel.coats)
    coats[index] = coat
    return replace(panel, coats=tuple(coats))


def _same_touch(test: ThumbTest, other: ThumbTest) -> bool:
    """A button tapped several times says no more than tapped once."""
    return abs(test.at - other.at) <= TAP_MS and replace(test, at=other.at, sure=other.sure) == other


def _in_its_pot(coat: Coat, at: int) -> bool:
    return coat.last_pot_at is None and coat.applied_at is not None and at < coat.applied_at


def _moved(panel: Panel, event: Event) -> Panel:
    """Other probes stand for it from then on; those before keep what they saw."""
    first = Stay(0, panel.zone, panel.surface_probe, panel.air_probe)
    here = Stay(event.at, event.body["zone"], event.body.get("surface_probe"), event.body.get("air_probe"))
    stays = tuple(sorted((*(panel.stays or (first,)), here), key=lambda stay: stay.since))
    now = stays[-1]
    return replace(
        panel, stays=stays, zone=now.zone, surface_probe=now.surface_probe, air_probe=now.air_probe
    )


def _changed(panel: Panel, event: Event) -> Panel:
    said = {name: value for name, value in _planned(event.body).items() if value is not None}
    if "name" in said:
        said["name"] = said["name"].strip()
    return replace(panel, **said)


def _at(name: str) -> Callable[[Panel, Event], Panel]:
    def step(panel: Panel, event: Event) -> Panel:
        when: dict[str, Any] = {name: event.at}
        return replace(panel, **when)

    return step


def _decided(panel: Panel, event: Event) -> Panel:
    """Only a grant changes a panel; what was said beside other entries is kept and changes nothing."""
    body = event.body
    if body["act"] != "demould" or body["of"] is not None or not body["granted"]:
        return panel
    return replace(panel, granted=Grant(event.at, event.who))


STEPS: dict[str, Callable[[Panel, Event], Panel]] = {
    "coat mixed": _coat_mixed,
    "pot mixed": _pot_mixed,
    "pot weighed": _pot_weighed,
    "coat applied": _coat_applied,
    "peel ply off": _peel_ply_off,
    "thumb test": _thumb_test,
    "thumb sure": _thumb_sure,
    "hardness": _hardness,
    "washed": lambda panel, event: replace(panel, washed_at=event.at, washed_by=event.who),
    "wiped": _at("wiped_at"),
    "sanded": _at("sanded_at"),
    "trimmed": _at("trimmed_at"),
    "clamps off": _at("clamps_off_at"),
    "tape pulled": _at("tape_pulled_at"),
    "heat on": _at("heated_since"),
    "heat off": lambda panel, event: replace(panel, heated_since=None),
    "demoulded": _at("demoulded_at"),
    "panel moved": _moved,
    "panel changed": _changed,
    "held": lambda panel, event: replace(panel, hold=Hold(event.at, event.who, str(event.body["reason"]))),
    "decided": _decided,
    "released": lambda panel, event: replace(panel, hold=None),
    "scrapped": lambda panel, event: replace(panel, closed=True, scrapped=str(event.body["reason"])),
    "closed": lambda panel, event: replace(panel, closed=True),
    "note": lambda panel, event: panel,
    "photo": lambda panel, event: panel,
}
"""What each entry of a panel does to it."""

OF_THE_NEWEST = frozenset({"pot mixed", "coat applied", "peel ply off"})
"""Entries about the coat that was the newest when they were taken down."""
