"""What a lot carries from one panel to the next."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from model.calibration import INVENTED_RATE_SD
from model.lot import HAND_SD, PANEL_DRIFT, Lot, LotRange, new_lot
from model.members import Weights
from model.observation import effective, learn
from tests.model.test_observation import CALIBRATION, CARD, WARM, Word, felt
from tests.resin import shipped


def test_a_new_lot_tells_the_cards_members_apart_by_nothing() -> None:
    of = CALIBRATION.members
    weights = LotRange.new(CARD).weights(of, CARD)
    for share in (weights.likely, weights.cautious):
        np.testing.assert_array_equal(share, np.full(len(of), 1.0 / len(of)))
    assert new_lot(shipped()).covariance[0, 0] == pytest.approx(INVENTED_RATE_SD**2)


def test_a_lot_is_the_weighted_mean_and_covariance() -> None:
    """numpy.cov with aweights is the reference."""
    of = CALIBRATION.members
    weights = learn(CALIBRATION, [felt(WARM, 3.0, Word.SOFT_RUBBER)]).weights.likely
    lot = new_lot(CARD).taught(of, weights)
    values = np.array([of.ln_rate, of.E_J_mol, of.Tg_inf_C])
    np.testing.assert_allclose(lot.mean, np.average(values, axis=1, weights=weights), rtol=1e-12)
    np.testing.assert_allclose(
        lot.covariance, np.cov(values, aweights=weights, ddof=0), rtol=1e-9, atol=1e-12
    )


COVARIANCE = np.array([[0.02, 300.0, -0.3], [300.0, 2e7, 1e4], [-0.3, 1e4, 70.0]])


def test_a_members_likeness_is_its_normal_density() -> None:
    """scipy's multivariate normal is the reference, but for a constant."""
    of, lot = CALIBRATION.members, Lot(np.array([0.1, 55e3, 82.0]), COVARIANCE)
    values = np.array([of.ln_rate, of.E_J_mol, of.Tg_inf_C]).T
    expected = multivariate_normal(lot.mean, lot.covariance).logpdf(values)
    found = lot.likeness(of)
    np.testing.assert_allclose(found - found[0], expected - expected[0], rtol=1e-9, atol=1e-9)


def test_members_weighed_by_a_lot_have_its_mean_and_covariance() -> None:
    """Within what 256 points can show."""
    lot = Lot(np.array([0.1, 55e3, 82.0]), COVARIANCE)
    of = CALIBRATION.members
    weights = LotRange(lot, lot).weights(of, CARD).likely
    values = np.array([of.ln_rate, of.E_J_mol, of.Tg_inf_C])
    spread = np.sqrt(np.diag(COVARIANCE))
    mean = np.average(values, axis=1, weights=weights)
    np.testing.assert_allclose((mean - lot.mean) / spread, 0.0, atol=0.1)
    scaled = np.cov(values, aweights=weights, ddof=0) / np.outer(spread, spread)
    np.testing.assert_allclose(scaled, COVARIANCE / np.outer(spread, spread), atol=0.15)


def test_the_next_panel_is_uncertain_by_the_drift_at_least() -> None:
    known = Lot(np.array([0.0, 57e3, 85.0]), np.diag([1e-8, 1.0, 1e-4]))
    assert np.sqrt(known.drifted().covariance[0, 0]) == pytest.approx(PANEL_DRIFT, rel=0.02)


def test_an_answer_rests_on_a_lot_by_no_more_than_a_hands_habit_allows() -> None:
    """However many panels agree: the same hand has felt them all."""
    known = Lot(np.array([0.0, 57e3, 85.0]), np.diag([1e-8, 1.0, 1e-4]))
    shown = LotRange(known, known).by_its_hand()
    for lot in (shown.likely, shown.cautious):
        assert np.sqrt(lot.covariance[0, 0]) == pytest.approx(HAND_SD, rel=0.01)
        np.testing.assert_array_equal(lot.mean, known.mean)


def test_the_probes_offset_never_travels_with_the_lot() -> None:
    """A lot taught by a panel whose weights favour a warm probe says nothing of the next probe, nor of its night."""
    of = CALIBRATION.members
    share = np.where(of.probe_offset_K > 0.0, 1.0, 0.01)
    warm = np.average(of.probe_offset_K, weights=share)
    after = LotRange.new(CARD).taught(of, Weights.same(share)).weights(of, CARD).likely
    assert warm > 0.2
    assert abs(np.average(of.probe_offset_K, weights=after)) < 0.05
    assert abs(np.average(of.forecast_z, weights=after)) < 0.15


def test_five_agreeing_panels_narrow_the_lot_but_never_to_certainty() -> None:
    lot, spreads = LotRange.new(CARD), []
    of = CALIBRATION.members
    for _ in range(5):
        learned = learn(CALIBRATION, [felt(WARM, 3.4, Word.TAPE)], lot=lot.weights(of, CARD))
        lot = lot.taught(of, learned.weights)
        spreads.append(float(np.sqrt(lot.likely.covariance[0, 0])))
    assert spreads[0] < 0.25
    assert all(PANEL_DRIFT < spread < 0.25 for spread in spreads)


def test_a_lot_is_believed_more_slowly_for_what_may_begin() -> None:
    """As if every hand said two thirds of a word too hard: the cautious lot is slower."""
    of = CALIBRATION.members
    learned = learn(CALIBRATION, [felt(WARM, 3.4, Word.SOFT_RUBBER)])
    lot = LotRange.new(CARD).taught(of, learned.weights)
    assert lot.cautious.mean[0] < lot.likely.mean[0]


def test_a_lot_counts_for_nothing_where_touches_contradict() -> None:
    of = CALIBRATION.members
    slow = Lot(np.array([-0.4, 57e3, 85.0]), new_lot(CARD).covariance * 0.2)
    before = LotRange(slow, slow).weights(of, CARD)
    untouched = learn(CALIBRATION, [], lot=before)
    assert untouched.on_lot
    assert effective(untouched.weights.likely) < 200.0
    torn = learn(CALIBRATION, [felt(WARM, 3.0, Word.NAIL_DENTS), felt(WARM, 3.5, Word.WET)], lot=before)
    assert torn.disagrees
    assert not torn.on_lot
    np.testing.assert_array_equal(torn.weights.likely, np.full(len(of), 1.0 / len(of)))
