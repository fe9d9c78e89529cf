"""Whether something that is done to a panel, or said of it, makes sense on the panel as it is."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from dashboard.panel import Coat, CoatKind, Event, Panel
from model.observation import Word, of_one_kind

WORDS = tuple(word.value for word in Word)
"""What a thumb, sanding paper or water may find."""

SUBSTRATES = ("wood", "foam", "solid laminate", "metal mould", "composite mould", "floor")
COAT_KINDS = tuple(kind.value for kind in CoatKind)
VESSELS = ("cup", "tray")
SCALES = {"Shore A": (0.0, 100.0), "Shore D": (0.0, 100.0), "Barcol": (0.0, 100.0)}
"""Hardness testers and what they may show."""
ON = ("part", "tile")
TILE_C = (-20.0, 60.0)
"""What a tile or a part that is felt may have, degC."""
BOTTLES_C = (-10.0, 60.0)
"""What bottles may have, degC."""
LEAST_POT_G, MOST_POT_G = 0.1, 20_000.0
"""Less than a scale in a shop shows, more than anybody pours into one pot."""
HEAT_C = (5.0, 120.0)
"""What a panel may be held at, degC."""
MOST_COATS = 60
LONGEST_NAME = 64
LONGEST_TEXT = 400
LONGEST_REASON = 80
"""A reason stands in a headline."""
FUTURE_MS = 2 * 60_000
"""A phone's clock may run this far ahead of ours; anything later than that has not happened yet."""
LONGEST_AGO_DAYS = 31
"""What is older was not kept in mind but mistyped, or told by a device that lost its clock; and every minute since a
coat was mixed is followed."""
LONGEST_POT_MS = 6 * 3_600_000
"""No resin stays liquid longer than this between mixing and going on (common practice, no source)."""
WITHOUT_A_COAT = frozenset(
    {"panel moved", "panel changed", "held", "released", "scrapped", "note", "photo", "closed", "heat on", "heat off"}
)  # fmt: skip
"""What may be done to a panel, or said of it, before its first coat."""


class LogbookError(ValueError):
    """The entry cannot be taken down; the text says why and what is allowed. Nothing was written."""


def check_age(at: int, recorded: int) -> None:
    """Of what happened to a panel, UTC ms. Raises LogbookError."""
    if at < recorded - LONGEST_AGO_DAYS * 24 * 3_600_000:
        raise LogbookError(
            f"that is more than {LONGEST_AGO_DAYS} days ago: correct the time, or check this device's clock"
        )


def check_step(event: Event, panels: Mapping[str, Panel], cards: Iterable[str] | None) -> None:
    panel = panels.get(event.panel or "")
    if panel is None:
        raise LogbookError(f"there is no panel {event.panel!r}: register it first")
    if panel.closed and event.kind not in ("note", "photo"):
        raise LogbookError(f"{panel.name} is closed: take that back first, on its page")
    if event.kind == "coat mixed":
        _check_coat(event, panel, cards)
    elif event.kind == "panel changed":
        _check_change(event, panel, panels, cards)
    elif panel.newest is None and event.kind not in WITHOUT_A_COAT:
        raise LogbookError(f"{panel.name} has no coat yet: log its first coat, then this")
    else:
        CHECKS.get(event.kind, _not_before_the_coat)(event, panel)


def _check_coat(event: Event, panel: Panel, cards: Iterable[str] | None) -> None:
    check_card(event.body.get("card"), cards)
    check_coat_kind(event.body.get("kind", "laminate"))
    _check_pot(event, panel)
    applied = event.body.get("applied_at")
    if applied is not None and applied > event.at + LONGEST_POT_MS:
        raise LogbookError("no pot lasts that long: correct the time at which the coat went on")
    if applied is not None and not event.at <= applied <= event.recorded + FUTURE_MS:
        raise LogbookError("a coat goes on after it was mixed, and not in the future: correct the times")
    if panel.newest and event.at < panel.newest.mixed_at:
        raise LogbookError("this coat would come before the one already logged: take that one back first")


