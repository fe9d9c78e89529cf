"""A wild temperature in the history or outlook cannot hold up the others."""

from __future__ import annotations

import numpy as np

from model.calibration import HOTTEST_C, calibrate, card_members
from tests.dashboard.night import card


def test_no_member_is_hotter_than_the_cap_and_cooler_ones_are_untouched() -> None:
    """Sub-steps grow with the rate: without the cap an outlook of 150 degC takes a minute and a half."""
    calibration = calibrate(card(), card_members(card()))
    temperature = calibration.temperature(np.array([20.0, 150.0, 700.0]), np.array([0.0, 30.0, 0.0]))
    assert temperature.max() == HOTTEST_C
    assert temperature[0].max() < 23.0
    assert temperature[0].min() > 17.0
