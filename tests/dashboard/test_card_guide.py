"""The guide to copying a data sheet into a card says what a card takes."""

from __future__ import annotations

import re
import textwrap
import tomllib
from dataclasses import fields
from importlib.resources import files

from model.energy_fit import card_energy
from model.resin_card import BEFORE_GEL, HARDNESS, Film, parse_card
from tests.resin import raw_card

GUIDE = (files("dashboard") / "help" / "card_guide.md").read_text(encoding="utf-8")


def test_the_guides_columns_are_a_card() -> None:
    """Its [[film_at]] tables, word for word, on a shipped card: read, and used for the energy."""
    written = textwrap.dedent("\n".join(re.findall(r"^(?: {4}.*)$", GUIDE, re.MULTILINE)))
    card = parse_card(raw_card() | tomllib.loads(written))
    assert [column.temperature_C for column in card.columns] == [10.0, 30.0]
    assert card_energy(card).points == sum(
        column.hours(milestone) is not None for column in card.columns for milestone in BEFORE_GEL
    )


def test_the_guide_names_every_hardness_a_card_takes() -> None:
    assert {key for key in HARDNESS if f"`{key}`" not in GUIDE} == set()


def test_the_guide_names_every_key_of_a_card() -> None:
    raw = raw_card()
    times = {"full_cure_h"} | {f"{item.name}_h" for item in fields(Film) if item.name != "cured"}
    keys = times | set(raw["pot"]) | set(raw["film"]) | {key for key in raw if key not in ("id", "title")}
    missing = {key for key in keys if f"`{key}" not in GUIDE and f"`[{key}]`" not in GUIDE}
    assert not missing
