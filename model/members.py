"""The range: a fixed set of plausible coats, each with its own rate, E, Tg, probe and forecast error.

There is no randomness: the members are the same in every run, so that an answer can be repeated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from model.blocks import Floats

ACTIVATION_ENERGY_J_mol = 57e3
ACTIVATION_ENERGY_SD_J_mol = 6e3
FULL_CURE_TG_C = 85.0
FULL_CURE_TG_SD_K = 10.0
PROBE_SD_K = 0.4


@dataclass(frozen=True)
class Members:
    """N plausible coats of equal weight; every field is float64 (N,).

    ln_rate         natural logarithm of the coat's rate over the sheet's
    E_J_mol         activation energy, J/mol
    Tg_inf_C        glass transition at full conversion, degC
    probe_offset_K  added to what the probe reads
    forecast_z      standard normal score multiplied by the forecast's own standard deviation
    """

    ln_rate: Floats
    E_J_mol: Floats
    Tg_inf_C: Floats
    probe_offset_K: Floats
    forecast_z: Floats

    def __len__(self) -> int:
        return len(self.ln_rate)

    def joined(self, others: Members) -> Members:
        """These members followed by `others`, to be worked out together."""
        return Members(
            *(np.concatenate([getattr(self, item.name), getattr(others, item.name)]) for item in fields(self))
        )


@dataclass(frozen=True)
class Weights:
    """Weights of N members, float64 (N,) of sum 1 each.

    likely    for the range that is shown
    cautious  for claiming that something may begin
    """

    likely: Floats
    cautious: Floats

    @classmethod
    def equal(cls, n: int) -> Weights:
        """Of n members that nothing tells apart."""
        return cls.same(np.full(n, 1.0 / n))

    @classmethod
    def same(cls, weights: Floats) -> Weights:
        """For the range and for claims alike."""
        share = weights / weights.sum()
        return cls(share, share)


def members(
    n: int = 256,
    rate_sd: float = 0.25,
    E: float = ACTIVATION_ENERGY_J_mol,
    E_sd: float = ACTIVATION_ENERGY_SD_J_mol,
    Tg_inf: float = FULL_CURE_TG_C,
    Tg_inf_sd: float = FULL_CURE_TG_SD_K,
    probe_sd_K: float = PROBE_SD_K,
) -> Members:
    """n members spread over five independent normal dimensions (J/mol, degC, K).

    Additive recurrence on the generalised golden ratio (g the positive root of g^6 = g + 1) for the first half,
    its mirror image for the second (and the middle if n is odd), each column replaced by its ranks so that
    every margin is exactly stratified, then the inverse normal. The mirror makes medians exact and halves the
    mean quantile error of weighted sums of the five; without it they are no better than random strata.
    Raises ValueError for n < 1.
    """
    if n < 1:
        raise ValueError(f"{n} members asked for; at least 1 is needed")
    root = 1.0
    for _ in range(64):  # contracts by a sixth each turn: 64 turns are far beyond the last bit
        root = (1.0 + root) ** (1.0 / 6.0)
    position = np.arange(1, n // 2 + 1, dtype=np.float64)
    score = np.array([_normal_quantile((i + 0.5) / n) for i in range(n)])
    columns = []
    for j in range(1, 6):
        half = np.mod(0.5 + position * root**-j, 1.0)
        u = np.concatenate([half, 1.0 - half, np.full(n % 2, 0.5)])
        columns.append(score[np.argsort(np.argsort(u, kind="stable"), kind="stable")])
    rate, energy, full, probe, forecast = columns
    return Members(rate_sd * rate, E + E_sd * energy, Tg_inf + Tg_inf_sd * full, probe_sd_K * probe, forecast)


def central(E: float = ACTIVATION_ENERGY_J_mol, Tg_inf: float = FULL_CURE_TG_C) -> Members:
    """The one member in the middle: the sheet's own rate, a true probe and the forecast as it stands."""
    return Members(np.zeros(1), np.full(1, E), np.full(1, Tg_inf), np.zeros(1), np.zeros(1))


def quantile(values: ArrayLike, q: ArrayLike, weights: Floats | None = None) -> Floats:
    """Quantiles over the last axis of `values` (..., N); returns (..., len(q)), or (...) for a single q.

    Mid-member interpolation: a member of weight w stands at the middle of its own share of the total, and
    the end members reach to the ends. weights (N,), equal if None. Raises ValueError for a q outside 0..1.
    """
    rows = np.asarray(values, dtype=np.float64)
    wanted = np.atleast_1d(np.asarray(q, dtype=np.float64))
    if np.any((wanted < 0.0) | (wanted > 1.0)):
        raise ValueError(f"quantiles lie between 0 and 1; got {wanted.tolist()}")
    flat = rows.reshape(-1, rows.shape[-1])
    answer = _of_equals(flat, wanted) if weights is None else _of_weighted(flat, wanted, weights)
    shaped = answer.reshape(*rows.shape[:-1], len(wanted))
    return shaped[..., 0] if np.ndim(q) == 0 else shaped


def _of_equals(rows: Floats, wanted: Floats) -> Floats:
    """(n, N) and (q,) to (n, q): all members of one weight stand at the same places in every row."""
    places = (np.arange(1, rows.shape[-1] + 1) - 0.5) / rows.shape[-1]
    inside = np.clip(wanted, places[0], places[-1])
    low = np.searchsorted(places, inside, "right") - 1
    high = np.minimum(low + 1, len(places) - 1)
    apart = np.where(high > low, places[high] - places[low], 1.0)
    ranked = np.sort(rows, axis=1)
    below, above = ranked[:, low], ranked[:, high]
    return np.asarray((above - below) / apart * (inside - places[low]) + below)


def _of_weighted(rows: Floats, wanted: Floats, weights: Floats) -> Floats:
    answer = np.empty((len(rows), len(wanted)))
    for index, row in enumerate(rows):
        order = np.argsort(row, kind="stable")
        upper = np.add.accumulate(weights[order])
        answer[index] = np.interp(wanted, (upper - 0.5 * weights[order]) / upper[-1], row[order])
    return answer


def _normal_quantile(p: float) -> float:
    """Standard normal deviate below which a share p lies, 0 < p < 1.

    Newton's method from 0: on the lower half the distribution function is convex, so the steps approach the
    root from the right and cannot overshoot; the upper half is its mirror.
    """
    if p > 0.5:
        return -_normal_quantile(1.0 - p)
    z = 0.0
    for _ in range(100):
        step = (0.5 * math.erfc(-z / math.sqrt(2.0)) - p) * math.sqrt(2.0 * math.pi) * math.exp(0.5 * z * z)
        z -= step
        if abs(step) < 1e-15 * (1.0 + abs(z)):
            break
    return z
