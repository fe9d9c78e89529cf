"""What is known of a lot when a coat is laid from it: taught by other coats, never by the coat itself."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from dashboard.panel import Coat, Panel
from model.lot import Lot, LotRange
from model.members import Members, Weights
from model.resin_card import ResinCard
from model.verdict import Say, Value

LotKey = tuple[str, str, str]
"""A card, a lot of its resin and one of its hardener: all three alike, or it is another lot."""


def lot_of(coat: Coat) -> LotKey | None:
    """None where somebody has not said both lots: it may be any."""
    if not coat.resin_lot or not coat.hardener_lot:
        return None
    return coat.card, coat.resin_lot, coat.hardener_lot


def lots_of(panel: Panel) -> frozenset[LotKey]:
    """Of all its coats."""
    return frozenset(key for coat in panel.coats if (key := lot_of(coat)) is not None)


def lots_between(before: Mapping[str, Panel], after: Mapping[str, Panel]) -> frozenset[LotKey]:
    """Lots of panels that are others than before: what they teach may have changed."""
    found: set[LotKey] = set()
    for name in before.keys() | after.keys():
        one, other = before.get(name), after.get(name)
        if one != other:
            found.update(*(lots_of(panel) for panel in (one, other) if panel is not None))
    return frozenset(found)


@dataclass(frozen=True)
class LotKnown:
    """panels   ids of those that taught it, in the order in which they were first felt, each once
    coats       how many of their coats did
    range       what they say
    """

    key: LotKey
    panels: tuple[str, ...]
    coats: int
    range: LotRange

    def weights(self, of: Members, card: ResinCard) -> Weights:
        """Of the card's members, before anybody has touched the coat."""
        return self.range.weights(of, card)

    @property
    def rate(self) -> float:
        """Its likely rate over the card's."""
        return math.exp(float(self.range.likely.mean[0]))

    def to_json(self) -> dict[str, Any]:
        """As plain JSON, to the last bit; inverse of from_json()."""
        plain = {
            name: {"mean": lot.mean.tolist(), "covariance": lot.covariance.tolist()}
            for name, lot in (("likely", self.range.likely), ("cautious", self.range.cautious))
        }
        return {"key": list(self.key), "panels": list(self.panels), "coats": self.coats, **plain}

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> LotKnown:
        """Raises KeyError, TypeError or ValueError for what to_json() did not make."""
        likely, cautious = (
            Lot(np.array(raw[name]["mean"], np.float64), np.array(raw[name]["covariance"], np.float64))
            for name in ("likely", "cautious")
        )
        card, resin, hardener = raw["key"]
        return cls(
            (card, resin, hardener), tuple(raw["panels"]), int(raw["coats"]), LotRange(likely, cautious)
        )


LEAST_OFF = 0.03
"""A lot nearer than this to its card's rate is as its card says."""


def lot_why(known: LotKnown) -> Say:
    """ "This lot: 2 panels say it is about 10 % slower than its card." """
    off = known.rate - 1.0
    who: dict[str, Value] = {} if len(known.panels) == 1 else {"panels": str(len(known.panels))}
    key = "why_lot" if who else "why_lot_one"
    if abs(off) < LEAST_OFF:
        return Say(f"{key}_as_card", who)
    return Say(key, {**who, "off_pc": 100.0 * abs(off), "pace": "quicker" if off > 0 else "slower"})
