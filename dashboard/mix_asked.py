"""What somebody asks of a mix, from an address: the same names for the page, the API and a bookmark.

A name that holds a measured number ends in its unit (area_m2 or area_ft2, bottles_C or bottles_F), so that an address
means the same whatever the shop prefers to see.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import get_args

from dashboard.measures import FIELDS, Field
from dashboard.mix_hour import Asked, Onto, onto_of
from dashboard.panel import Panel
from model.layup import FIBRE_FRACTION, Cloth, Ply

AREA_M2 = (0.001, 500.0)
CLOTH_GM2 = (10.0, 3000.0)
AMOUNT_G = (1.0, 100_000.0)
BOTTLES_C = (-10.0, 60.0)
MOST_CLOTHS = 8
MOST_PLIES, MOST_TOOLS, MOST_FILLS = 50, 20, 10
WETTEST_PC = 200.0
USUAL_CLOTH = next(iter(Cloth))
VESSELS = ("cup", "tray")
LONGEST = 200
"""Characters of a value that are looked at."""


class AskError(ValueError):
    """Something asked makes no sense; the text says what, and what is allowed."""


class Given:
    """Names and values of an address, each as text; a name may come several times."""

    def __init__(self, pairs: Iterable[tuple[str, str]]) -> None:
        self._pairs = [(name, text[:LONGEST]) for name, text in pairs]

    def get(self, name: str) -> str:
        """The first of that name, without blanks around it; "" if there is none."""
        return next((text.strip() for key, text in self._pairs if key == name), "")

    def getlist(self, name: str) -> list[str]:
        """All of that name, in their order."""
        return [text.strip() for key, text in self._pairs if key == name]


@dataclass(frozen=True)
class ClothAsked:
    """So many plies of one cloth, g/m2 of each."""

    weight_gm2: float
    plies: int
    kind: Cloth

    @property
    def ply(self) -> Ply:
        return Ply(self.weight_gm2, FIBRE_FRACTION[self.kind], self.plies)


@dataclass(frozen=True)
class MixAsked:
    """One mix. amount_g: just so much, g, whatever the rest says; fills: fill coats to come after it."""

    area_m2: float | None = None
    cloths: tuple[ClothAsked, ...] = ()
    peel: bool = False
    tools: int = 1
    fills: int = 0
    amount_g: float | None = None
    tray: bool = False
    upright: bool = False


def asked_of(given: Given, panel: Panel) -> Asked:
    """The bottle check, and what the coat goes onto. Raises AskError."""
    onto = given.get("onto") or onto_of(panel)
    if onto not in get_args(Onto):
        raise AskError(f"onto: {onto!r} is none of {', '.join(get_args(Onto))}")
    return Asked(
        onto=onto,  # type: ignore[arg-type]  # looked at just above
        bottles_C=measured(given, "bottles", BOTTLES_C),
        wood_pc=_number("wood_pc", given.get("wood_pc"), (0.0, WETTEST_PC), "%"),
        cloudy=_tick(given, "cloudy"),
        crusted=_tick(given, "crusted"),
    )


def mix_of(given: Given) -> MixAsked:
    """The mix; cloths come as lines of weight, plies and kind. Raises AskError."""
    return MixAsked(
        area_m2=measured(given, "area", AREA_M2),
        cloths=_cloths(given),
        peel=_tick(given, "peel"),
        tools=_count("tools", given.get("tools"), 0, MOST_TOOLS, 1),
        fills=_count("fills", given.get("fills"), 0, MOST_FILLS, 0),
        amount_g=measured(given, "amount", AMOUNT_G),
        tray=_word("vessel", given.get("vessel"), VESSELS) == "tray",
        upright=_tick(given, "upright"),
    )


def measured(given: Given, name: str, allowed: tuple[float, float]) -> float | None:
    """One quantity in SI, in whichever of its units it was given; None if it was left empty. Raises AskError."""
    fields = FIELDS[name].values()
    found = [(field, text) for field in fields if (text := given.get(f"{name}_{field.end}"))]
    if len(found) > 1:
        raise AskError(
            f"{name} is given twice, as {' and '.join(f'{name}_{f.end}' for f, _ in found)}: give one"
        )
    if not found:
        return None
    field, text = found[0]
    return _within(f"{name}_{field.end}", text, allowed, field)


def _cloths(given: Given) -> tuple[ClothAsked, ...]:
    """Lines without a weight count for nothing, but what stands in them is looked at."""
    given_in = {field: given.getlist(f"cloth_{field.end}") for field in FIELDS["cloth"].values()}
    told = [field for field, texts in given_in.items() if any(texts)]
    if len(told) > 1:
        raise AskError(f"cloth is given twice, as {' and '.join(f'cloth_{f.end}' for f in told)}: give one")
    plies = [_count("plies", text, 1, MOST_PLIES, 1) for text in _few(given, "plies")]
    kinds = [
        Cloth(_word("weave", text, tuple(item.value for item in Cloth))) for text in _few(given, "weave")
    ]
    found = []
    for field in told:
        for row, text in enumerate(_few(given, f"cloth_{field.end}")):
            if text:
                weight = _within(f"cloth_{field.end}", text, CLOTH_GM2, field)
                count = plies[row] if row < len(plies) else 1
                found.append(ClothAsked(weight, count, kinds[row] if row < len(kinds) else USUAL_CLOTH))
    return tuple(found)


def _few(given: Given, name: str) -> list[str]:
    texts = given.getlist(name)
    if len(texts) > MOST_CLOTHS:
        raise AskError(f"{name}: {len(texts)} lines; at most {MOST_CLOTHS} are taken")
    return texts


def _within(name: str, text: str, allowed: tuple[float, float], field: Field) -> float:
    low, high = (field.of_si(end) for end in allowed)
    value = _number(name, text, (low, high), field.unit)
    return field.to_si(value if value is not None else math.nan)


def _number(name: str, text: str, allowed: tuple[float, float], unit: str) -> float | None:
    if not text:
        return None
    low, high = allowed
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise AskError(f"{name}: {text[:20]!r} is not a number from {low:.4g} to {high:.4g} {unit}")
    return value


def _count(name: str, text: str, low: int, high: int, default: int) -> int:
    if not text:
        return default
    if not text.isdecimal() or not low <= int(text) <= high:
        raise AskError(f"{name}: {text[:20]!r} is not a whole number from {low} to {high}")
    return int(text)


def _word(name: str, text: str, allowed: Sequence[str]) -> str:
    if text and text not in allowed:
        raise AskError(f"{name}: {text[:20]!r} is none of {', '.join(allowed)}")
    return text or allowed[0]


def _tick(given: Given, name: str) -> bool:
    return bool(given.get(name))
