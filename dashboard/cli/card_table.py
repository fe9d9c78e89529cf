"""`coldshed check card`: what a card means, hours at each temperature from 0 to 35 degC."""

from __future__ import annotations

import argparse
import math
from pathlib import Path

from dashboard.cards import CardShelf, read_card
from dashboard.cli.errors import CommandError
from model.calibration import calibrate, card_central
from model.hold import hold
from model.milestones import RECOAT_LIMIT_H
from model.resin_card import Milestone, ResinCard

TABLE_C = (0, 5, 10, 11, 15, 20, 21, 25, 30, 35)


def check_card(arguments: argparse.Namespace) -> int:
    """The card's table: hours at each temperature, and the ratio to the sheet's own."""
    if arguments.file is None:
        raise CommandError("check card needs the card's file, or its id")
    card = _card(arguments)
    central = calibrate(card, card_central(card))
    columns = {T: hold(central, float(T)) for T in TABLE_C}
    reference = hold(central, card.reference_C)
    print(f"{card.title}\n{'INVENTED. ' if card.invented else ''}{card.source}")
    print(f"Hours held at one temperature, and how many times the hours at {card.reference_C:g} degC.")
    print(
        f"The card covers {card.minimum_C:g} to {card.maximum_C:g} degC; outside it the numbers are extrapolated.\n"
    )
    print(f"{'degC':>6}" + "".join(f"{item.value.replace('_', ' '):>18}" for item in reference))
    for T, hours in columns.items():
        cells = "".join(f"{_cell(item, hours[item], reference[item]):>18}" for item in reference)
        mark = " " if card.minimum_C <= T <= card.maximum_C else "*"
        print(f"{T:>5}{mark}{cells}")
    print("\n* outside the card's range. Nothing here has been compared with real resin.")
    if arguments.chart:
        _chart(card, arguments.chart)
    return 0


def _cell(item: Milestone, hours: float, reference: float) -> str:
    if item is Milestone.RECOAT_UNTIL:
        hours = min(hours, RECOAT_LIMIT_H)
    if not math.isfinite(hours):
        return "never"
    return (
        f"{hours:.2f} (x{hours / reference:.2f})"
        if hours < 1000
        else f"{hours:.0f} (x{hours / reference:.1f})"
    )


def _chart(card: ResinCard, path: Path) -> None:
    from dashboard.cli.chart import write_figure

    central = calibrate(card, card_central(card))
    held = {T: hold(central, float(T)) for T in range(36)}
    traces = [
        {"type": "scatter", "mode": "lines", "name": item.value.replace("_", " "), "x": list(held),
         "y": [hours[item] for hours in held.values()]}
        for item in held[20]
    ]  # fmt: skip
    axes = {
        "xaxis": {"title": {"text": "held at, degC"}},
        "yaxis": {"title": {"text": "hours"}, "type": "log"},
    }
    write_figure({"data": traces, "layout": {"title": {"text": card.title}, **axes}}, path)


def _card(arguments: argparse.Namespace) -> ResinCard:
    if arguments.file.suffix == ".toml":
        return read_card(arguments.file)
    shelf = CardShelf(arguments.settings.parent / "cards")
    card = shelf.get(str(arguments.file))
    if card is None:
        raise CommandError(
            f"no card is called {str(arguments.file)!r}; there are: {', '.join(shelf.names())}"
        )
    return card
