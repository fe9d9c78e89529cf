"""The words of `coldshed log`: what was done to a panel, each with what may be said of it."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]

DONE: dict[str, tuple[str, str]] = {
    "applied": ("coat applied", "the newest coat is on, its pot is empty"),
    "washed": ("washed", "washed with water and wiped dry"),
    "wiped": ("wiped", "wiped with solvent, which clears no blush"),
    "sanded": ("sanded", "sanded dull"),
    "trimmed": ("trimmed", "trimmed with a knife"),
    "peel-ply-off": ("peel ply off", "the peel ply came off"),
    "clamps-off": ("clamps off", "the clamps came off"),
    "tape-pulled": ("tape pulled", "the masking tape was pulled"),
    "heat-off": ("heat off", "the heater was switched off"),
    "demoulded": ("demoulded", "taken off its mould"),
    "close": ("closed", "watching ends; the log stays"),
}
"""What nothing more is said of: the entry's kind, and the help."""
REASONED: dict[str, tuple[str, str]] = {
    "hold": ("held", "nobody works on it until it is released"),
    "release": ("released", "it may go on"),
    "scrap": ("scrapped", "watching ends; log and record stay"),
}
"""What wants a reason."""


def add(commands: Subparsers, command: Callable[..., argparse.ArgumentParser]) -> None:
    """Adds `log` to the program's commands; `command` makes one of them."""
    top = command(commands, "log", "log what was done to a panel, or correct an entry", "log:log")
    acts = top.add_subparsers(dest="what", required=True, metavar="WHAT")
    for word, (_, text) in DONE.items():
        _act(acts, word, text)
    for word, (_, text) in REASONED.items():
        _act(acts, word, text).add_argument("--reason", required=True, help="why, in one line")
    _act(acts, "heat-on", "the heater was switched on").add_argument(
        "--hold", type=float, help="what its thermostat holds, degC"
    )
    _act(acts, "note", "something to remember").add_argument("text")
    _act(acts, "photo", "a picture of it").add_argument(
        "file", type=Path, help="JPEG, PNG or WebP, up to 8 MB"
    )
    _coats(acts)
    _description(acts)
    _corrections(acts)


def _act(acts: Subparsers, word: str, text: str) -> argparse.ArgumentParser:
    act = acts.add_parser(word, help=text, description=text[0].upper() + text[1:] + ".")
    act.add_argument("name", metavar="PANEL", help="the panel's name")
    act.add_argument("--at", help="when it happened, time of the shop, e.g. 2026-01-10T18:20 (default: now)")
    act.add_argument("--who", default="command", help="who did it")
    return act


def _pot(act: argparse.ArgumentParser) -> None:
    act.add_argument("--resin", type=float, dest="resin_g", help="poured, g")
    act.add_argument("--hardener", type=float, dest="hardener_g", help="poured, g")
    act.add_argument("--asked", type=float, dest="asked_g", help="to be mixed, g: nobody has weighed it yet")
    act.add_argument("--vessel", choices=("cup", "tray"))
    act.add_argument("--bottles", type=float, dest="bottles_C", help="temperature of the bottles, degC")
    stirred = act.add_mutually_exclusive_group()
    stirred.add_argument("--stirred", action="store_true", default=None, help="stirred, scraped, stirred")
    stirred.add_argument("--not-stirred", action="store_false", dest="stirred", default=None)


def _coats(acts: Subparsers) -> None:
    coat = _act(acts, "coat", "a coat was mixed")
    coat.add_argument("--card", help="the resin card's id (default: as planned)")
    coat.add_argument(
        "--kind", help="seal, laminate, fill, fairing, fillet, glue line or in-mould (default: as planned)"
    )
    coat.add_argument("--peel-ply", action="store_true", help="peel ply goes on it")
    coat.add_argument("--taped", action="store_true", help="masked with tape that is to be pulled")
    coat.add_argument("--resin-lot")
    coat.add_argument("--hardener-lot")
    _pot(coat)
    _pot(_act(acts, "pot", "another pot of the newest coat was mixed"))
    weights = _act(acts, "weights", "what was poured, told later")
    weights.add_argument("--of", help="the entry that mixed it (default: the newest pot); see log list")
    _pot(weights)


def _description(acts: Subparsers) -> None:
    move = _act(acts, "move", "it was carried to another place")
    move.add_argument("--zone", required=True)
    move.add_argument("--surface", help="the probe on it there")
    move.add_argument("--air", help="the probe in the air there")
    change = _act(acts, "describe", "its name or what it is laid on is said anew")
    change.add_argument("--rename")
    change.add_argument("--substrate")
    change.add_argument("--vertical", choices=("yes", "no"), help="whether it stands or hangs")
    plan = _act(acts, "plan", "its coats in order, those that are laid first")
    plan.add_argument("coats", nargs="+", metavar="KIND[:CARD]", help='e.g. seal:own-25min "glue line" fill')


def _corrections(acts: Subparsers) -> None:
    _act(acts, "list", "its entries, each with the id to correct it by")
    back = _act(acts, "back", "an entry is taken back; it stays readable")
    back.add_argument("entry", help="id; see log list")
    back.add_argument("--reason", help="why")
    retime = _act(acts, "retime", "an entry happened at another time; what was said first stays readable")
    retime.add_argument("entry", help="id; see log list")
    retime.add_argument("--to", required=True, help="when it really happened, time of the shop")
    retime.add_argument("--reason", help="why")
