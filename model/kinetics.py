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

    def slowing(self, conversion: Numbers, critical: Numbers) -> Floats:
        """1 / f_d, at least 1: how many times diffusion slows the reaction."""
        a = np.asarray(conversion, dtype=np.float64)
        if not self.diffusion:
            return np.ones(np.broadcast(a, critical).shape)
        return np.asarray(1.0 + np.exp(self.steepness * (a - critical)))


DEFAULT_LAW = RateLaw()


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


def advance(law: RateLaw, u: Floats, k_per_h: Floats, critical: Floats, hours: Floats) -> Floats:
    """Step u = 1 - a through blocks of constant rate constant; returns u at each block's end, (blocks, N).

    u          (N,), at the first block's beginning; left unchanged
    k_per_h, critical   (blocks, N), 1/h and a_c; hours  (blocks,), each block's length

    Exponential midpoint: second order, u stays in [0, 1] and never rises, whatever the step. Each block is
    cut into a power of two of sub-steps, from its own fastest member. Only elementwise ufuncs on contiguous
    arrays touch the state, so any cutting of the history gives the same bits on one machine.
    """
    steps = _sub_steps(law, k_per_h, hours)
    minus_kh = k_per_h * (-hours / steps)[:, np.newaxis]
    out = np.empty_like(minus_kh)
    state, middle = u.copy(), np.empty_like(u)
    exponent, conversion, factor = np.empty_like(u), np.empty_like(u), np.empty_like(u)

    def decay(of: Floats, kh: Floats, a_c: Floats) -> None:
        """exponent = -k h (c + a^m) (1 - a)^(n - 1) f_d, in place: fresh arrays would double the cost."""
        np.subtract(1.0, of, out=conversion)
        np.power(conversion, law.m, out=exponent)
        np.add(exponent, law.c, out=exponent)
        np.multiply(exponent, kh, out=exponent)
        if law.n == 2.0:
            np.multiply(exponent, of, out=exponent)
        else:
            np.power(of, law.n - 1.0, out=factor)
            np.multiply(exponent, factor, out=exponent)
        if law.diffusion:
            np.subtract(conversion, a_c, out=factor)
            np.multiply(factor, law.steepness, out=factor)
            np.exp(factor, out=factor)
            np.add(factor, 1.0, out=factor)
            np.divide(exponent, factor, out=exponent)

    for block, count in enumerate(steps.astype(np.int64).tolist()):
        for _ in range(count):
            decay(state, minus_kh[block], critical[block])
            np.multiply(exponent, 0.5, out=exponent)
            np.exp(exponent, out=exponent)
            np.multiply(state, exponent, out=middle)
            decay(middle, minus_kh[block], critical[block])
            np.exp(exponent, out=exponent)
            np.multiply(state, exponent, out=state)
        out[block] = state
    return out


def _sub_steps(law: RateLaw, k_per_h: Floats, hours: Floats) -> Floats:
    """Sub-steps of each block, a power of two, float64 (blocks,). k (1 + c) bounds the rate, as a^m <= 1."""
    if k_per_h.size == 0:
        return np.ones(len(hours))
    load = np.max(k_per_h, axis=1) * hours * (1.0 + law.c) / STEP_LIMIT
    return np.asarray(np.exp2(np.ceil(np.log2(np.maximum(load, 1.0)))))
