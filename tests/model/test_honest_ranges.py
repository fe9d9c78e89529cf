"""Whether the ranges hold what they promise, on simulated panels; tests/long asks the same of 500 panels each.

The counts here are small, so every bound is widened by twice its own sampling error: that is `sampling_error`.
"""

from __future__ import annotations

import pytest

from model.resin_card import Milestone
from tests.model.honest import (
    LotTrial,
    Trial,
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
from tests.model.simulated import COLD, JUDGED, Hand, Score, World, another

EACH = 12
"""Panels under each of six schedules of temperature."""
READY = {Milestone.RECOAT_FROM: 0.10, Milestone.SAND: 0.10, Milestone.DEMOULD: 0.05}


def assert_covers(score: Score, low: float, high: float, milestones: tuple[Milestone, ...] = JUDGED) -> None:
    """Coverage of the 80 % range between low and high, widened by sampling error."""
    for milestone in milestones:
        slack = sampling_error(0.8, len(score.inside[milestone]))
        assert low - slack <= score.coverage(milestone) <= high + slack, (milestone, score.table())


def assert_early_claims(score: Score, most: float) -> None:
    """Share of false "ready" at most so much, widened by sampling error."""
    for milestone in READY:
        slack = sampling_error(most, len(score.false[milestone]))
        assert score.wrong(milestone) <= most + slack, (milestone, score.table())


def assert_no_more_false_ready(trial: Trial) -> None:
    """On the same panels, after the thumbs no more than before, of any verdict: "recoat" wrongly said to be open
    still counts as well. Exactly: no sampling error is allowed for.
    """
    for milestone in JUDGED:
        before, after = trial.before.wrong(milestone), trial.after.wrong(milestone)
        assert after <= before, (milestone, trial.before.table(), trial.after.table())


def assert_narrower(trial: Trial, width: float) -> None:
    assert trial.width(Milestone.SAND) <= width
    assert_covers(trial.after, 0.75, 0.85)


def test_truth_from_the_prior_lies_in_the_range_four_times_in_five() -> None:
    score = untouched(World(), EACH)
    assert_covers(score, 0.77, 0.83)
    assert_early_claims(score, 0.10)


def test_truth_from_another_model_with_sheet_times_5_percent_off() -> None:
    """Other shape of the rate law and of the glass transition, two energies, sheet times +- 5 %."""
    score = untouched(World(another, sheet=0.05), EACH)
    assert_covers(score, 0.75, 1.0)
    assert_early_claims(score, 0.15)


@pytest.mark.parametrize("invented", [True, False])
def test_two_ordinary_thumbs_narrow_the_range_honestly(invented: bool) -> None:
    """For a shipped card and for the shop's own, whose range is narrower from the start."""
    trial = thumbs(World(rate_sd=0.4 if invented else 0.25), always(Hand()), EACH, invented=invented)
    assert_narrower(trial, 0.62)
    assert_no_more_false_ready(trial)


def test_biased_hands_do_not_raise_false_ready() -> None:
    """Half of them say two thirds of a word too hard, half too soft."""
    trial = thumbs(World(), biased(0.2), EACH)
    assert_no_more_false_ready(trial)


def test_touches_of_cold_glass_do_not_raise_false_ready() -> None:
    """The thumb meets glass alone, twice, at ages of 2 to 8 h at 5 to 10 degC."""
    glass = always(Hand(glass=1.0))
    assert_no_more_false_ready(thumbs(World(), glass, 3 * EACH, glassy, COLD))


def assert_contradictions_are_seen(trial: Trial) -> None:
    """False "ready" does not rise; at most one pair in twenty narrows the range by a tenth and is not reported."""
    assert_no_more_false_ready(trial)
    assert trial.unseen <= 0.05 * len(trial.after.width[Milestone.SAND])


def test_contradicting_hands_are_reported_or_widen_and_do_not_raise_false_ready() -> None:
    assert_contradictions_are_seen(contradictions(World(), EACH))


def assert_lots_are_safe(trial: LotTrial) -> None:
    """On the same panels no more false "ready" than without the lot, and no window open longer; exactly."""
    for milestone in JUDGED:
        taught, untaught = trial.pooled(lambda score, of=milestone: score.wrong(of))
        assert taught <= untaught, (milestone, [score.table() for score in trial.taught])


def assert_lots_are_honest(trial: LotTrial, low: float, high: float) -> None:
    """The range holds about 80 % of the panels it was taught for, and is narrower for it."""
    for milestone in JUDGED:
        count = sum(len(score.inside[milestone]) for score in trial.taught[1:])
        covered, _ = trial.pooled(lambda score, of=milestone: score.coverage(of))
        slack = sampling_error(0.8, count)
        assert low - slack <= covered <= high + slack, (milestone, [score.table() for score in trial.taught])
        assert trial.width(milestone) < 0.8


def test_what_lots_teach_is_safe_and_honest() -> None:
    trial = lots(12, 3)
    assert_lots_are_safe(trial)
    assert_lots_are_honest(trial, 0.74, 0.86)


def test_bad_pots_never_end_in_a_demould_and_are_mostly_suspected() -> None:
    found = pots(World(another, sheet=0.05, bad=0.5), 10)
    assert found.bad > 15
    assert found.demould_of_bad == 0
    assert found.suspected_bad > 0.8 * found.bad
    assert found.suspected_good < 0.25 * found.good
    assert found.demould_of_good > 0
