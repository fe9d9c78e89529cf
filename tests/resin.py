"""What tests of curing share: the shipped cards, a card of round numbers, steady histories."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

import numpy as np

from model.blocks import MINUTE_MS, Blocks
from model.resin_card import ResinCard, parse_card

HOUR_MS = 3_600_000
SHIPPED = (
    "invented-15min",
    "invented-25min",
    "invented-45min",
    "invented-90min",
    "invented-clear",
    "invented-winter",
)


def raw_card(name: str = "invented-25min") -> dict[str, Any]:
    """A shipped card as TOML gives it."""
    return tomllib.loads((files("model") / "resin_cards" / f"{name}.toml").read_text(encoding="utf-8"))


def shipped(name: str = "invented-25min") -> ResinCard:
    return parse_card(raw_card(name))


def medium_sheet() -> ResinCard:
    """An invented medium sheet at 21 degC with the times 2.5, 8, 16, 24 and 168 h."""
    raw = raw_card()
    raw["reference_temperature_degC"] = 21
    raw["film"] = {
        "working_h": 1.5,
        "recoat_from_h": 2.5,
        "recoat_until_h": 8,
        "sand_h": 16,
        "demould_h": 24,
        "full_cure_h": 168,
    }
    return parse_card(raw)


def blocks(panel_C: Sequence[float] | np.ndarray, start: int = 0) -> Blocks:
    """A measured history, one temperature a minute."""
    panel = np.array(panel_C, dtype=np.float64)
    return Blocks(start, panel, panel, panel, np.ones(len(panel), dtype=bool), np.zeros(len(panel)))


def steady(panel_C: float, hours: float, start: int = 0) -> Blocks:
    return blocks(np.full(round(hours * HOUR_MS / MINUTE_MS), panel_C), start)
