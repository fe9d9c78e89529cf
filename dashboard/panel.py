"""A panel, as what people did and said of it makes it. Times are UTC ms."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from hashlib import blake2b
from typing import Any

from model.observation import FILM_WORDS, Word

TAP_MS = 60_000
"""So close together two equal touches are one button tapped twice."""


@dataclass(frozen=True)
class Event:
    """One entry. `id` is made where the button was tapped, so that a double tap is one entry."""

    id: str
    at: int
    recorded: int
    who: str
    kind: str
    panel: str | None
    body: Mapping[str, Any]


@dataclass(frozen=True)
class ThumbTest:
    """What somebody found on a coat; neighbouring words where the page has merged them.

    tile_C   temperature of the tile that was felt, degC, if it was not the panel itself
    """

    at: int
    words: tuple[Word, ...]
    tile_C: float | None


@dataclass(frozen=True)
class Coat:
    """One coat: number from 1; `applied_at` is None until somebody says, then mixing time stands for it.

    last_pot_at   when the last of its pots was mixed; None if there was only the first, at mixed_at
    """

    number: int
    card: str
    mixed_at: int
    applied_at: int | None
    kind: str
    event: str
    last_pot_at: int | None = None
    thumb_tests: tuple[ThumbTest, ...] = ()


@dataclass(frozen=True)
class Panel:
    """A panel as its events leave it."""

    id: str
    name: str
    zone: str
    surface_probe: str | None
    air_probe: str | None
    substrate: str
    coats: tuple[Coat, ...] = ()
    washed_at: int | None = None
    sanded_at: int | None = None
    demoulded_at: int | None = None
    closed: bool = False

    @property
    def mark(self) -> str:
        """Another one with every entry that changes the panel: what was worked out before it is no answer any more."""
        return blake2b(repr(self).encode(), digest_size=8).hexdigest()

    @property
    def newest(self) -> Coat | None:
        return self.coats[-1] if self.coats else None


def withdrawn(events: Iterable[Event]) -> frozenset[str]:
    """Ids of the entries that were taken back."""
    return frozenset(str(event.body["event"]) for event in events if event.kind == "withdrawn")


def fold(events: Iterable[Event]) -> dict[str, Panel]:
    """Panels by id, in the order of registration, from their events in the order they were taken down.

    Thumb tests come last: a coat that was taken back and logged anew, or logged late, keeps those made on it.
    """
    listed = list(events)
    gone = withdrawn(listed)
    panels: dict[str, Panel] = {}
    for event in _without_coats_taken_back(listed, gone):
        if event.id in gone or event.panel is None:
            continue
        panel = panels.get(event.panel)
        if event.kind == "panel registered" and panel is None:
            panels[event.panel] = Panel(id=event.panel, **event.body)
        elif panel is not None and event.kind in STEPS:
            panels[event.panel] = STEPS[event.kind](panel, event)
    return panels


def _without_coats_taken_back(events: Iterable[Event], gone: frozenset[str]) -> list[Event]:
    """Without the pots of coats that were taken back, and their being put on: no other coat's. Thumb tests last."""
    newest: dict[str | None, str] = {}
    kept, tests = [], []
    for event in events:
        if event.kind == "coat mixed":
            newest[event.panel] = event.id
        if event.kind == "thumb test":
            tests.append(event)
        elif event.kind not in ("pot mixed", "coat applied") or newest.get(event.panel) not in gone:
            kept.append(event)
    return kept + tests


def _coat_mixed(panel: Panel, event: Event) -> Panel:
    coat = Coat(
        number=len(panel.coats) + 1,
        card=event.body["card"],
        mixed_at=event.at,
        applied_at=event.body.get("applied_at"),
        kind=event.body.get("kind", "laminate"),
        event=event.id,
    )
    # A wash or a sanding prepares the surface for what comes after it: a new coat starts with a clean slate.
    return replace(panel, coats=(*panel.coats, coat), washed_at=None, sanded_at=None)


def _pot_mixed(panel: Panel, event: Event) -> Panel:
    """One more pot for the newest coat: what closes still counts from the first, what becomes ready from the last."""
    newest = panel.newest
    if newest is None:
        return panel
    last = max(event.at, newest.last_pot_at or newest.mixed_at)
    return replace(panel, coats=(*panel.coats[:-1], replace(newest, last_pot_at=last, applied_at=None)))


def _coat_applied(panel: Panel, event: Event) -> Panel:
    """The newest coat is on: its pot is empty. Said again, it is on since it was first said."""
    newest = panel.newest
    if newest is None:
        return panel
    since = event.at if newest.applied_at is None else min(newest.applied_at, event.at)
    return replace(panel, coats=(*panel.coats[:-1], replace(newest, applied_at=since)))


def _thumb_test(panel: Panel, event: Event) -> Panel:
    """Of the coat that was the newest then. While that was in its only pot, the coat below was felt; but whatever
    lies on a film is washed off the newest, whenever that was put on.
    """
    earlier = [index for index, coat in enumerate(panel.coats) if coat.mixed_at <= event.at]
    if not earlier:
        return panel
    test = ThumbTest(event.at, tuple(Word(word) for word in event.body["words"]), event.body.get("tile_C"))
    if (
        test.words[0] not in FILM_WORDS
        and len(earlier) > 1
        and _in_its_pot(panel.coats[earlier[-1]], event.at)
    ):
        earlier.pop()
    coats = list(panel.coats)
    of = coats[earlier[-1]]
    if any(_same_touch(test, other) for other in of.thumb_tests):
        return panel
    coats[earlier[-1]] = replace(of, thumb_tests=(*of.thumb_tests, test))
    return replace(panel, coats=tuple(coats))


def _same_touch(test: ThumbTest, other: ThumbTest) -> bool:
    """A button tapped several times says no more than tapped once."""
    return abs(test.at - other.at) <= TAP_MS and replace(test, at=other.at) == other


def _in_its_pot(coat: Coat, at: int) -> bool:
    return coat.last_pot_at is None and coat.applied_at is not None and at < coat.applied_at


STEPS: dict[str, Callable[[Panel, Event], Panel]] = {
    "coat mixed": _coat_mixed,
    "pot mixed": _pot_mixed,
    "coat applied": _coat_applied,
    "thumb test": _thumb_test,
    "washed": lambda panel, event: replace(panel, washed_at=event.at),
    "sanded": lambda panel, event: replace(panel, sanded_at=event.at),
    "demoulded": lambda panel, event: replace(panel, demoulded_at=event.at),
    "closed": lambda panel, event: replace(panel, closed=True),
}
