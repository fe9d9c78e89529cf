"""Parts per hundred, heat of reaction and gel point against values computed apart; the source beside each."""

from __future__ import annotations

import pytest

from model.kinetics import DEFAULT_LAW
from model.pot import HEAT_J_G
from model.stoichiometry import gel_conversion, heat_of_reaction_J_g, parts_per_hundred

EEW = 187.0  # g/eq, liquid DGEBA
# amine: molar mass, g/mol, from its formula; active hydrogens; phr; J/g of mix at 100 and 105 kJ per mole epoxide
# (98 to 110 is the range found, e.g. Horie 1970: value from memory). phr and J/g computed apart from this code.
AMINES = {
    "ethylenediamine": (60.10, 4, 8.03, 495.0, 519.8),
    "diethylenetriamine": (103.17, 5, 11.03, 481.6, 505.7),
    "triethylenetetramine": (146.24, 6, 13.03, 473.1, 496.8),
    "m-xylylenediamine": (136.19, 4, 18.21, 452.4, 475.0),
    "1,3-bis(aminomethyl)cyclohexane": (142.24, 4, 19.02, 449.3, 471.8),
    "isophorone diamine": (170.30, 4, 22.77, 435.6, 457.4),
    "4,4'-methylenebis(cyclohexylamine)": (210.36, 4, 28.13, 417.4, 438.2),
    "polyether diamine of 240 g/mol": (240.0, 4, 32.09, 404.9, 425.1),
}


@pytest.mark.parametrize("amine", AMINES)
def test_parts_and_heat_of_amines(amine: str) -> None:
    """AHEW = molar mass / active hydrogens, phr = 100 AHEW / EEW, heat = kJ / (EEW + AHEW); to 0.1 %."""
    mass, hydrogens, parts, at_100, at_105 = AMINES[amine]
    AHEW = mass / hydrogens
    assert parts_per_hundred(EEW, AHEW) == pytest.approx(parts, rel=1e-3)
    assert heat_of_reaction_J_g(EEW, AHEW) == pytest.approx(at_100, rel=1e-3)
    assert heat_of_reaction_J_g(EEW, AHEW, 105.0) == pytest.approx(at_105, rel=1e-3)


def test_a_published_study_mixed_triethylenetetramine_at_13_parts() -> None:
    """ "Cure Kinetics of Epoxy Resin Studied by Dynamics and Isothermal DSC Data": 13 phr is stoichiometric."""
    assert parts_per_hundred(EEW, 146.24 / 6) == pytest.approx(13.0, rel=5e-3)


def test_default_heat_of_a_pot_lies_among_the_amines_of_shop_hardeners() -> None:
    heats = [heat for _, _, _, low, high in AMINES.values() for heat in (low, high)]
    assert min(heats) < HEAT_J_G < max(heats)


@pytest.mark.parametrize(
    ("f", "ratio", "of_epoxide", "of_hydrogen"),
    [
        (3, 1.0, 0.7071, 0.7071),
        (4, 1.0, 0.57735, 0.57735),
        (5, 1.0, 0.5000, 0.5000),
        (6, 1.0, 0.4472, 0.4472),
        (4, 0.9, 0.5477, 0.6086),
        (4, 1.1, 0.6055, 0.5505),
    ],
)
def test_gel_points_of_flory_and_stockmayer(
    f: int, ratio: float, of_epoxide: float, of_hydrogen: float
) -> None:
    """p_epoxy p_NH = 1 / ((f - 1)(g - 1)), g 2; computed apart, to 1e-4."""
    gel = gel_conversion(f, 2, ratio)
    assert gel == pytest.approx(of_epoxide, abs=1e-4)
    assert gel / ratio == pytest.approx(of_hydrogen, abs=1e-4)
    assert gel * gel / ratio == pytest.approx(1.0 / (f - 1), rel=1e-12)


def test_the_cards_gel_point_is_that_of_a_diamine_and_a_diepoxide() -> None:
    """Real systems gel later for rings (Tanaka, Stanford, Stepto, Prog. Colloid Polym. Sci. 136): 0.55 to 0.65."""
    assert pytest.approx(gel_conversion(), abs=5e-4) == DEFAULT_LAW.gel
    assert 0.55 < gel_conversion() < 0.65
