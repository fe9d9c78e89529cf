"""Words from a thumb: what they teach, what they must not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit

from model.calibration import Calibration, calibrate, card_members
from model.coat import CoatState, Course, course
from model.hold import hard_not_cured, hours_to_conversion
from model.members import Weights, quantile
from model.milestones import passings
from model.observation import (
    LEAST_EFFECTIVE,
    THUMB_WORDS,
    Touch,
    Word,
    effective,
    hardness_supports,
    learn,
    probabilities,
    soft_age_h,
    suspect_mix,
    suspected_since,
    touch,
)
from model.resin_card import Milestone
from tests.model.test_gate import central
from tests.resin import HOUR_MS, shipped, steady

CARD = replace(shipped(), invented=False)
CALIBRATION = calibrate(CARD, card_members(CARD))
FROM = CARD.film.recoat_from.middle


def held(panel_C: float, hours: float, calibration: Calibration = CALIBRATION) -> Course:
    return course(calibration, steady(panel_C, hours), 0)


def felt(run: Course, at_h: float, *words: Word, coupon_C: float | None = None) -> Touch:
    return touch(run, round(at_h * HOUR_MS), *words, coupon_C=coupon_C)


WARM = held(20.0, 60.0)
COLD = held(5.0, 48.0)


def shift(run: Course, *touches: Touch) -> float:
    """By how much the median ln rate moves, in its own standard deviation before."""
    of = run.calibration.members.ln_rate
    return float(quantile(of, 0.5, learn(run.calibration, touches).weights.likely)) / float(of.std())


def test_at_the_sheets_temperature_words_follow_the_logistic_on_ln_age() -> None:
    """Bounds at 0.5 to 2.6 times "recoat from", width 0.10; SciPy's expit is the reference."""
    exact = replace(CALIBRATION.members, probe_offset_K=np.zeros(256))
    run = held(20.0, 10.0, calibrate(CARD, exact))
    found = probabilities(run.calibration, felt(run, 4.0, Word.TAPE))
    age = run.age_h[run.row(4 * HOUR_MS)]
    beyond = [expit(np.log(age / (bound * FROM)) / 0.10) for bound in (0.5, 0.75, 1.0, 1.35, 1.9, 2.6)]
    beyond.append(expit(np.log(age / CARD.film.sand.middle) / 0.10))
    lower = [np.ones(256), *beyond]
    for word, below, above in zip(THUMB_WORDS, lower, beyond, strict=False):
        np.testing.assert_allclose(found[word], below - above, atol=2e-3)


def test_a_softer_word_slows_the_rate_and_a_harder_one_hurries_it() -> None:
    """In the order of cure, at the age at which the middle is tacky like tape."""
    at_h = 1.15 * FROM
    shifts = [shift(WARM, felt(WARM, at_h, word)) for word in THUMB_WORDS[1:6]]
    assert shifts == sorted(shifts)
    assert shifts[0] < -0.5
    assert shifts[-1] > 0.5


def test_the_expected_word_narrows_the_range_without_moving_it() -> None:
    item = felt(WARM, 1.15 * FROM, Word.TAPE)
    learned = learn(CALIBRATION, [item])
    before, after = (
        passings({"central": WARM}, 0, weights)[Milestone.SAND] for weights in (None, learned.weights)
    )
    assert after.early is not None
    assert after.late is not None
    assert before.early is not None
    assert before.late is not None
    assert after.late - after.early < 0.85 * (before.late - before.early)
    assert abs(shift(WARM, item)) < 0.2
    assert not learned.disagrees
    assert LEAST_EFFECTIVE < learned.effective < 256


@pytest.mark.parametrize("word", [Word.GREASY, Word.WAXY, Word.BEADS])
def test_what_lies_on_the_film_sets_the_wash_and_never_slows_the_rate(word: Word) -> None:
    item = felt(WARM, 12.0, word)
    learned = learn(CALIBRATION, [item])
    assert item.washes
    assert np.ptp(learned.weights.likely) == 0.0
    assert not suspect_mix(CALIBRATION, [item])


def test_a_slip_keeps_every_member_alive() -> None:
    """One word may cut no member below 0.1/7 against 0.9 + 0.1/7 of the best, the share that slips take."""
    weights = learn(CALIBRATION, [felt(WARM, 3.0, Word.SOFT_RUBBER)]).weights.likely
    assert weights.min() / weights.max() >= (0.1 / 7) / (0.9 + 0.1 / 7)


def test_order_does_not_matter_and_taking_one_back_is_asking_without_it() -> None:
    items = [felt(WARM, 2.5, Word.STRINGY), felt(WARM, 4.0, Word.TAPE), felt(WARM, 16.0, Word.GUMS)]
    forward, backward = learn(CALIBRATION, items), learn(CALIBRATION, items[::-1])
    np.testing.assert_allclose(forward.weights.likely, backward.weights.likely, rtol=1e-12)
    without = learn(CALIBRATION, [items[0], items[2]])
    again = learn(CALIBRATION, [item for item in items if item is not items[1]])
    np.testing.assert_array_equal(without.weights.likely, again.weights.likely)


