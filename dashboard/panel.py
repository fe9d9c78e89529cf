"""A panel, as what people did and said of it makes it. Times are UTC ms, masses g, temperatures degC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from hashlib import blake2b
from typing import Any

from model.coat_kinds import CoatKind as CoatKind
from model.observation import Word


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
    patchy   hard here and soft there: it was not stirred
    sure     False: it was unlikely when it was logged, and nobody has confirmed it; then it teaches nothing
    event    the entry it was logged with
    """

    at: int
    words: tuple[Word, ...]
    tile_C: float | None
    patchy: bool = False
    sure: bool = True
    event: str = field(default="", compare=False)


@dataclass(frozen=True)
class Hardness:
    """A reading of a hardness tester on the part or on a tile made with it, at_C warm."""

    at: int
    scale: str
    value: float
    on: str
    at_C: float


@dataclass(frozen=True)
class Pot:
    """One pot of a coat; `event` is the entry that mixed it. None: nobody has said.

    asked_g   what was to be mixed: no proof that it was
    resin_g, hardener_g   what was poured, as weighed
    stirred   stirred, scraped and stirred again
    """

    mixed_at: int
    event: str = ""
    resin_g: float | None = None
    hardener_g: float | None = None
    vessel: str | None = None
    bottles_C: float | None = None
    stirred: bool | None = None
    asked_g: float | None = None

    @property
    def mass_g(self) -> float | None:
        """Of what was poured; None unless both were weighed."""
        if self.resin_g is None or self.hardener_g is None:
            return None
        return self.resin_g + self.hardener_g

    @property
    def standing_g(self) -> float | None:
        """What stands in the vessel: poured, or asked for as long as nobody has weighed it."""
        return self.mass_g if self.mass_g is not None else self.asked_g


@dataclass(frozen=True)
class Coat:
    """One coat: number from 1; `applied_at` is None until somebody says, then mixing time stands for it.

    pots      the first, mixed at mixed_at, and those after it; empty where nobody keeps them
    peel_ply  whether peel ply lies on it; it came off at peel_ply_off_at
    taped     masked with tape that is to be pulled
    """

    number: int
    card: str
    mixed_at: int
    applied_at: int | None
    kind: str
    event: str
    pots: tuple[Pot, ...] = ()
    peel_ply: bool = False
    peel_ply_off_at: int | None = None
    taped: bool = False
    resin_lot: str | None = None
    hardener_lot: str | None = None
    thumb_tests: tuple[ThumbTest, ...] = ()
    hardness: tuple[Hardness, ...] = ()

    @property
    def last_pot_at(self) -> int | None:
        """When the last of its pots was mixed; None if there was only the first, at mixed_at."""
        return max(pot.mixed_at for pot in self.pots) if len(self.pots) > 1 else None


@dataclass(frozen=True)
class Stay:
    """Where a panel was from `since` on, and which probes stood for it there."""

    since: int
    zone: str
    surface_probe: str | None
    air_probe: str | None


@dataclass(frozen=True)
class Hold:
    """Nobody works on it until it is released."""

    since: int
    who: str
    reason: str


@dataclass(frozen=True)
class Grant:
    """Somebody granted demoulding on evidence."""

    at: int
    who: str


@dataclass(frozen=True)
class PlannedCoat:
    """A coat that is to come; card None: not chosen yet."""

    kind: str
    card: str | None = None


@dataclass(frozen=True)
class Panel:
    """A panel as its events leave it.

    zone, surface_probe, air_probe   where it is now; `stays` has all of it where it was moved, else nothing
    plan         its coats in order, those that are laid among them
    vertical     it stands or hangs: resin runs before it gels
    heated_since when the heater on it was switched on, None: it is off
    washed_by    who washed it at washed_at; a name changes no answer, so it is not of the `mark`
    granted      demoulding, since the newest coat; whether that still stands tells dashboard.evidence
    closed       nobody watches it any more; `scrapped` says why, if it was
    """

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
    vertical: bool = False
    plan: tuple[PlannedCoat, ...] = ()
    stays: tuple[Stay, ...] = ()
    wiped_at: int | None = None
    trimmed_at: int | None = None
    clamps_off_at: int | None = None
    tape_pulled_at: int | None = None
    heated_since: int | None = None
    hold: Hold | None = None
    scrapped: str | None = None
    granted: Grant | None = None
    washed_by: str = field(default="", repr=False)

    @cached_property
    def mark(self) -> str:
        """Another one with every entry that changes the panel: what was worked out before it is no answer any more."""
        return blake2b(repr(self).encode(), digest_size=8).hexdigest()

    @property
    def newest(self) -> Coat | None:
        return self.coats[-1] if self.coats else None

    @property
    def next_planned(self) -> PlannedCoat | None:
        """The coat that comes next by the plan; None: nothing is planned past what is laid."""
        return self.plan[len(self.coats)] if len(self.coats) < len(self.plan) else None

    @property
    def probes(self) -> frozenset[str]:
        """All that stand or stood for it."""
        named = [self.surface_probe, self.air_probe]
        named += [probe for stay in self.stays for probe in (stay.surface_probe, stay.air_probe)]
        return frozenset(probe for probe in named if probe)
