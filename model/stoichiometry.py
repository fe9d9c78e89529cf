"""Epoxy and amine by the numbers: parts per hundred, heat of reaction, gel point, and what a wrong ratio leaves.

Weights per equivalent: EEW of the resin (g per mole of epoxide), AHEW of the hardener (g per mole of active
hydrogen), g/eq. `ratio` is always active hydrogens over epoxides: 1 balanced, above 1 too much hardener.
"""

from __future__ import annotations

import math


def parts_per_hundred(EEW: float, AHEW: float) -> float:
    """Grams of hardener for 100 g of resin at ratio 1, by definition of the two weights (g/eq)."""
    _positive(EEW=EEW, AHEW=AHEW)
    return 100.0 * AHEW / EEW


def heat_of_reaction_J_g(EEW: float, AHEW: float, heat_kJ_mol: float = 100.0) -> float:
    """Heat of full cure of a gram of balanced mix, J/g, from the heat of opening a mole of epoxide, kJ/mol.

    98 to 110 kJ/mol is what epoxy-amine cures are found to give (value from memory).
    """
    _positive(EEW=EEW, AHEW=AHEW)
    return 1e3 * heat_kJ_mol / (EEW + AHEW)


def gel_conversion(amine_functionality: int = 4, epoxy_functionality: int = 2, ratio: float = 1.0) -> float:
    """Conversion of epoxide at the gel point: sqrt(ratio / ((f - 1) (g - 1))), after Flory and Stockmayer.

    f active hydrogens in a molecule of hardener, g epoxides in one of resin. Of hydrogens the conversion
    there is this over `ratio`. Rings, which the theory leaves out, make real mixes gel a little later. It may
    lie beyond what the mix can reach (reachable_conversion): such a mix never gels. Raises ValueError unless
    (f - 1)(g - 1) > 1, below which no network forms, and ratio > 0.
    """
    _positive(ratio=ratio)
    branching = (amine_functionality - 1) * (epoxy_functionality - 1)
    if branching <= 1 or epoxy_functionality < 2:
        raise ValueError(
            f"functionalities {amine_functionality} and {epoxy_functionality} build chains, no network; "
            "one must be 2 or more and the other 3 or more"
        )
    return math.sqrt(ratio / branching)


def reachable_conversion(ratio: float) -> float:
    """Conversion of epoxide after all the time in the world: what lacks hydrogens stops at `ratio`, 0 to 1."""
    _positive(ratio=ratio)
    return min(ratio, 1.0)


def unreacted_hardener(ratio: float) -> float:
    """Share of the hardener's hydrogens that never find an epoxide, 0 to 1."""
    _positive(ratio=ratio)
    return max(1.0 - 1.0 / ratio, 0.0)


def bonded_share(ratio: float) -> float:
    """Share of all reactive groups of the mix that can react, 0 to 1; 1 only at ratio 1.

    Two groups go into every bond: 2 min(1, ratio) / (1 + ratio). It falls on both sides of the balance, which
    is why neither more nor less hardener makes a mix better.
    """
    _positive(ratio=ratio)
    return 2.0 * min(1.0, ratio) / (1.0 + ratio)


def gels(ratio: float, amine_functionality: int = 4, epoxy_functionality: int = 2) -> bool:
    """Whether the mix can gel at all."""
    return reachable_conversion(ratio) >= gel_conversion(amine_functionality, epoxy_functionality, ratio)


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{name} must be a number above 0; got {value:g}")