def test_merged_words_are_the_sum_of_their_parts() -> None:
    """A page with one word for wet, stringy and soft tack: no sharper than any bound between them."""
    item = felt(WARM, 2.0, Word.WET, Word.STRINGY, Word.SOFT_TACK)
    table = probabilities(CALIBRATION, item)
    merged = learn(CALIBRATION, [item]).weights.likely
    single = learn(CALIBRATION, [felt(WARM, 2.0, Word.STRINGY)]).weights.likely
    assert effective(merged) > effective(single)
    np.testing.assert_allclose(sum(table.values()) <= 1.0 + 1e-12, True)


def test_words_of_different_kinds_are_refused() -> None:
    state = CoatState(0, np.ones(1), np.zeros(1))
    with pytest.raises(ValueError, match="belong together, got gums the paper, greasy"):
        Touch((Word.GUMS, Word.GREASY), 0, state, np.zeros(1))
    with pytest.raises(ValueError, match="got none"):
        Touch((), 0, state, np.zeros(1))
    with pytest.raises(ValueError, match="first minute"):
        touch(WARM, 30_000, Word.WET)


def test_contradicting_words_are_reported_and_the_range_is_as_wide_as_before() -> None:
    """Soft rubber an hour before stringy: both cannot be. Two words that agree outvote one that does not."""
    hard, soft = felt(WARM, 3.0, Word.SOFT_RUBBER), felt(WARM, 4.0, Word.STRINGY)
    both = learn(CALIBRATION, [hard, soft])
    assert both.disagrees
    assert np.ptp(both.weights.likely) == 0.0
    settled = learn(CALIBRATION, [hard, felt(WARM, 4.1, Word.TAPE), felt(WARM, 4.2, Word.TAPE)])
    assert settled.disagrees == (0,)
    assert np.ptp(settled.weights.likely) > 0.0


def test_a_film_that_goes_back_is_reported_unless_it_was_warmed() -> None:
    """Cure does not go back; a glassy film softens if it is warmed. Dust from a cold film counts here, too."""
    dust, soft = felt(COLD, 30.0, Word.DUSTS), felt(COLD, 34.0, Word.NAIL_DENTS)
    assert learn(CALIBRATION, [soft]).disagrees == ()
    assert learn(CALIBRATION, [dust, soft]).disagrees == (0, 1)
    assert np.ptp(learn(CALIBRATION, [dust, soft]).weights.likely) == 0.0
    warmed = felt(COLD, 34.0, Word.NAIL_DENTS, coupon_C=12.0)
    assert learn(CALIBRATION, [dust, warmed]).disagrees == ()


def test_paper_that_gums_says_that_the_film_had_lost_its_tack() -> None:
    """Nobody tries it sooner (common practice, no source): an hour after stringy it is reported."""
    assert learn(CALIBRATION, [felt(WARM, 2.0, Word.STRINGY), felt(WARM, 3.0, Word.GUMS)]).disagrees
    assert not learn(CALIBRATION, [felt(WARM, 2.0, Word.STRINGY), felt(WARM, 8.0, Word.GUMS)]).disagrees


@pytest.mark.parametrize("word", [Word.TAPE, Word.TACK_FREE])
def test_a_thumb_hurries_claims_less_than_the_range(word: Word) -> None:
    """What opens is claimed as if the word were two thirds too hard."""
    weights = learn(CALIBRATION, [felt(WARM, 1.15 * FROM, word)]).weights
    for milestone in (Milestone.RECOAT_FROM, Milestone.SAND):
        untouched, said, claimed = (
            passings({"central": WARM}, 0, of)[milestone].safe
            for of in (None, Weights.same(weights.likely), weights)
        )
        assert said is not None
        assert claimed is not None
        assert untouched is not None
        assert said < claimed < untouched


@pytest.mark.parametrize("word", THUMB_WORDS)
def test_no_thumb_keeps_a_window_open_nor_opens_one_before_its_range_says_so(word: Word) -> None:
    weights = learn(CALIBRATION, [felt(WARM, 1.15 * FROM, word)]).weights
    before, after = (passings({"central": WARM}, 0, of) for of in (None, weights))
    kept, open_until = after[Milestone.RECOAT_UNTIL].safe, before[Milestone.RECOAT_UNTIL].safe
    assert kept is not None
    assert open_until is not None
    assert kept <= open_until
    opens = after[Milestone.RECOAT_FROM]
    assert opens.late is not None
    assert opens.safe is not None
    assert opens.late <= opens.safe


def test_a_word_far_from_the_temperatures_is_reported() -> None:
    assert learn(CALIBRATION, [felt(WARM, 16.0, Word.TAPE)]).disagrees == (0,)
    assert learn(CALIBRATION, [felt(WARM, 3.0, Word.TAPE)]).disagrees == ()


