"""Time to a conversion at constant temperature, by quadrature of da / rate: exact where a stepper is not.

(a^m with m < 1 has no derivative at a = 0, so a stepper's first steps are poor, while the substitution below
makes the integrand smooth there.)
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from model.blocks import Floats
from model.glass_transition import Numbers
from model.kinetics import RateLaw

_CELLS = 96
_STRETCH = 5.0
_LAST = 16.0 ** (1.0 / _STRETCH)
"""The table ends at a = 1 - exp(-16): nothing in a shop comes near."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)


class ConversionTime:
    """Time x rate constant (no unit) from conversion 0 to a at one temperature, for N members; its inverse.

    law        the rate law; critical  a_c at that temperature, float64 (N,)

    tau(a) = integral from 0 to a of da / ((c + a^m) (1 - a)^n f_d). Substituted a = 1 - exp(-x^5), which is
    smooth at both ends, and summed by 6-point Gauss-Legendre over equal cells of x. Error below 1e-9.
    """

    def __init__(self, law: RateLaw, critical: Floats) -> None:
        self._law = law
        self._critical = critical
        self._cell = _LAST / _CELLS
        edges = self._cell * np.arange(_CELLS)[:, np.newaxis]
        x = (edges + 0.5 * self._cell * (1.0 + _NODES)).reshape(-1, 1)
        area = (self._density(x) * np.tile(0.5 * self._cell * _WEIGHTS, _CELLS)[:, np.newaxis]).reshape(
            _CELLS, len(_NODES), -1
        )
        self._table = np.zeros((_CELLS + 1, len(critical)))
        np.add.accumulate(area.sum(axis=1), axis=0, out=self._table[1:])

    def to(self, conversion: Numbers) -> Floats:
        """tau (N,) at the given conversion, one number or (N,); inf from the table's end on, 0 below 0."""
        a = np.broadcast_to(np.asarray(conversion, dtype=np.float64), self._critical.shape)
        end = 1.0 - np.exp(-(_LAST**_STRETCH))
        x = np.power(-np.log1p(-np.clip(a, 0.0, end)), 1.0 / _STRETCH)
        cell = np.minimum((x / self._cell).astype(np.int64), _CELLS - 1)
        return np.where(a >= end, np.inf, self._within(cell, x))

    def conversion(self, tau: Numbers) -> Floats:
        """Conversion (N,) reached after tau, one number or (N,); the table's last conversion if beyond it."""
        wanted = np.broadcast_to(np.asarray(tau, dtype=np.float64), self._critical.shape)
        cell = np.clip((self._table <= wanted).sum(axis=0) - 1, 0, _CELLS - 1)
        low = self._cell * cell
        x = low + 0.5 * self._cell
        for _ in range(12):  # Newton inside one cell of a smooth rising curve; 5 turns reach the last bit
            x = x - (self._within(cell, x) - wanted) / self._density(x)
            x = np.clip(x, np.maximum(low, 1e-12), low + self._cell)
        return np.asarray(-np.expm1(-np.power(x, _STRETCH)))

    def _within(self, cell: NDArray[np.int64], x: Floats) -> Floats:
        """tau at x (N,), which lies in `cell` (N,)."""
        low = self._cell * cell
        half = 0.5 * (x - low)
        points = low + half * (1.0 + _NODES[:, np.newaxis])
        part = (self._density(points) * _WEIGHTS[:, np.newaxis]).sum(axis=0) * half
        return np.asarray(self._table[cell, np.arange(len(self._critical))] + part)

    def _density(self, x: Floats) -> Floats:
        """d tau / d x; x broadcasts against (N,)."""
        w = np.power(x, _STRETCH)
        a = -np.expm1(-w)
        free = np.exp((self._law.n - 1.0) * w) / (self._law.c + np.power(a, self._law.m))
        return np.asarray(
            free * self._law.slowing(a, self._critical) * _STRETCH * np.power(x, _STRETCH - 1.0)
        )


def time_between(rate: Callable[[Floats], Floats], start: float, end: float) -> float:
    """Time from conversion `start` to `end` of any rate function da/dt = rate(a), in the rate's time unit.

    The rate must be positive on [start, end]. Double-exponential (tanh-sinh) rule of H. Takahasi and M. Mori,
    Publ. RIMS 9, 1974 (citation from memory): unharmed by a^m at 0 and by a run's end just beyond `end`.
    Raises ValueError unless 0 <= start <= end.
    """
    if not 0.0 <= start <= end:
        raise ValueError(f"conversion must run upwards from 0 or more; asked for {start} to {end}")
    step = 1.0 / 64.0
    t = step * np.arange(-288, 289)
    s = np.pi * np.sinh(t)
    share = 1.0 / (1.0 + np.exp(-s))
    width = share / (1.0 + np.exp(s)) * np.pi * np.cosh(t)
    return float(((end - start) * step * width / rate(start + (end - start) * share)).sum())