def _check_change(
    event: Event, panel: Panel, panels: Mapping[str, Panel], cards: Iterable[str] | None
) -> None:
    said = {name: value for name, value in event.body.items() if value is not None}
    if not said:
        raise LogbookError("nothing is changed: say what")
    if "name" in said:
        check_name(str(said["name"]), panel, panels)
    if "substrate" in said:
        check_substrate(said["substrate"])
    check_plan(said.get("plan", ()), cards)


def _not_before_the_coat(event: Event, panel: Panel) -> None:
    if panel.newest is not None and event.at < panel.newest.mixed_at:
        raise LogbookError(
            f"that lies before the newest coat was mixed: it cannot have been {event.kind} then"
        )


def _check_applied(event: Event, panel: Panel) -> None:
    assert panel.newest is not None
    if event.at > _last_pot(panel.newest) + LONGEST_POT_MS:
        raise LogbookError(
            f"that is more than {LONGEST_POT_MS // 3_600_000} h after it was mixed, no pot lasts that long: "
            "say when it went on"
        )
    _not_before_the_coat(event, panel)


def _last_pot(coat: Coat) -> int:
    return coat.last_pot_at or coat.mixed_at


def _check_another_pot(event: Event, panel: Panel) -> None:
    _check_pot(event, panel)
    _not_before_the_coat(event, panel)


def _check_pot(event: Event, panel: Panel) -> None:
    said = event.body.get("pot") or {}
    for name, what in (("resin_g", "resin"), ("hardener_g", "hardener"), ("asked_g", "the mix")):
        grams = said.get(name)
        if grams is not None and not LEAST_POT_G <= grams <= MOST_POT_G:
            raise LogbookError(f"{grams:g} g of {what}: {LEAST_POT_G:g} to {MOST_POT_G:g} g are allowed")
    if said.get("vessel") not in (None, *VESSELS):
        raise LogbookError(f"{said['vessel']!r} is no vessel; allowed: {', '.join(VESSELS)}")
    _check_between(said.get("bottles_C"), BOTTLES_C, "bottles")


def _check_weighed(event: Event, panel: Panel) -> None:
    pots = {pot.event: pot for coat in panel.coats for pot in coat.pots}
    of = pots.get(str(event.body.get("of")))
    if of is None:
        raise LogbookError("there is no such pot on this panel: weigh one that is in its log")
    if not any(value is not None for value in (event.body.get("pot") or {}).values()):
        raise LogbookError("nothing is said of the pot: give its weights, or whether it was stirred")
    if event.at < of.mixed_at:
        raise LogbookError("that lies before the pot was mixed: correct the time")
    _check_pot(event, panel)


def _check_thumb_test(event: Event, panel: Panel) -> None:
    words = event.body.get("words") or []
    if not set(words) <= set(WORDS) or not of_one_kind([Word(word) for word in words]):
        raise LogbookError(
            f"{', '.join(map(str, words)) or 'nothing'} is not what one test finds; allowed: one of "
            f"{', '.join(WORDS)}, or neighbours among them"
        )
    _check_felt(event, panel)
    _check_between(event.body.get("tile_C"), TILE_C, "a tile")


def _check_sure(event: Event, panel: Panel) -> None:
    tests = (test for coat in panel.coats for test in coat.thumb_tests)
    if not any(test.event == event.body.get("of") and not test.sure for test in tests):
        raise LogbookError("there is no thumb test on this panel that waits to be confirmed")


def _check_felt(event: Event, panel: Panel) -> None:
    if event.at < panel.coats[0].mixed_at:
        raise LogbookError("that lies before the first coat was mixed: nothing could have been felt then")


def _check_hardness(event: Event, panel: Panel) -> None:
    body = event.body
    if body.get("scale") not in SCALES:
        raise LogbookError(f"{body.get('scale')!r} is no hardness scale; allowed: {', '.join(SCALES)}")
    if body.get("on") not in ON:
        raise LogbookError(f"what was tested? allowed: {', '.join(ON)}")
    _check_between(body.get("value"), SCALES[body["scale"]], str(body["scale"]), unit="")
    _check_between(body.get("at_C"), TILE_C, f"the {body['on']}")
    _check_felt(event, panel)


