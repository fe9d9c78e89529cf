"""What a coat is for, and which milestones it has beside those of every film."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from model.film_times import Milestone

FILLET_WARMER_K = 10.0
"""How much warmer than the panel the inside of a fillet is taken to be where something closes.

Our own figure, no measurement: this model's laminate of an invented medium card with 30 % filler by weight, on
plywood at 20 degC, rises 4 K in a slab of 1.5 mm and 14 K in one of 3 mm, which lose their heat as fillets of 10 and
20 mm radius do. Its heat is that of a small pot, which no film's time tells.
"""


class CoatKind(StrEnum):
    """What a coat is for."""

    SEAL = "seal"
    LAMINATE = "laminate"
    FILL = "fill"
    FAIRING = "fairing"
    FILLET = "fillet"
    GLUE_LINE = "glue line"
    IN_MOULD = "in-mould"


@dataclass(frozen=True)
class Rules:
    """more      milestones beside those of every film
    warmer_K  how much warmer than the panel it is inside, K: what closes counts by that, what opens by the panel
    """

    more: frozenset[Milestone] = frozenset()
    warmer_K: float = 0.0


PLAIN = Rules()
_TRIM = frozenset({Milestone.TRIM_FROM, Milestone.TRIM_UNTIL})
RULES: Mapping[CoatKind, Rules] = {
    CoatKind.SEAL: PLAIN,
    CoatKind.LAMINATE: Rules(_TRIM),
    CoatKind.FILL: PLAIN,
    CoatKind.FAIRING: Rules(frozenset({Milestone.CARVE_FROM, Milestone.CARVE_UNTIL})),
    CoatKind.FILLET: Rules(warmer_K=FILLET_WARMER_K),
    CoatKind.GLUE_LINE: Rules(frozenset({Milestone.CLAMPS_OFF})),
    CoatKind.IN_MOULD: Rules(_TRIM),
}


def rules_of(kind: CoatKind, peel_ply: bool = False, taped: bool = False) -> Rules:
    """Of a coat of that kind, with peel ply on it, or masked with tape."""
    rules = RULES[kind]
    if peel_ply:
        rules = replace(rules, more=rules.more | {Milestone.PEEL_PLY_OFF})
    if taped:
        rules = replace(rules, more=rules.more | {Milestone.TAPE_UNTIL})
    return rules
