"""How often a probe really speaks, against what the settings say. It only advises: silence goes by the settings.

A battery node in the cold may send each ten minutes instead of each minute.
"""

from __future__ import annotations

import numpy as np

from collector.reading import ProbeFacts
from collector.suspicion.grid import BIN_MS, Sums

LOOKED_AT = 90
"""Bins: three hours."""
LEAST = 6
SLOWER = 2.5
REGULAR = 1.7
"""The longest pause is at most so many times the usual one: else it is losing messages, not slow."""


def learned_s(sums: Sums, last: int) -> float | None:
    """Seconds between two of its readings over the last three hours; None if it spoke too little or irregularly."""
    first = last - LOOKED_AT + 1
    counts = sums.counts(first, last)
    bins = first + np.flatnonzero(counts)
    if len(bins) < LEAST or last - bins[-1] > REGULAR * np.max(np.diff(bins)):
        return None
    pauses = np.diff(bins)
    usual = float(np.median(pauses))
    if usual <= 1.0:
        usually = float(np.mean(counts[bins[1:-1] - first]))
        return None if pauses.max() > 2 else BIN_MS / 1000 / usually
    if pauses.max() > REGULAR * usual + 1:
        return None
    return float(bins[-1] - bins[0]) / (len(bins) - 1) * BIN_MS / 1000


def is_slow(facts: ProbeFacts, learned: float) -> bool:
    """Whether it would be called silent again and again by what the settings say."""
    return learned >= SLOWER * facts.interval_s
