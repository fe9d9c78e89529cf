"""Areal weights against whole numbers the trade prints."""

from __future__ import annotations

import pytest

from model.units import ozyd2_to_gm2


@pytest.mark.parametrize(("ounces", "grams"), [(1, 33.906), (6, 203), (12, 407), (20, 678)])
def test_cloth_in_ounces_is_the_printed_weight_in_grams(ounces: float, grams: float) -> None:
    """Exact definitions: 28.349523125 g/oz and 0.9144 m/yd; printed pairs are common practice, no source."""
    assert ozyd2_to_gm2(ounces) == pytest.approx(grams, abs=0.5)
    assert ozyd2_to_gm2(ounces) == pytest.approx(ounces * 28.349523125 / 0.9144**2, rel=1e-15)
