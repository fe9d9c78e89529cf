"""The transparent baseline: degree-hours and equivalent age, sums a person can check by hand.

Every function takes a history as times and temperatures, linear in between, and gives one number. They
integrate over the segments they are given; `longest_h` leaves out segments longer than that, so that a gap
adds nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from model.blocks import Floats
from model.units import ZERO_C_K

R_J_MOL_K = 8.314462618
"""Molar gas constant (CODATA 2018, exact)."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)


def temperature_time_factor_Ch(
    t_h: Floats, T_C: Floats, datum_C: float, *, longest_h: float = math.inf
) -> float:
    """Nurse-Saul temperature-time factor, degC h: the area of the history above the datum, crossings exact.

    t_h (n,) hours, increasing; T_C (n,) degC. 10 to 0 degC in an hour above 5 degC is 1.25 degC h. Raises
    ValueError for other shapes, times out of order or values that are not finite. Source: the definition of
    ASTM C1074, except that a segment crossing the datum counts its part above instead of its mean.
    """
    return math.fsum(_above(*_segments(t_h, T_C, longest_h), datum_C))


def temperature_time_factor_interval_mean_Ch(
    t_h: Floats, T_C: Floats, datum_C: float, *, longest_h: float = math.inf
) -> float:
    """Temperature-time factor by the tables' rule, degC h: sum of (Ta - datum) dt, Ta the mean of an
    interval's ends.

    Below the datum an interval adds zero (common practice, no source). Shapes, errors and source as
    temperature_time_factor_Ch().
    """
    dt, a, b = _segments(t_h, T_C, longest_h)
    return math.fsum(np.maximum(0.5 * (a + b) - datum_C, 0.0) * dt)


def equivalent_age_h(
    t_h: Floats, T_C: Floats, E_J_mol: float, T_ref_C: float, *, longest_h: float = math.inf
) -> float:
    """Arrhenius equivalent age at T_ref_C, hours, exact on each linear segment (5-point Gauss-Legendre).

    Integral of exp[-E/R (1/T - 1/T_ref)] dt. On a ramp of 20 K the quadrature errs by less than 1e-12 of the
    result. Shapes and errors as temperature_time_factor_Ch(), and ValueError at or below 0 K.
    """
    return math.fsum(_aged(*_segments(t_h, T_C, longest_h), E_J_mol, T_ref_C))


def equivalent_age_interval_mean_h(
    t_h: Floats, T_C: Floats, E_J_mol: float, T_ref_C: float, *, longest_h: float = math.inf
) -> float:
    """Equivalent age by the rule of C1074's tables, hours: each interval at the mean of its two end readings.

    Lower than equivalent_age_h() on ramps, because the rate is curved in temperature. Shapes and errors as
    there.
    """
    return math.fsum(_aged_by_means(*_segments(t_h, T_C, longest_h), E_J_mol, T_ref_C))


@dataclass(frozen=True)
class LifeSums:
    """The three sums over one history so far, each as a few floats whose exact sum it is: what follows is added to
    the same bits as if all had been summed at once.
    """

    factor: tuple[float, ...] = ()
    age: tuple[float, ...] = ()
    age_by_means: tuple[float, ...] = ()

    def and_then(
        self, t_h: Floats, T_C: Floats, datum_C: float, E_J_mol: float, T_ref_C: float, longest_h: float
    ) -> LifeSums:
        """With the history that follows, which begins where the last one ended; as the functions above."""
        segments = _segments(t_h, T_C, longest_h)
        return LifeSums(
            _exactly([*self.factor, *_above(*segments, datum_C)]),
            _exactly([*self.age, *_aged(*segments, E_J_mol, T_ref_C)]),
            _exactly([*self.age_by_means, *_aged_by_means(*segments, E_J_mol, T_ref_C)]),
        )

    @property
    def temperature_time_factor_Ch(self) -> float:
        return math.fsum(self.factor)

    @property
    def equivalent_age_h(self) -> float:
        return math.fsum(self.age)

    @property
    def equivalent_age_interval_mean_h(self) -> float:
        return math.fsum(self.age_by_means)


