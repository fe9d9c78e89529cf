"""What a lot carries from one panel to the next."""

from __future__ import annotations

import numpy as np
import pytest

from model.calibration import calibrate, card_members
from model.lot import PANEL_DRIFT, Lot, new_lot
from model.observation import learn
from tests.model.test_observation import CALIBRATION, CARD, WARM, Word, felt
from tests.resin import shipped


def test_a_new_lot_is_what_the_card_says() -> None:
    of, expected = new_lot(CARD).members(), card_members(CARD)
    for name in ("ln_rate", "E_J_mol", "Tg_inf_C", "probe_offset_K", "forecast_z"):
        np.testing.assert_allclose(getattr(of, name), getattr(expected, name), rtol=1e-12, atol=1e-12)
    assert new_lot(shipped()).covariance[0, 0] == pytest.approx(0.4**2)


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


def test_members_of_a_lot_have_its_mean_and_covariance() -> None:
    """Within what 256 points with hardly correlated columns can show."""
    covariance = np.array([[0.02, 300.0, -0.3], [300.0, 3e7, 1e4], [-0.3, 1e4, 90.0]])
    of = Lot(np.array([0.1, 55e3, 82.0]), covariance).members()
    values = np.array([of.ln_rate, of.E_J_mol, of.Tg_inf_C])
    np.testing.assert_allclose(values.mean(axis=1), [0.1, 55e3, 82.0], rtol=1e-9)
    spread = np.sqrt(np.diag(covariance))
    scaled = np.cov(values, ddof=0) / np.outer(spread, spread)
    np.testing.assert_allclose(scaled, covariance / np.outer(spread, spread), atol=0.12)


def test_the_next_panel_is_uncertain_by_the_drift_at_least() -> None:
    known = Lot(np.array([0.0, 57e3, 85.0]), np.diag([1e-8, 1.0, 1e-4]))
    assert known.drifted().members().ln_rate.std() == pytest.approx(PANEL_DRIFT, rel=0.02)


def test_the_probes_offset_never_travels_with_the_lot() -> None:
    """A lot taught by a panel whose weights favour a warm probe hands on a probe as unsure as any."""
    of = CALIBRATION.members
    weights = np.where(of.probe_offset_K > 0.0, 1.0, 0.01)
    after = new_lot(CARD).taught(of, weights).members()
    np.testing.assert_array_equal(after.probe_offset_K, of.probe_offset_K)
    np.testing.assert_array_equal(after.forecast_z, of.forecast_z)


def test_five_agreeing_panels_narrow_the_lot_but_never_to_certainty() -> None:
    lot, spreads = new_lot(CARD), []
    for _ in range(5):
        calibration = calibrate(CARD, lot.members())
        # the touch's ages are the first panel's, which is close enough: only weights matter here
        learned = learn(calibration, [felt(WARM, 3.4, Word.TAPE)])
        lot = lot.taught(calibration.members, learned.weights.likely).drifted()
        spreads.append(float(np.sqrt(lot.covariance[0, 0])))
    assert spreads[0] < 0.25
    assert all(PANEL_DRIFT < spread < 0.25 for spread in spreads)
