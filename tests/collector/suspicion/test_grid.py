"""Sums of a series by bins: against sums made by hand, whatever order readings come in, and small."""

from __future__ import annotations

import random
import tracemalloc

import numpy as np
import pytest

from collector.suspicion.grid import AN_HOUR, BIN_MS, Sums

FIRST = 14_000_000
BINS = 50 * AN_HOUR
A_HALL_MB = 15.0
SERIES = 240


@pytest.mark.parametrize("seed", range(6))
def test_means_and_counts_are_those_of_the_readings_of_each_bin_in_their_order(seed: int) -> None:
    rng = random.Random(seed)
    sums, by_hand = Sums(), dict[int, list[float]]()
    readings = [
        ((FIRST + rng.randrange(-40, BINS + 40)) * BIN_MS + rng.randrange(BIN_MS), rng.gauss(12, 5))
        for _ in range(4000)
    ]
    readings.append((2 * FIRST * BIN_MS, 7.0))  # a clock that was decades ahead
    one_by_one = readings[:2500]
    for at, value in one_by_one:
        sums.add(at, value)
    late = sorted(readings[2500:])
    sums.add_all(np.array([at for at, _ in late]), np.array([value for _, value in late]))
    for at, value in one_by_one + late:
        by_hand.setdefault(at // BIN_MS, []).append(value)
    sums.drop_before(FIRST)
    asked = range(FIRST, FIRST + BINS)
    assert sums.counts(asked[0], asked[-1]).tolist() == [len(by_hand.get(bin_, ())) for bin_ in asked]
    expected = [sum(by_hand[bin_]) / len(by_hand[bin_]) if bin_ in by_hand else np.nan for bin_ in asked]
    assert sums.means(asked[0], asked[-1]) == pytest.approx(expected, rel=1e-12, nan_ok=True)
    assert sums.counts(FIRST - AN_HOUR - 1, FIRST - AN_HOUR).sum() == 0, "what lies before is gone"


def test_fifty_hours_of_a_hall_of_200_probes_take_little_memory() -> None:
    sums = Sums()
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        for bin_ in range(FIRST, FIRST + BINS):
            sums.add(bin_ * BIN_MS, bin_ / 7)
        held_MB = (tracemalloc.get_traced_memory()[0] - before) / 1e6
    finally:
        tracemalloc.stop()
    assert held_MB * SERIES < A_HALL_MB
