"""Whether an entry makes sense against what the logbook holds already."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from dashboard.alarm_entry import ALARM_ENTRIES, check_alarm_entry
from dashboard.correction import CorrectionError
from dashboard.fold import STEPS, fold, told, withdrawn
from dashboard.panel import Event, Panel
from dashboard.probe_entry import PROBE_KINDS, check_probe_entry
from dashboard.quiet import QuietError
from dashboard.step_check import (
    FUTURE_MS,
    LONGEST_NAME,
    LogbookError,
    check_age,
    check_name,
    check_plan,
    check_step,
    check_substrate,
    check_text,
)

KINDS = {
    "panel registered",
    *STEPS,
    *PROBE_KINDS,
    *ALARM_ENTRIES,
    "withdrawn",
    "time changed",
    "preference",
}
TIMELESS = frozenset({"panel registered", "panel changed", "note", "photo", "decided", "thumb sure"})
"""Entries of a panel whose time changes nothing."""


def check_same(there: Event, event: Event) -> None:
    """Raises LogbookError for an entry with the id of another: it would be taken for that one and be lost."""
    if (there.kind, there.panel, there.body.get("probe")) != (
        event.kind,
        event.panel,
        event.body.get("probe"),
    ):
        raise LogbookError("another entry has this id: send this one with an id of its own")


def check(
    event: Event, panels: Mapping[str, Panel], events: Iterable[Event], cards: Iterable[str] | None
) -> None:
    """Raises LogbookError if the event makes no sense against what is there already."""
    if event.kind not in KINDS:
        raise LogbookError(
            f"{event.kind!r} is not something that can be logged; allowed: {', '.join(sorted(KINDS))}"
        )
    if event.at > event.recorded + FUTURE_MS:
        raise LogbookError(
            "that time is still to come: log it when it has happened, or check this device's clock"
        )
    if event.kind == "panel registered":
        _check_registration(event, panels, cards)
    elif event.kind in STEPS:
        check_age(event.at, event.recorded)
        check_step(event, panels, cards)
    elif event.kind in PROBE_KINDS:
        try:
            check_probe_entry(event.kind, event.at, event.body)
        except CorrectionError as error:
            raise LogbookError(str(error)) from error
    elif event.kind in ALARM_ENTRIES:
        check_age(event.at, event.recorded)
        try:
            check_alarm_entry(event.kind, event.at, event.body)
        except QuietError as error:
            raise LogbookError(str(error)) from error
    elif event.kind == "withdrawn":
        _check_withdrawal(event, list(events), panels, cards)
    elif event.kind == "time changed":
        _check_time(event, list(events), cards)


def _check_withdrawal(
    event: Event, events: list[Event], panels: Mapping[str, Panel], cards: Iterable[str] | None
) -> None:
    target = next((item for item in events if item.id == event.body.get("event")), None)
    if target is None:
        raise LogbookError("there is no such entry to take back")
    if target.kind == "withdrawn":
        raise LogbookError("what was taken back is not given back: log it again")
    if (target.panel or "") != (event.panel or ""):
        raise LogbookError(
            f"that entry is not of {event.panel or 'no panel'}: take it back where it was made"
        )
    panel = panels.get(target.panel or "")
    if target.kind == "panel registered" and panel is not None and panel.coats:
        # They would go with it unseen.
        raise LogbookError("this panel has a coat: take its coats back first")
    if target.kind == "time changed":
        _check_from(str(target.body["event"]), event, events, cards)


def _check_time(event: Event, events: list[Event], cards: Iterable[str] | None) -> None:
    """The entry must have made sense at that time, and what was logged after it must still do."""
    target = next((item for item in events if item.id == event.body.get("event")), None)
    if target is None or target.panel != event.panel:
        raise LogbookError("there is no such entry on this panel")
    if target.kind not in STEPS or target.kind in TIMELESS:
        raise LogbookError("the time of that entry changes nothing: take it back and log it again")
    if target.id in withdrawn(events):
        raise LogbookError("that entry was taken back: log it again at its right time")
    if event.body["to"] > event.recorded + FUTURE_MS:
        raise LogbookError("that time is still to come: say when it happened")
    check_age(event.body["to"], event.recorded)
    _check_from(target.id, event, events, cards)


def _check_from(entry: str, event: Event, events: list[Event], cards: Iterable[str] | None) -> None:
    """That entry, and what was logged after it on its panel, must make sense with `event` taken down, too."""
    every = told([item for item in [*events, event] if item.panel == event.panel])
    gone = withdrawn(every)
    # All times are as they will stand: a change among the first of them must not be made once more.
    mine = [item for item in every if item.kind != "time changed"]
    first = next(index for index, item in enumerate(mine) if item.id == entry)
    for index, item in enumerate(mine[first:], start=first):
        if item.kind in STEPS and item.kind not in TIMELESS and item.id not in gone:
            check_step(item, fold(mine[:index]), cards)


def _check_registration(event: Event, panels: Mapping[str, Panel], cards: Iterable[str] | None) -> None:
    if not re.fullmatch(r"[a-z0-9-]{1,64}", event.panel or ""):
        raise LogbookError(
            f"{event.panel!r} cannot be a panel's id: use lower-case letters, digits and dashes"
        )
    if event.panel in panels:
        raise LogbookError(f"a panel with the id {event.panel!r} is there already: choose another")
    check_name(str(event.body.get("name", "")), None, panels)
    check_text(event.body.get("zone"), "a zone", LONGEST_NAME)
    check_substrate(event.body.get("substrate"))
    check_plan(event.body.get("plan") or (), cards)
