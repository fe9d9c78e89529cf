"""Facts about one panel, made by hand: temperatures as a function of the hour since mixing."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from importlib.resources import files

import numpy as np

from collector.reading import ProbeFacts, Quality, Quantity
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.facts import Facts
from dashboard.follow import Trace
from dashboard.panel import Coat, Panel
from model.resin_card import ResinCard, parse_card

HOUR_MS = 3_600_000
MIXED = 1_795_629_600_000
"""2026-11-25 18:00 UTC, a whole hour."""


def card(name: str = "invented-25min", *, own: bool = True) -> ResinCard:
    """A shipped card; `own` takes the mark of invention off, as if the shop had copied a sheet of its own."""
    text = (files("model") / "resin_cards" / f"{name}.toml").read_text(encoding="utf-8")
    return replace(parse_card(tomllib.loads(text)), invented=not own)


def trace(
    probe: str,
    quantity: Quantity,
    value: Callable[[float], float],
    *,
    until_h: float,
    since_h: float = -30.0,
    interval_s: float = 60.0,
    missing: tuple[float, float] | None = None,
    quality: Callable[[float], Quality] = lambda hour: Quality.GOOD,
) -> Trace:
    """A series from since_h to until_h after mixing, with the hours of `missing` left out."""
    t = np.arange(
        MIXED + round(since_h * HOUR_MS), MIXED + round(until_h * HOUR_MS) + 1, round(1000 * interval_s)
    )
    hours = (t - MIXED) / HOUR_MS
    if missing is not None:
        keep = (hours <= missing[0]) | (hours >= missing[1])
        t, hours = t[keep], hours[keep]
    values = np.array([value(hour) for hour in hours])
    flags = np.array([int(quality(hour)) for hour in hours], dtype=np.int64)
    facts = ProbeFacts(probe, "shed", "surface", interval_s, 0.8)
    return Trace.of(facts, quantity, t.astype(np.int64), values, flags)


def night(
    surface: Callable[[float], float],
    hours: float,
    *,
    of: ResinCard | None = None,
    humidity: float | None = 60.0,
    air: Callable[[float], float] | None = None,
    missing: tuple[float, float] | None = None,
    silent_from: float | None = None,
    washed_h: float | None = None,
    with_surface: bool = True,
    coats_h: tuple[float, ...] = (0.0,),
) -> Facts:
    """A panel mixed at MIXED with a surface probe and air at `humidity` % (None: nobody measures it)."""
    chosen = of or card()
    until = hours if silent_from is None else silent_from
    over = air or surface
    panel = Panel(
        id="lid-4",
        name="Lid 4",
        zone="shed",
        surface_probe="S1" if with_surface else None,
        air_probe="A1",
        substrate="wood",
        coats=tuple(
            Coat(
                number,
                chosen.id,
                MIXED + round(h * HOUR_MS),
                MIXED + round(h * HOUR_MS),
                "laminate",
                f"e{number}",
            )
            for number, h in enumerate(coats_h, start=1)
        ),
        washed_at=None if washed_h is None else MIXED + round(washed_h * HOUR_MS),
    )
    moist = None
    if humidity is not None:
        moist = trace("A1", Quantity.RELATIVE_HUMIDITY, lambda hour: humidity, until_h=hours)
    return Facts(
        panel=panel,
        cards={chosen.id: chosen},
        surface=trace("S1", Quantity.TEMPERATURE, surface, until_h=until, missing=missing)
        if with_surface
        else None,
        air=trace("A1", Quantity.TEMPERATURE, over, until_h=hours),
        humidity=moist,
        batch=1,
    )


def after(surface: Callable[[float], float], hours: float, **more: object) -> Assessment:
    """The assessment so many hours after mixing."""
    return assess(night(surface, hours, **more), MIXED + round(hours * HOUR_MS))  # type: ignore[arg-type]
