"""Laminate thickness and resin against published forms and tables; the source stands beside each check."""

from __future__ import annotations

import pytest

from model.layup import FIBRE_FRACTION, Cloth, Ply, resin_weight, thickness
from model.material import CURED_RESIN, E_GLASS, fibre_volume_fraction
from model.units import ozyd2_to_gm2

X = (0.30, 0.40, 0.50, 0.55, 0.60)
# g/m2: mm and resin g/m2 at each fibre weight fraction of X; computed apart with 2560 and 1150 kg/m3
PLIES = {
    200: ((0.4839, 0.3390, 0.2520, 0.2204, 0.1941), (467, 300, 200, 164, 133)),
    300: ((0.7259, 0.5085, 0.3781, 0.3306, 0.2911), (700, 450, 300, 245, 200)),
    450: ((1.0888, 0.7627, 0.5671, 0.4959, 0.4367), (1050, 675, 450, 368, 300)),
    600: ((1.4518, 1.0170, 0.7561, 0.6613, 0.5822), (1400, 900, 600, 491, 400)),
    800: ((1.9357, 1.3560, 1.0082, 0.8817, 0.7763), (1867, 1200, 800, 655, 533)),
}
VOLUME = (0.161, 0.230, 0.310, 0.354, 0.403)


@pytest.mark.parametrize("weight", PLIES)
def test_thickness_and_resin_of_a_ply(weight: int) -> None:
    """R. Geerts, "Calculating laminate thickness": t = w [1/rho_f + (1 - x)/(x rho_r)]; resin w (1 - x)/x."""
    thick, resin = PLIES[weight]
    assert [thickness(weight, x, 2560.0, 1150.0) for x in X] == pytest.approx(thick, abs=6e-5)
    assert [resin_weight(weight, x) for x in X] == pytest.approx(resin, abs=0.5)


def test_fibre_volume_of_a_ply() -> None:
    """Computed apart with 2560 and 1150 kg/m3."""
    assert [fibre_volume_fraction(x, E_GLASS, CURED_RESIN) for x in X] == pytest.approx(VOLUME, abs=5e-4)


@pytest.mark.parametrize(("x", "mm"), [(0.30, 2.3351), (0.35, 1.9382), (0.48, 1.2934), (0.50, 1.2240)])
def test_thickness_by_iso_12215_5(x: float, mm: float) -> None:
    """ISO 12215-5 annex (form from memory): t = (w / 3.072)(2.56 / x - 1.36), here for 1 kg/m2, to 1e-4."""
    assert thickness(1000.0, x) == pytest.approx(mm, abs=1e-4)
    assert thickness(1000.0, x) == pytest.approx((2.56 / x - 1.36) / 3.072, rel=1e-12)
    assert Ply(500.0, x, 2).thickness_mm == pytest.approx(mm, abs=1e-4)


def test_six_kilograms_of_glass_at_30_percent_take_fourteen_of_resin() -> None:
    """A composite supplier's questions-and-answers page: a part of 20 kg."""
    assert resin_weight(6000.0, 0.30) == pytest.approx(14_000.0, rel=1e-12)


def test_resin_to_glass_of_chopped_mat_and_woven_roving() -> None:
    """Practical Action, "Fibreglass boats": chopped mat 30 % glass, about 2.5:1; woven roving 45 %, about 1.25:1.

    Its two figures for each differ by up to 7 %, so the ratios are taken to a tenth.
    """
    assert resin_weight(1.0, 0.30) == pytest.approx(2.5, rel=0.1)
    assert resin_weight(1.0, 0.45) == pytest.approx(1.25, rel=0.1)
    assert FIBRE_FRACTION[Cloth.CHOPPED_MAT] == 0.30


@pytest.mark.parametrize(
    ("ounces", "grams"), [(2.3, 78), (6, 203), (9, 305), (10, 339), (18, 610), (25, 848)]
)
def test_published_pairs_of_cloth_weights(ounces: float, grams: int) -> None:
    """Pairs of oz/yd2 and g/m2 as suppliers print them, to half a gram."""
    assert ozyd2_to_gm2(ounces) == pytest.approx(grams, abs=0.5)


def test_ounces_per_square_foot_of_mat() -> None:
    """305.1517 g/m2: nine times the square yard's."""
    assert ozyd2_to_gm2(9.0) == pytest.approx(305.1517, abs=1e-4)
