"""Honest ranges on 500 simulated panels each."""

from __future__ import annotations

import pytest

from model.resin_card import Milestone
from tests.model.honest import (
    Hands,
    always,
    biased,
    contradictions,
    glassy,
    lots,
    pots,
    sampling_error,
    thumbs,
    untouched,
)
from tests.model.simulated import COLD, JUDGED, Hand, World, adverse, another
from tests.model.test_honest_ranges import (
    assert_contradictions_are_seen,
    assert_covers,
    assert_early_claims,
    assert_lots_are_honest,
    assert_lots_are_safe,
    assert_narrower,
    assert_no_more_false_ready,
)

EACH = 84
"""Six schedules: 504 panels."""


def test_truth_from_the_prior() -> None:
    score = untouched(World(), 6 * EACH)
    assert_covers(score, 0.77, 0.83)
    assert_early_claims(score, 0.10)
    assert score.wrong(Milestone.RECOAT_UNTIL) <= 0.05 + sampling_error(0.05, 6 * 504)


def test_truth_from_another_model_with_sheet_times_5_percent_off() -> None:
    score = untouched(World(another, sheet=0.05), EACH)
    assert_covers(score, 0.75, 1.0)
    assert_early_claims(score, 0.15)


WORLDS = {
    "sheet +-30 %": (World(another, sheet=0.30), 0.62, 0.20),
    "probe +-1.5 K": (World(another, sheet=0.05, probe_bias_K=1.5), 0.68, 0.20),
    "warm spot +3 K": (World(another, sheet=0.05, warm_spot_K=3.0), 0.60, 0.15),
    "every departure at once": (World(adverse, sheet=0.05), 0.65, 0.20),
}


@pytest.mark.parametrize("name", WORLDS)
def test_harsher_worlds_are_no_worse_than_measured(name: str) -> None:
    """No promise covers these; the bounds lie just outside what was measured."""
    world, coverage, early = WORLDS[name]
    score = untouched(world, EACH)
    assert all(score.coverage(milestone) >= coverage for milestone in JUDGED), score.table()
    assert_early_claims(score, early)


@pytest.mark.parametrize("invented", [True, False])
def test_two_ordinary_thumbs(invented: bool) -> None:
    trial = thumbs(World(rate_sd=0.4 if invented else 0.25), always(Hand()), EACH, invented=invented)
    assert_narrower(trial, 0.60)
    assert_no_more_false_ready(trial)


@pytest.mark.parametrize("invented", [False, True])
def test_biased_hands(invented: bool) -> None:
    world = World(rate_sd=0.4 if invented else 0.25)
    by = thumbs(world, biased(0.2), EACH, invented=invented)
    assert_no_more_false_ready(by)


@pytest.mark.parametrize("bias", [-0.2, 0.2])
def test_a_hand_that_always_errs_the_same_way(bias: float) -> None:
    """By two thirds of a word on every panel. Its range is off, which nobody can tell from a quick resin; what is
    claimed from it is not.
    """
    assert_no_more_false_ready(thumbs(World(), always(Hand(bias=bias)), EACH))


@pytest.mark.parametrize("glass", [0.0, 0.5, 1.0])
def test_touches_in_the_cold(glass: float) -> None:
    assert_no_more_false_ready(thumbs(World(), always(Hand(glass=glass)), 250, glassy, COLD))


@pytest.mark.parametrize("invented", [False, True])
def test_contradicting_hands(invented: bool) -> None:
    world = World(rate_sd=0.4 if invented else 0.25)
    assert_contradictions_are_seen(contradictions(world, EACH, invented))


def test_words_at_random_are_no_worse_than_measured() -> None:
    """Somebody who presses any button: no promise covers it, and the range cannot know."""
    trial = thumbs(World(), always(Hand(slip=1.0)), EACH)
    assert trial.after.wrong(Milestone.SAND) <= 0.20


def test_one_pot_in_twenty_is_bad() -> None:
    found = pots(World(another, sheet=0.05, bad=0.05), EACH)
    assert found.demould_of_bad == 0
    assert found.suspected_bad > 0.8 * found.bad


def test_five_panels_of_one_lot() -> None:
    """500 panels. Weights multiplied on covered 53 % by the fifth."""
    trial = lots(100)
    assert_lots_are_safe(trial)
    assert_lots_are_honest(trial, 0.76, 0.86)
    last = trial.taught[-1]
    assert min(last.coverage(milestone) for milestone in JUDGED) >= 0.74 - sampling_error(0.8, 100)


@pytest.mark.parametrize("hands", [biased(0.2), always(Hand(bias=0.2)), always(Hand(bias=-0.2))])
def test_a_hand_with_a_habit_feels_all_panels_of_a_lot(hands: Hands) -> None:
    """Its range is off, which nobody can tell from a quick or slow lot, and no promise covers that; what is claimed
    from it is not.
    """
    trial = lots(50, hands=hands)
    assert_lots_are_safe(trial)
    covered = [trial.pooled(lambda score, of=milestone: score.coverage(of))[0] for milestone in JUDGED]
    assert min(covered) >= 0.55