def test_dust_from_cold_glass_teaches_nothing() -> None:
    """After 36 h at 5 degC, while dust of a warm film moves the rate, and so does gum."""
    assert shift(COLD, felt(COLD, 36.0, Word.DUSTS)) == 0.0
    assert shift(WARM, felt(WARM, 13.0, Word.DUSTS)) > 0.5
    assert shift(WARM, felt(WARM, 20.0, Word.GUMS)) < -0.5


def test_dust_does_not_move_hard_but_not_cured() -> None:
    """The trap, after "sands to dust": the middle of the range is still hard, uncured and stuck."""
    item = felt(COLD, 36.0, Word.DUSTS)
    learned = learn(CALIBRATION, [item, felt(COLD, 37.0, Word.DUSTS)])
    one, row = central("invented-25min"), COLD.row(38 * HOUR_MS)
    target = float(one.conversion[Milestone.SAND][0])
    ready = []
    for weights in (None, learned.weights):
        share = weights.likely if weights else None
        a = float(quantile(COLD.conversion[row], 0.5, share))
        Tg = float(quantile(COLD.glass_transition(slice(row, row + 1))[0], 0.5, share))
        here, there = (hours_to_conversion(one, target, T, a) for T in (5.0, 20.0))
        assert hard_not_cured(Tg, 5.0, a, target, here, there)
        ready.append(passings({"central": COLD}, 38 * HOUR_MS, weights)[Milestone.SAND].passed)
    assert ready[0] == pytest.approx(ready[1], abs=1e-12)
    assert ready[1] < 0.9
    assert not hardness_supports(CALIBRATION, [item])


def test_a_film_still_soft_at_twice_its_slow_end_makes_the_mix_suspect() -> None:
    """Waiting will not cure it, and such a pot teaches nothing."""
    soft = felt(WARM, 12.0, Word.TAPE)
    learned = learn(CALIBRATION, [felt(WARM, 3.0, Word.STRINGY), soft])
    assert learned.suspect
    assert np.ptp(learned.weights.likely) == 0.0
    soft_h = soft_age_h(CALIBRATION, [soft])
    assert soft_h is not None
    since = suspected_since(WARM, soft_h)
    assert since is not None
    age = float(quantile(WARM.age_h[WARM.row(since)], 0.1))
    assert age == pytest.approx(1.35 * FROM, rel=0.01)
    assert soft_age_h(CALIBRATION, [felt(WARM, 5.0, Word.TAPE)]) is None
    assert not learn(CALIBRATION, [felt(WARM, 5.0, Word.TAPE)]).suspect
    assert learn(CALIBRATION, [felt(WARM, 55.0, Word.GUMS)]).suspect
    assert not learn(CALIBRATION, [felt(WARM, 20.0, Word.GUMS)]).suspect


def test_a_cold_film_is_not_suspect_for_being_late() -> None:
    """Nor is a hot one for being soft: heat softens what the cold would have hardened."""
    assert not suspect_mix(CALIBRATION, [felt(COLD, 30.0, Word.TAPE)])
    assert not suspect_mix(CALIBRATION, [felt(WARM, 55.0, Word.GUMS, coupon_C=40.0)])


def test_only_warm_hardness_clears_a_suspicion_or_supports_demoulding() -> None:
    soft, cold_dust = felt(COLD, 40.0, Word.STRINGY), felt(COLD, 44.0, Word.DUSTS)
    assert suspect_mix(CALIBRATION, [soft, cold_dust])
    tile = felt(COLD, 46.0, Word.DUSTS, coupon_C=20.0)
    assert not suspect_mix(CALIBRATION, [soft, cold_dust, tile])
    assert hardness_supports(CALIBRATION, [soft, cold_dust, tile])
    assert not hardness_supports(CALIBRATION, [tile, felt(WARM, 47.0, Word.GUMS)])


def test_a_pot_that_somebody_suspects_never_teaches() -> None:
    learned = learn(CALIBRATION, [felt(WARM, 3.0, Word.SOFT_RUBBER)], suspect=True)
    assert learned.suspect
    assert np.ptp(learned.weights.likely) == 0.0


def test_effective_number_is_kishs() -> None:
    """(sum w)^2 / sum w^2: n for n equal weights, whatever else weighs nothing."""
    assert effective(np.array([0.2, 0.2, 0.0, 0.2])) == pytest.approx(3.0)


def test_many_agreeing_words_leave_a_range_that_rests_on_enough_members() -> None:
    items = [felt(WARM, hours, Word.SOFT_RUBBER) for hours in (3.0, 3.1, 3.2, 3.3, 3.4, 3.5)]
    assert learn(CALIBRATION, items).effective == pytest.approx(LEAST_EFFECTIVE, rel=1e-3)