def _check_between(
    value: float | None, limits: tuple[float, float], what: str, *, unit: str = " degC"
) -> None:
    if value is not None and not limits[0] <= value <= limits[1]:
        raise LogbookError(f"{what} at {value:g}{unit}: {limits[0]:g} to {limits[1]:g}{unit} are allowed")


def _check_peel_ply(event: Event, panel: Panel) -> None:
    assert panel.newest is not None
    if not panel.newest.peel_ply:
        raise LogbookError(f"no peel ply was laid on coat {panel.newest.number}: nothing comes off it")
    _not_before_the_coat(event, panel)


def _check_moved(event: Event, panel: Panel) -> None:
    check_text(event.body.get("zone"), "a zone", LONGEST_NAME)
    if not (event.body.get("surface_probe") or event.body.get("air_probe")):
        raise LogbookError(
            "a panel needs a probe where it is moved to, on it or in the air beside it: choose one"
        )
    if panel.stays and event.at < panel.stays[-1].since:
        raise LogbookError("that lies before it was last moved: take that back first")


def _check_heat(event: Event, panel: Panel) -> None:
    _check_between(event.body.get("hold_C"), HEAT_C, "heat")
    if event.kind == "heat off" and panel.heated_since is None:
        raise LogbookError("no heat is on: log when it was switched on first")


def _check_reason(event: Event, panel: Panel) -> None:
    check_text(event.body.get("reason"), "a reason", LONGEST_REASON)
    if event.kind == "held" and panel.hold is not None:
        raise LogbookError(f"{panel.name} is on hold already: release it first")
    if event.kind == "released" and panel.hold is None:
        raise LogbookError(f"{panel.name} is not on hold")


def _check_note(event: Event, panel: Panel) -> None:
    check_text(event.body.get("text"), "a note", LONGEST_TEXT)


def check_text(said: object, what: str, longest: int) -> None:
    text = str(said or "").strip()
    if not text or len(text) > longest:
        raise LogbookError(f"{what} of 1 to {longest} characters is needed")


def _nothing(event: Event, panel: Panel) -> None:
    """Nothing more is asked."""


def check_name(given: str, of: Panel | None, panels: Mapping[str, Panel]) -> None:
    name = given.strip()
    if not name or len(name) > 64 or not name.isprintable():
        raise LogbookError("a panel needs a name of 1 to 64 printable characters")
    if any(panel.name == name and not panel.closed and panel != of for panel in panels.values()):
        raise LogbookError(f"a panel called {name!r} is there already: choose another name")


def check_substrate(substrate: object) -> None:
    if substrate not in SUBSTRATES:
        raise LogbookError(f"what is it laid on? allowed: {', '.join(SUBSTRATES)}")


def check_plan(plan: Iterable[Mapping[str, Any]], cards: Iterable[str] | None) -> None:
    listed = list(plan)
    if len(listed) > MOST_COATS:
        raise LogbookError(f"a plan holds up to {MOST_COATS} coats; this one has {len(listed)}")
    for coat in listed:
        check_coat_kind(coat.get("kind"))
        if coat.get("card"):
            check_card(coat["card"], cards)


def check_coat_kind(kind: object) -> None:
    if kind not in COAT_KINDS:
        raise LogbookError(f"{kind!r} is no kind of coat; allowed: {', '.join(COAT_KINDS)}")


def check_card(card: object, cards: Iterable[str] | None) -> None:
    if cards is not None and card not in set(cards):
        raise LogbookError(f"no resin card is called {card!r}; there are: {', '.join(sorted(cards))}")


CHECKS: Mapping[str, Callable[[Event, Panel], None]] = {
    "pot mixed": _check_another_pot,
    "pot weighed": _check_weighed,
    "coat applied": _check_applied,
    "thumb test": _check_thumb_test,
    "thumb sure": _check_sure,
    "hardness": _check_hardness,
    "peel ply off": _check_peel_ply,
    "panel moved": _check_moved,
    "heat on": _check_heat,
    "heat off": _check_heat,
    "held": _check_reason,
    "released": _check_reason,
    "scrapped": _check_reason,
    "note": _check_note,
    "photo": _nothing,
    "closed": _nothing,
}
"""What is asked of an entry of each kind; of any other, that it is not older than the newest coat."""
