"""How fast an epoxy cures: the rate law with diffusion control, and its stepper over temperature blocks.

    da/dt = k(T) (c + a^m) (1 - a)^n f_d(a, T)         k(T) = k_r exp[-E/R (1/T - 1/T_r)]
    f_d   = 1 / (1 + exp[C (a - a_c(T))])              a_c: the conversion at which Tg = T + d

The autocatalytic form is Kamal's (S. Sourour and M. R. Kamal, Thermochim. Acta 14, 1976) with one activation
energy; f_d is the form of Chern and Poehlein (Polym. Eng. Sci. 27, 1987); both citations from memory. m, n
and c are what two published amine sets share when fitted with f_d; C and d are not identified by those data,
so nothing may hang on their exact value. Conversion is 0 to 1, time in hours, temperature in degC.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from model.blocks import Floats
from model.glass_transition import LIQUID_C, SHAPE, Numbers, conversion_at, glass_transition

GAS_CONSTANT_J_mol_K = 8.314462618
ZERO_C_IN_K = 273.15
STEP_LIMIT = 0.1
"""Largest rate constant x time of one sub-step: error below 3e-4 on any cure, about 2e-5 in a shop."""


@dataclass(frozen=True)
class RateLaw:
    """The shape of the cure, without its speed.

    m, n, c      exponents and the start of the autocatalytic form
    gel          conversion at the gel point: Flory-Stockmayer, f 4, g 2 (1/sqrt(3) = 0.577)
    steepness    C of the diffusion factor; lead_K  d, K
    liquid_C, shape   Tg0, degC, and L of the glass transition
    diffusion    False removes the diffusion factor (f_d = 1): for comparison only, since it claims cures that
                 never come
    """

    m: float = 0.8
    n: float = 2.0
    c: float = 0.13
    gel: float = 0.577
    steepness: float = 28.0
    lead_K: float = 8.0
    liquid_C: float = LIQUID_C
    shape: float = SHAPE
    diffusion: bool = True

    def glass_transition(self, conversion: Numbers, full_C: Numbers) -> Floats:
        """Glass transition, degC."""
        return glass_transition(conversion, full_C, self.liquid_C, self.shape)

    def conversion_at(self, transition_C: Numbers, full_C: Numbers) -> Floats:
        """Conversion at which the glass transition is `transition_C`, degC."""
        return conversion_at(transition_C, full_C, self.liquid_C, self.shape)

    def critical(self, T_C: Numbers, full_C: Numbers) -> Floats:
        """a_c: the conversion at which diffusion halves the rate at T_C, degC."""
        return self.conversion_at(np.asarray(T_C, dtype=np.float64) + self.lead_K, full_C)

    def rate(self, conversion: Numbers, k_per_h: Numbers, critical: Numbers) -> Floats:
        """da/dt, 1/h, from the rate constant and a_c; arrays broadcast elementwise."""
        a = np.asarray(conversion, dtype=np.float64)
        free = k_per_h * (self.c + np.power(a, self.m)) * np.power(1.0 - a, self.n)
        return np.asarray(free / self.slowing(a, critical))

    def fastest(self, conversion: Numbers, k_per_h: Numbers, critical: Numbers) -> Floats:
        """The largest da/dt, 1/h, that can still come at this rate constant and a_c; as rate()."""
        a = np.asarray(conversion, dtype=np.float64)
        peak = np.maximum(a, _busiest(self))
        free = k_per_h * (self.c + np.power(peak, self.m)) * np.power(1.0 - peak, self.n)
        return np.asarray(free / self.slowing(a, critical))

    def slowing(self, conversion: Numbers, critical: Numbers) -> Floats:
        """1 / f_d, at least 1: how many times diffusion slows the reaction."""
        a = np.asarray(conversion, dtype=np.float64)
        if not self.diffusion:
            return np.ones(np.broadcast(a, critical).shape)
        return np.asarray(1.0 + np.exp(self.steepness * (a - critical)))


DEFAULT_LAW = RateLaw()


@lru_cache
def _busiest(law: RateLaw) -> float:
    """Conversion at which (c + a^m) (1 - a)^n is largest, to 1e-3."""
    a = np.linspace(0.0, 1.0, 1001)
    return float(a[np.argmax((law.c + np.power(a, law.m)) * np.power(1.0 - a, law.n))])


def acceleration(T_C: Numbers, E_J_mol: Numbers, reference_C: float) -> Floats:
    """k(T) / k(T_r), by Arrhenius; arrays broadcast elementwise."""
    T = np.asarray(T_C, dtype=np.float64) + ZERO_C_IN_K
    return np.asarray(
        np.exp((-np.asarray(E_J_mol) / GAS_CONSTANT_J_mol_K) * (1.0 / T - 1.0 / (reference_C + ZERO_C_IN_K)))
    )


@dataclass(frozen=True)
class PublishedRate:
    """A rate function exactly as isothermal studies print it, any time unit:

    da/dt = (k1 + k2 a^m) (1 - a)^(n/2) (r - a)^(n/2), r the conversion at which that run ended.
    With r = 1 this is Kamal's form; with k2 = 0 an order-n reaction.
    """

    k1: float
    k2: float
    m: float
    n: float
    r: float = 1.0

    def rate(self, conversion: Numbers) -> Floats:
        """da/dt in the unit of k1 and k2; 0 <= conversion <= r."""
        a = np.asarray(conversion, dtype=np.float64)
        return np.asarray(
            (self.k1 + self.k2 * np.power(a, self.m)) * np.power((1.0 - a) * (self.r - a), 0.5 * self.n)
        )


def advance(
    law: RateLaw, u: Floats, k_per_h: Floats, critical: Floats, hours: Floats, *, whole: bool = False
) -> Floats:
    """Step u = 1 - a through blocks of constant rate constant; returns u at each block's end, (blocks, N).

    u          (N,), at the first block's beginning; left unchanged
    k_per_h, critical   (blocks, N), 1/h and a_c; hours  (blocks,), each block's length
    whole      one step for each block: for blocks known to be short against what happens in them

    Exponential midpoint: second order, u stays in [0, 1] and never rises, whatever the step. Each block is
    cut into a power of two of sub-steps, from its own fastest member. Only elementwise ufuncs on contiguous
    arrays touch the state, so any cutting of the history gives the same bits on one machine.
    """
    steps = np.ones(len(hours)) if whole else _sub_steps(law, k_per_h, hours)
    minus_kh = k_per_h * (-hours / steps)[:, np.newaxis]
    to_middle = 0.5 * minus_kh
    out = np.empty_like(minus_kh)
    state, middle, exponent = u.copy(), np.empty_like(u), np.empty_like(u)
    decay = _Decay(law, len(u))
    rows = zip(steps.astype(np.int64).tolist(), to_middle, minus_kh, critical, out, strict=True)
    for count, half, full, a_c, end in rows:
        for _ in range(count):
            decay(state, half, a_c, exponent)
            np.multiply(state, np.exp(exponent, exponent), middle)
            decay(middle, full, a_c, exponent)
            np.multiply(state, np.exp(exponent, exponent), state)
        end[:] = state
    return out


class _Decay:
    """exponent = -k h (c + a^m) (1 - a)^(n - 1) f_d, into arrays made once.

    A state of 256 members is so short that the calls cost more than the arithmetic: hence no temporaries, no
    keywords, and numbers as arrays without dimension.
    """

    def __init__(self, law: RateLaw, members: int) -> None:
        self._one, self._m, self._c = np.array(1.0), np.array(law.m), np.array(law.c)
        self._order = None if law.n == 2.0 else np.array(law.n - 1.0)
        self._steepness = np.array(law.steepness) if law.diffusion else None
        self._conversion, self._factor = np.empty(members), np.empty(members)

    def __call__(self, u: Floats, minus_kh: Floats, critical: Floats, exponent: Floats) -> None:
        conversion, factor = self._conversion, self._factor
        np.subtract(self._one, u, conversion)
        np.power(conversion, self._m, exponent)
        np.add(exponent, self._c, exponent)
        np.multiply(exponent, minus_kh, exponent)
        np.multiply(exponent, u if self._order is None else np.power(u, self._order, factor), exponent)
        if self._steepness is not None:
            np.subtract(conversion, critical, factor)
            np.multiply(factor, self._steepness, factor)
            np.exp(factor, factor)
            np.add(factor, self._one, factor)
            np.divide(exponent, factor, exponent)


def _sub_steps(law: RateLaw, k_per_h: Floats, hours: Floats) -> Floats:
    """Sub-steps of each block, a power of two, float64 (blocks,). k (1 + c) bounds the rate, as a^m <= 1."""
    if k_per_h.size == 0:
        return np.ones(len(hours))
    load = np.max(k_per_h, axis=1) * hours * (1.0 + law.c) / STEP_LIMIT
    return np.asarray(np.exp2(np.ceil(np.log2(np.maximum(load, 1.0)))))
