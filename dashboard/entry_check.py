"""Whether an entry makes sense against what the logbook holds already."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from dashboard.correction import CorrectionError
from dashboard.panel import STEPS, Coat, Event, Panel
from dashboard.probe_entry import PROBE_KINDS, check_probe_entry
from model.observation import Word, of_one_kind

WORDS = tuple(word.value for word in Word)
"""What a thumb, sanding paper or water may find."""

SUBSTRATES = ("wood", "foam", "solid laminate", "metal mould", "composite mould", "floor")
TILE_C = (-20.0, 60.0)
"""What a tile that is felt beside the panel may have, degC."""
FUTURE_MS = 2 * 60_000
"""A phone's clock may run this far ahead of ours; anything later than that has not happened yet."""
LONGEST_POT_MS = 6 * 3_600_000
"""No resin stays liquid longer than this between mixing and going on (common practice, no source)."""
KINDS = {"panel registered", *STEPS, *PROBE_KINDS, "withdrawn", "alarm seen", "preference"}


class LogbookError(ValueError):
    """The entry cannot be taken down; the text says why and what is allowed. Nothing was written."""


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
        _check_registration(event, panels)
    elif event.kind in STEPS:
        _check_step(event, panels, cards)
    elif event.kind in PROBE_KINDS:
        try:
            check_probe_entry(event.kind, event.at, event.body)
        except CorrectionError as error:
            raise LogbookError(str(error)) from error
    elif event.kind == "withdrawn":
        _check_withdrawal(event, events)


def _check_withdrawal(event: Event, events: Iterable[Event]) -> None:
    target = next((item for item in events if item.id == event.body.get("event")), None)
    if target is None:
        raise LogbookError("there is no such entry to take back")
    if target.kind == "withdrawn":
        raise LogbookError("what was taken back is not given back: log it again")
    if (target.panel or "") != (event.panel or ""):
        raise LogbookError(
            f"that entry is not of {event.panel or 'no panel'}: take it back where it was made"
        )


def _check_registration(event: Event, panels: Mapping[str, Panel]) -> None:
    if not re.fullmatch(r"[a-z0-9-]{1,64}", event.panel or ""):
        raise LogbookError(
            f"{event.panel!r} cannot be a panel's id: use lower-case letters, digits and dashes"
        )
    if event.panel in panels:
        raise LogbookError(f"a panel with the id {event.panel!r} is there already: choose another")
    name = str(event.body.get("name", "")).strip()
    if not name or len(name) > 64 or not name.isprintable():
        raise LogbookError("a panel needs a name of 1 to 64 printable characters")
    if any(panel.name == name and not panel.closed for panel in panels.values()):
        raise LogbookError(f"a panel called {name!r} is there already: choose another name")
    if event.body.get("substrate") not in SUBSTRATES:
        raise LogbookError(f"what is it laid on? allowed: {', '.join(SUBSTRATES)}")


def _check_step(event: Event, panels: Mapping[str, Panel], cards: Iterable[str] | None) -> None:
    panel = panels.get(event.panel or "")
    if panel is None:
        raise LogbookError(f"there is no panel {event.panel!r}: register it first")
    if panel.closed:
        raise LogbookError(f"{panel.name} is closed: take that back first, on its page")
    if event.kind == "coat mixed":
        if cards is not None and event.body.get("card") not in set(cards):
            raise LogbookError(
                f"no resin card is called {event.body.get('card')!r}; there are: {', '.join(sorted(cards))}"
            )
        applied = event.body.get("applied_at")
        if applied is not None and applied > event.at + LONGEST_POT_MS:
            raise LogbookError("no pot lasts that long: correct the time at which the coat went on")
        if applied is not None and not event.at <= applied <= event.recorded + FUTURE_MS:
            raise LogbookError("a coat goes on after it was mixed, and not in the future: correct the times")
        if panel.newest and event.at < panel.newest.mixed_at:
            raise LogbookError("this coat would come before the one already logged: take that one back first")
    elif event.kind == "closed":
        return
    elif panel.newest is None:
        raise LogbookError(f"{panel.name} has no coat yet: log its first coat, then this")
    elif event.kind == "thumb test":
        _check_thumb_test(event, panel)
    elif event.kind == "coat applied" and event.at > _last_pot(panel.newest) + LONGEST_POT_MS:
        raise LogbookError(
            f"that is more than {LONGEST_POT_MS // 3_600_000} h after it was mixed, no pot lasts that long: "
            "say when it went on"
        )
    elif event.at < panel.newest.mixed_at:
        raise LogbookError(
            f"that lies before the newest coat was mixed: it cannot have been {event.kind} then"
        )


def _last_pot(coat: Coat) -> int:
    return coat.last_pot_at or coat.mixed_at


def _check_thumb_test(event: Event, panel: Panel) -> None:
    words = event.body.get("words") or []
    if not set(words) <= set(WORDS) or not of_one_kind([Word(word) for word in words]):
        raise LogbookError(
            f"{', '.join(map(str, words)) or 'nothing'} is not what one test finds; allowed: one of "
            f"{', '.join(WORDS)}, or neighbours among them"
        )
    if event.at < panel.coats[0].mixed_at:
        raise LogbookError("that lies before the first coat was mixed: nothing could have been felt then")
    tile_C = event.body.get("tile_C")
    if tile_C is not None and not TILE_C[0] <= tile_C <= TILE_C[1]:
        raise LogbookError(f"a tile of {tile_C} degC: {TILE_C[0]} to {TILE_C[1]} degC are allowed")
