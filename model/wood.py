"""Bare wood: air in its pores blows bubbles through a film while the wood warms, and water keeps it from bonding.

Coat wood while it cools: the air in the pores shrinks and draws the resin in. All limits here are common practice,
no source, or our own choice where it says so; none has been compared with real films.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from model.blocks import Floats
from model.units import ZERO_C_K

MOISTURE_CAUTION_PC = 12.0
MOISTURE_NO_PC = 16.0
"""The trade says 16 to 18 %; the lower end is taken."""
RISE_CAUTION_K = 0.5
"""Our own choice: twice what cheap probes resolve."""
RISE_NO_K = 2.0
"""Our own choice: the air in the pores then grows by 0.7 %, a fifth of a litre for a square metre of 40 mm of wood
with three quarters of it pores.
"""


class Advice(StrEnum):
    """Whether bare wood may be coated, as far as this one thing goes."""

    GO = "go"
    CAUTION = "caution"
    NO = "no"


@dataclass(frozen=True)
class Outgassing:
    """What warming does to a film on bare wood before it gels.

    rise_K       largest rise from any minute to a later one, 0 if it only cools
    from_minute, to_minute   where that rise begins and ends, indices into the temperatures given
    growth_pc    by how much the air in the pores grows meanwhile at constant pressure, %
    """

    advice: Advice
    rise_K: float
    from_minute: int
    to_minute: int
    growth_pc: float


def moisture_advice(moisture_pc: float) -> Advice:
    """For bare wood of this moisture, % of its dry mass, 0 to 200: caution above 12 %, no above 16 %.

    Common practice, no source. Raises ValueError outside 0 to 200 %.
    """
    if not 0.0 <= moisture_pc <= 200.0:
        raise ValueError(f"wood moisture {moisture_pc!r} %: allowed is 0 to 200 % of the dry mass")
    if moisture_pc > MOISTURE_NO_PC:
        return Advice.NO
    return Advice.CAUTION if moisture_pc > MOISTURE_CAUTION_PC else Advice.GO


def outgassing(wood_C: Floats) -> Outgassing:
    """What the wood's own temperature does between application and gel, from measured or forecast minutes.

    wood_C (n,) degC, one value a minute, n at least 1, -50 to 100 degC. The growth is the ideal gas law's at
    constant pressure. Raises ValueError for none, or values that are not in range.
    """
    wood = np.asarray(wood_C, dtype=np.float64)
    if wood.ndim != 1 or not len(wood):
        raise ValueError(f"wood_C {wood.shape}: it needs one temperature a minute, at least one")
    if not np.all((wood >= -50.0) & (wood <= 100.0)):
        raise ValueError("wood_C must lie between -50 and 100 degC in every minute")
    coolest = np.minimum.accumulate(wood)
    end = int(np.argmax(wood - coolest))
    begin = int(np.argmin(wood[: end + 1]))
    rise = float(wood[end] - wood[begin])
    advice = Advice.NO if rise > RISE_NO_K else Advice.CAUTION if rise > RISE_CAUTION_K else Advice.GO
    return Outgassing(advice, rise, begin, end, 100.0 * rise / (float(wood[begin]) + ZERO_C_K))


def cools_from(wood_C: Floats) -> int | None:
    """First minute from which the wood does not rise by more than RISE_CAUTION_K any more; None if at the end it
    still does. Shape, range and errors as outgassing().

    Where this comes after the dew-point margin closes, no hour suits both: warm the wood first, heater off, coat.
    """
    wood = np.asarray(wood_C, dtype=np.float64)
    outgassing(wood)
    warmest_ahead = np.maximum.accumulate(wood[::-1])[::-1]
    calm = warmest_ahead - wood <= RISE_CAUTION_K
    warming = np.flatnonzero(~calm)
    if not len(warming):
        return 0
    left = wood[int(warming[-1]) + 1 :]
    # Shortly before the end too little lies ahead to tell: if it still rises there, nothing is known.
    return None if left[-1] == np.max(left) else int(warming[-1]) + 1