def _exactly(terms: list[float]) -> tuple[float, ...]:
    """A few floats whose exact sum is that of the terms: the rounded sum, what is left of it, and so on."""
    parts: list[float] = []
    while (left := math.fsum([*terms, *(-part for part in parts)])) != 0.0:
        parts.append(left)
    return tuple(parts)


def _above(dt: Floats, a: Floats, b: Floats, datum_C: float) -> Floats:
    above_a, above_b = np.maximum(a - datum_C, 0.0), np.maximum(b - datum_C, 0.0)
    crossing = (a - datum_C) * (b - datum_C) < 0.0
    top = above_a + above_b
    share = np.divide(top, np.abs(b - a), out=np.ones_like(top), where=crossing)
    return np.asarray(0.5 * top * share * dt)


def _aged(dt: Floats, a: Floats, b: Floats, E_J_mol: float, T_ref_C: float) -> Floats:
    middle, half = 0.5 * (a + b), 0.5 * (b - a)
    inside = middle[:, None] + half[:, None] * _NODES[None, :]
    mean_rate = 0.5 * np.sum(arrhenius_factor(inside, E_J_mol, T_ref_C) * _WEIGHTS[None, :], axis=1)
    return np.asarray(mean_rate * dt)


def _aged_by_means(dt: Floats, a: Floats, b: Floats, E_J_mol: float, T_ref_C: float) -> Floats:
    return np.asarray(arrhenius_factor(0.5 * (a + b), E_J_mol, T_ref_C) * dt)


def arrhenius_factor(T_C: Floats, E_J_mol: float, T_ref_C: float) -> Floats:
    """Rate relative to that at T_ref_C, shape of T_C. Raises ValueError at or below 0 K or for E below 0."""
    kelvin = np.asarray(T_C, dtype=np.float64) + ZERO_C_K
    reference_K = T_ref_C + ZERO_C_K
    if not (np.all(kelvin > 0.0) and reference_K > 0.0):
        raise ValueError(f"temperatures must lie above {-ZERO_C_K:g} degC; leave such a reading out")
    if not (math.isfinite(E_J_mol) and E_J_mol >= 0.0):
        raise ValueError(f"activation energy {E_J_mol!r} J/mol: it must be finite and not below 0")
    return np.exp(-(E_J_mol / R_J_MOL_K) * (1.0 / kelvin - 1.0 / reference_K))


def en1992_adjusted_age(dt: Floats, T_C: Floats) -> float:
    """Concrete's temperature-adjusted age, in the unit of dt: sum of exp[13.65 - 4000/(273 + T)] dt.

    dt (n,) not below 0; T_C (n,) degC, 0 to 80. Note that its factor at 20 degC is 0.998, not 1. For
    checking the sums above against a standard: resin is not concrete. Source: EN 1992-1-1, equation B.10
    (range from memory). Raises ValueError outside.
    """
    steps, T = np.asarray(dt, dtype=np.float64), np.asarray(T_C, dtype=np.float64)
    if steps.ndim != 1 or steps.shape != T.shape:
        raise ValueError(f"dt {steps.shape} and T_C {T.shape} must be two lists of the same length")
    if not (np.all(steps >= 0.0) and np.all((T >= 0.0) & (T <= 80.0))):
        raise ValueError("EN 1992-1-1 B.10 takes steps not below 0 and temperatures of 0 to 80 degC")
    return math.fsum(np.exp(13.65 - 4000.0 / (273.0 + T)) * steps)


def _segments(t_h: Floats, T_C: Floats, longest_h: float) -> tuple[Floats, Floats, Floats]:
    """Length in hours and both end temperatures of each segment no longer than longest_h."""
    t, T = np.asarray(t_h, dtype=np.float64), np.asarray(T_C, dtype=np.float64)
    if t.ndim != 1 or t.shape != T.shape:
        raise ValueError(f"times {t.shape} and temperatures {T.shape} must be two lists of the same length")
    if not (np.all(np.isfinite(t)) and np.all(np.isfinite(T))):
        raise ValueError("times and temperatures must be finite; leave out what was not measured")
    dt = np.diff(t)
    if np.any(dt < 0.0):
        raise ValueError("times must not go back; sort the history first")
    kept = dt <= longest_h
    return dt[kept], T[:-1][kept], T[1:][kept]
