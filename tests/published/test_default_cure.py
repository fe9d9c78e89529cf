"""The default kinetics against a computation made apart from this code (scipy: adaptive quadrature, LSODA).

An invented medium sheet at 21 degC, central member. It tests the code; it is no evidence about any resin.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from model.calibration import calibrate, card_central
from model.coat import course
from model.conversion_time import ConversionTime
from model.hold import hold
from model.kinetics import DEFAULT_LAW
from model.milestones import passings
from model.resin_card import Milestone
from tests.resin import HOUR_MS, medium_sheet, steady

CALIBRATION = calibrate(medium_sheet(), card_central(medium_sheet()))
NAMES = (
    Milestone.RECOAT_FROM,
    Milestone.TACK_FREE,
    Milestone.RECOAT_UNTIL,
    Milestone.SAND,
    Milestone.DEMOULD,
)
# degC: hours to recoat from, tack-free, until, sand, demould on a grid of 0.05 h; a, Tg and t_e after 36 h
TABLE = {
    0: ((15.55, 15.55, 48.05, 96.05, 144.05), (0.6840, 18.0, 6.00)),
    10: ((6.25, 6.35, 19.80, 39.60, 59.40), (0.7844, 34.1, 14.56)),
    21: ((2.50, 3.30, 8.00, 16.00, 24.00), (0.8665, 50.2, 36.00)),
    30: ((1.30, 2.00, 4.05, 8.05, 12.05), (0.9172, 62.0, 71.91)),
}


def test_rate_and_thresholds_of_the_sheet() -> None:
    assert CALIBRATION.k_per_h[0] == pytest.approx(1.0942, abs=5e-5)
    order = (
        Milestone.RECOAT_FROM,
        Milestone.RECOAT_UNTIL,
        Milestone.SAND,
        Milestone.DEMOULD,
        Milestone.CURED,
    )
    conversion = [CALIBRATION.conversion[milestone][0] for milestone in order]
    lead = [CALIBRATION.lead_K[milestone][0] for milestone in order]
    np.testing.assert_allclose(conversion, (0.5770, 0.8042, 0.8387, 0.8535, 0.9070), atol=5e-5)
    np.testing.assert_allclose(lead, (-16.87, 16.70, 23.42, 26.47, 38.50), atol=5e-3)


@pytest.mark.parametrize("T_C", TABLE)
def test_hours_at_constant_temperature(T_C: int) -> None:
    """By quadrature, to the table's grid of 0.05 h."""
    got = hold(CALIBRATION, float(T_C))
    for milestone, hours in zip(NAMES, TABLE[T_C][0], strict=True):
        assert got[milestone] == pytest.approx(hours, abs=0.055), milestone


@pytest.mark.parametrize("T_C", TABLE)
def test_stepper_at_constant_temperature(T_C: int) -> None:
    """The stepper finds the same hours (the window's 24 h limit apart) and the same state at 36 h."""
    run = course(CALIBRATION, steady(T_C, 150), 0)
    found = passings({"central": run}, 0)
    for milestone, hours in zip(NAMES, TABLE[T_C][0], strict=True):
        limit = min(hours, 24.0) if milestone is Milestone.RECOAT_UNTIL else hours
        likely = found[milestone].likely
        assert likely is not None
        assert likely / HOUR_MS == pytest.approx(limit, abs=0.055, rel=5e-3), milestone
    row = run.row(36 * HOUR_MS)
    conversion, transition, age = TABLE[T_C][1]
    assert run.conversion[row, 0] == pytest.approx(conversion, abs=5e-4)
    assert run.glass_transition()[row, 0] == pytest.approx(transition, abs=0.1)
    assert run.age_h[row, 0] == pytest.approx(age, abs=0.01)


@pytest.mark.parametrize("T_C", [-5.0, 5.0, 21.0, 60.0])
def test_time_to_conversion_agrees_with_scipys_adaptive_quadrature(T_C: float) -> None:
    """SciPy's quad (QUADPACK) over da / rate, and the inverse brings the conversion back."""
    critical = DEFAULT_LAW.critical(T_C, np.array([85.0]))
    time = ConversionTime(DEFAULT_LAW, critical)
    for conversion in (1e-4, 0.1, 0.577, 0.8, 0.9, 0.97):
        expected, _ = quad(
            lambda a: 1.0 / float(DEFAULT_LAW.rate(a, 1.0, critical[0])),
            0.0,
            conversion,
            epsabs=0.0,
            epsrel=1e-11,
            limit=400,
        )
        assert time.to(conversion)[0] == pytest.approx(expected, rel=1e-8)
        assert time.conversion(expected)[0] == pytest.approx(conversion, rel=1e-7)
