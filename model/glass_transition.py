"""Glass transition of a curing epoxy as a function of conversion, and back.

DiBenedetto's equation in the form of J. P. Pascault and R. J. J. Williams, J. Polym. Sci. B 28, 1990:

    (Tg - Tg0) / (Tg_inf - Tg0) = L a / (1 - (1 - L) a)

Defaults are illustrative for a shop laminating epoxy and an aliphatic amine, not measured on any product.
"""

from __future__ import annotations

import numpy as np

from model.blocks import Floats

Numbers = float | Floats

LIQUID_C = -40.0
SHAPE = 0.4


def glass_transition(
    conversion: Numbers, full_C: Numbers, liquid_C: float = LIQUID_C, shape: float = SHAPE
) -> Floats:
    """Glass transition, degC, of the given conversion (0 to 1); arrays broadcast elementwise.

    full_C    Tg_inf, degC, at conversion 1; liquid_C  Tg0, degC, of the fresh mix; shape  L, 0 < L <= 1
    """
    a = np.asarray(conversion, dtype=np.float64)
    return np.asarray(liquid_C + (full_C - liquid_C) * (shape * a / (1.0 - (1.0 - shape) * a)))


def conversion_at(
    transition_C: Numbers, full_C: Numbers, liquid_C: float = LIQUID_C, shape: float = SHAPE
) -> Floats:
    """Conversion whose glass transition is `transition_C`, degC: the exact inverse of glass_transition().

    Answers below 0 (colder than the fresh mix's own transition) and above 1 (hotter than that of the full
    cure) continue the curve, for callers that compare a conversion with them. The curve's pole, far below
    any shop's temperature, is kept at arm's length: a transition lower than half way to it counts as that.
    """
    x = (np.asarray(transition_C, dtype=np.float64) - liquid_C) / (full_C - liquid_C)
    if shape < 1.0:
        x = np.maximum(x, -0.5 * shape / (1.0 - shape))
    return np.asarray(x / (shape + (1.0 - shape) * x))
