"""Heat against published properties, closed forms and energy balances; the source stands beside each check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erfc

from model.laminate_heat import AIR_ABOVE_W_M2K, AIR_BELOW_W_M2K, Face, Layer, Slab
from model.material import E_GLASS, Material, fibre_volume_fraction, laminate
from model.pot import adiabatic_limit
from model.stoichiometry import heat_of_reaction_J_g

NEAT_EPOXY = Material(0.2, 1150.0, 1800.0)
L_M = 0.01
INSULATED = Face(0.0, 0.0)

# Glass/epoxy laminate G-10 CR: NIST cryogenic material properties, log10 y = sum of a_i (log10 T/K)^i,
# fitted over 10-300 K to 5 % (conductivity) and 2 % (heat capacity).
G10_NORMAL = (-4.1236, 13.788, -26.068, 26.272, -14.663, 4.4954, -0.6905, 0.0397)
G10_WARP = (-2.64827, 8.80228, -24.8998, 41.1625, -39.8754, 23.1778, -7.95635, 1.48806, -0.11701)
G10_HEAT = (-2.4083, 7.6006, -8.2982, 7.3301, -4.2386, 1.4294, -0.24396, 0.015236)
G10_TABLE = {
    273.15: (0.5619, 0.8152, 913.1),
    283.15: (0.5789, 0.8335, 945.4),
    293.15: (0.5961, 0.8515, 977.3),
    300.0: (0.6080, 0.8636, 998.7),
}


def nist(coefficients: tuple[float, ...], T_K: float) -> float:
    return float(10.0 ** np.polynomial.polynomial.polyval(math.log10(T_K), coefficients))


@pytest.mark.parametrize("T_K", G10_TABLE)
def test_nist_polynomials_give_their_table(T_K: float) -> None:
    """Values computed apart from the same coefficients, to 0.1 %."""
    got = [nist(of, T_K) for of in (G10_NORMAL, G10_WARP, G10_HEAT)]
    assert got == pytest.approx(G10_TABLE[T_K], rel=1e-3)


@pytest.mark.parametrize("T_C", [0.0, 10.0, 20.0, 26.0])
def test_mixture_rules_agree_with_a_measured_laminate(T_C: float) -> None:
    """NIST G-10 CR at 0.6 to 0.7 glass by weight (value from memory).

    Heat capacity within a tenth. A pressed laminate of finely woven cloth conducts better through its thickness
    than parallel fibres in resin of 0.2 W/m/K: the rule stays below it, by less than half.
    """
    rule = [laminate(wf) for wf in (0.6, 0.7)]
    for of in rule:
        assert of.heat_capacity == pytest.approx(nist(G10_HEAT, T_C + 273.15), rel=0.1)
        assert 0.5 < of.conductivity / nist(G10_NORMAL, T_C + 273.15) < 1.0


# fibre weight fraction: density, heat capacity, conductivity through the thickness, diffusivity x 1e7.
# Computed apart from the mixture rules with 2560/1150 kg/m3, 800/1200 J/kg/K, 1.0/0.2 W/m/K.
HAND_LAMINATE = {
    0.3: (1378.0, 1080.0, 0.248, 1.668),
    0.4: (1475.0, 1040.0, 0.273, 1.777),
    0.5: (1587.0, 1000.0, 0.304, 1.917),
    0.6: (1718.0, 960.0, 0.347, 2.103),
}


@pytest.mark.parametrize("wf", HAND_LAMINATE)
def test_hand_laminates_properties(wf: float) -> None:
    """To the figures' last digit, which is 0.2 % at worst."""
    of = laminate(wf)
    got = (of.density, of.heat_capacity, of.conductivity, 1e7 * of.diffusivity)
    assert got == pytest.approx(HAND_LAMINATE[wf], rel=2e-3)


def test_conduction_across_fibres_is_the_two_dimensional_bound() -> None:
    """Lower Hashin-Shtrikman bound for aligned cylinders, in its own form: k_r + V / (1/(k_f-k_r) + (1-V)/2k_r)."""
    for wf in HAND_LAMINATE:
        share = fibre_volume_fraction(wf)
        bound = 0.2 + share / (1.0 / 0.8 + (1.0 - share) / 0.4)
        assert laminate(wf).conductivity == pytest.approx(bound, rel=1e-12)


def test_carbon_prepregs_diffusivity_from_its_parts() -> None:
    """An open prepreg data set: resin 1300 kg/m3, 1304.2 J/kg/K; fibre 1790, 914; Vf 0.574; composite 3.739e-7 m2/s.

    Its conductivities are not given, so density and heat capacity are tried: they ask for 0.63 W/m/K, which
    lies where carbon laminates conduct through their thickness (0.4 to 0.9, value from memory).
    """
    fibre, resin = Material(1.0, 1790.0, 914.0), Material(0.2, 1300.0, 1304.2)
    wf = 0.574 * 1790.0 / (0.574 * 1790.0 + 0.426 * 1300.0)
    assert fibre_volume_fraction(wf, fibre, resin) == pytest.approx(0.574, rel=1e-12)
    mixed = laminate(wf, fibre, resin)
    assert mixed.density == pytest.approx(0.574 * 1790.0 + 0.426 * 1300.0, rel=1e-12)
    assert 0.4 < 3.739e-7 * mixed.density * mixed.heat_capacity < 0.9


def test_air_films_are_those_of_iso_6946() -> None:
    """Rsi 0.10 upwards and 0.17 downwards: 10.0 and 5.88 W/m2K, as a building-physics page lists them."""
    assert pytest.approx((10.0, 5.88), rel=1e-3) == (AIR_ABOVE_W_M2K, AIR_BELOW_W_M2K)


# Plane wall, half thickness L, convection on its faces: Bi: then centre, surface at Fo 0.2, 0.5, 1, 2.
# Six terms of the series with zeta tan zeta = Bi; the first pair of each is in Incropera's and Heisler's tables.
PLANE_WALL = {
    0.01: (0.999387, 0.994968, 0.996667, 0.991733, 0.991727, 0.986789, 0.981892, 0.977003),
    0.05: (0.996963, 0.975234, 0.983633, 0.959680, 0.959807, 0.936304, 0.913749, 0.891372),
    0.1: (0.993999, 0.951420, 0.967981, 0.921779, 0.922389, 0.878126, 0.837326, 0.797144),
    0.5: (0.972600, 0.790147, 0.864114, 0.686882, 0.698383, 0.554589, 0.455779, 0.361934),
    1.0: (0.950642, 0.643391, 0.772526, 0.504522, 0.533859, 0.348177, 0.254668, 0.166091),
    5.0: (0.864881, 0.231533, 0.523109, 0.133032, 0.220721, 0.056094, 0.039281, 0.009983),
    10.0: (0.829255, 0.122482, 0.454641, 0.064329, 0.163818, 0.023172, 0.021265, 0.003008),
    100.0: (0.779362, 0.012458, 0.379854, 0.005907, 0.113342, 0.001763, 0.010091, 0.000157),
}
FOURIER = (0.2, 0.5, 1.0, 2.0)


def cooled(slab: Slab, start: np.ndarray, hours: float) -> np.ndarray:
    """Without cure, in one step: conduction is exact in time."""
    return slab.step(start, np.zeros_like(start), hours)


def fourier_hours(number: float) -> float:
    return number * L_M**2 / NEAT_EPOXY.diffusivity / 3600.0


def half_wall(Bi: float, cells: int = 40) -> Slab:
    layer = Layer(L_M, NEAT_EPOXY)
    return Slab([layer], INSULATED, Face(0.0, Bi * NEAT_EPOXY.conductivity / L_M), cells)


def centre_and_surface(slab: Slab, T: np.ndarray) -> tuple[float, float]:
    """The centre lies half a cell below the first: a parabola with level tangent through the first two."""
    return float(T[0] - (T[1] - T[0]) / 8.0), float(slab.faces(T)[1])


@pytest.mark.parametrize("Bi", PLANE_WALL)
def test_plane_wall_with_convection(Bi: float) -> None:
    """0.5 % of the value at 40 cells, or the table's last digit."""
    slab = half_wall(Bi)
    got = [
        value
        for Fo in FOURIER
        for value in centre_and_surface(slab, cooled(slab, np.ones(40), fourier_hours(Fo)))
    ]
    assert got == pytest.approx(PLANE_WALL[Bi], rel=5e-3, abs=1e-6)


@pytest.mark.parametrize("Bi", PLANE_WALL)
def test_plane_wall_table_is_the_series(Bi: float) -> None:
    """The first eigenvalue and coefficient, by SciPy's root finder on zeta tan zeta = Bi, carry Fo 1 and 2."""
    zeta = brentq(lambda z: z * math.tan(z) - Bi, 1e-6, math.pi / 2 - 1e-9)
    C = 4.0 * math.sin(zeta) / (2.0 * zeta + math.sin(2.0 * zeta))
    for Fo, centre in ((1.0, PLANE_WALL[Bi][4]), (2.0, PLANE_WALL[Bi][6])):
        assert C * math.exp(-(zeta**2) * Fo) == pytest.approx(centre, rel=1e-3)


def test_plane_wall_with_faces_held() -> None:
    """Series for fixed temperature faces, computed: centre at Fo 0.05 to 1."""
    slab = half_wall(math.inf)
    for Fo, expected in {
        0.05: 0.9968692,
        0.1: 0.94930536,
        0.2: 0.77231161,
        0.5: 0.37077743,
        1.0: 0.10797704,
    }.items():
        centre, surface = centre_and_surface(slab, cooled(slab, np.ones(40), fourier_hours(Fo)))
        assert centre == pytest.approx(expected, rel=5e-3)
        assert surface == pytest.approx(0.0, abs=1e-12)


def test_error_falls_with_the_square_of_the_cells() -> None:
    """Second order in space: twice the cells, a quarter of the error, within a tenth."""
    errors = []
    for cells in (20, 40, 80):
        slab = half_wall(1.0, cells)
        T = cooled(slab, np.ones(cells), fourier_hours(2.0))  # the series' other terms are gone
        zeta = brentq(lambda z: z * math.tan(z) - 1.0, 0.5, 1.0)
        C = 4.0 * math.sin(zeta) / (2.0 * zeta + math.sin(2.0 * zeta))
        at = C * math.exp(-2.0 * zeta**2) * np.cos(zeta * slab.depth_m / L_M)
        errors.append(np.abs(T - at).max())
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.1)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.1)


def test_any_cutting_of_the_time_gives_the_same_temperatures() -> None:
    slab = half_wall(5.0)
    once = cooled(slab, np.ones(40), 1.0)
    T = np.ones(40)
    for _ in range(60):
        T = cooled(slab, T, 1.0 / 60.0)
    np.testing.assert_allclose(T, once, rtol=1e-10)


# seconds: depth in mm: share of a face's sudden change that has arrived; neat epoxy, erfc(x / 2 sqrt(alpha t))
STEP_OF_FACE = {
    600: {1.0: 0.92601, 5.0: 0.64239, 10.0: 0.35304, 20.0: 0.06325},
    3600: {1.0: 0.96976, 5.0: 0.84964, 10.0: 0.70458, 20.0: 0.44828},
}
# the same with h 8 W/m2K on k 0.2 W/m/K
STEP_OF_AIR = {
    600: {0.0: 0.268522, 5.0: 0.145540, 10.0: 0.068209},
    3600: {0.0: 0.491588, 5.0: 0.395164, 10.0: 0.310208},
}


def deep(h_W_m2K: float, seconds: int) -> tuple[np.ndarray, np.ndarray]:
    """Depths below the face, mm, and temperatures of 150 mm of neat epoxy, too thick to feel its other side.

    Fine cells under the face, coarse ones behind: two layers of one material.
    """
    layers = [Layer(0.120, NEAT_EPOXY), Layer(0.030, NEAT_EPOXY)]
    slab = Slab(layers, INSULATED, Face(1.0, h_W_m2K), 60)
    T = slab.step(np.zeros(120), np.zeros(120), seconds / 3600.0)
    surface = float(slab.faces(T)[1])
    return np.append(1e3 * (0.150 - slab.depth_m), 0.0)[::-1], np.append(T, surface)[::-1]


@pytest.mark.parametrize(("h", "table"), [(math.inf, STEP_OF_FACE), (8.0, STEP_OF_AIR)])
def test_semi_infinite_body(h: float, table: dict[int, dict[float, float]]) -> None:
    for seconds, points in table.items():
        depth, T = deep(h, seconds)
        for at, expected in points.items():
            assert np.interp(at, depth, T) == pytest.approx(expected, rel=5e-3, abs=1e-4)


def test_semi_infinite_table_is_the_closed_form() -> None:
    """SciPy's erfc at the neat epoxy's diffusivity of 9.6618e-8 m2/s."""
    assert NEAT_EPOXY.diffusivity == pytest.approx(9.6618e-8, rel=1e-5)
    for seconds, points in STEP_OF_FACE.items():
        for at, expected in points.items():
            spread = 2.0 * math.sqrt(NEAT_EPOXY.diffusivity * seconds)
            assert float(erfc(1e-3 * at / spread)) == pytest.approx(expected, abs=1e-5)


def test_even_source_between_held_faces() -> None:
    """q L^2 / 2 k: 5e4 W/m3 in a wall of half thickness 10 mm and 0.2 W/m/K rises 12.5 K in the middle."""
    slab = Slab([Layer(2.0 * L_M, NEAT_EPOXY)], Face(20.0, math.inf), Face(20.0, math.inf), 40)
    source = 5e4 * slab.width_m
    steady = slab.steady(source)
    expected = 20.0 + 5e4 / 0.4 * (L_M**2 - (slab.depth_m - L_M) ** 2)
    np.testing.assert_allclose(steady, expected, atol=5e-3 * 12.5)
    assert steady.max() == pytest.approx(32.5, rel=5e-3)
    np.testing.assert_allclose(slab.step(np.full(40, 20.0), source, 100.0), steady, rtol=1e-9)


def test_layers_in_series_carry_one_flow() -> None:
    """Steady flow through foam and laminate between 0 and 20 degC: resistances d / k and 1 / h add."""
    foam, skin = Material(0.035, 60.0, 1300.0), laminate(0.5)
    slab = Slab([Layer(0.02, foam), Layer(0.004, skin)], Face(0.0, 5.0), Face(20.0, 10.0), 20)
    flow = 20.0 / (1.0 / 5.0 + 0.02 / 0.035 + 0.004 / skin.conductivity + 1.0 / 10.0)
    below, above = slab.faces(slab.steady(np.zeros(40)))
    assert 5.0 * below == pytest.approx(flow, rel=1e-9)
    assert 10.0 * (20.0 - above) == pytest.approx(flow, rel=1e-9)


# thickness mm: Bi and time constant, s, of a lumped laminate on one face at h 5, 8, 10 (k 0.3, 1700, 1100)
LUMPED = {
    3: ((0.050, 0.080, 0.100), (1122.0, 701.0, 561.0)),
    5: ((0.083, 0.133, 0.167), (1870.0, 1169.0, 935.0)),
    10: ((0.167, 0.267, 0.333), (3740.0, 2338.0, 1870.0)),
}


@pytest.mark.parametrize("mm", LUMPED)
def test_thin_laminates_cool_as_one_lump(mm: int) -> None:
    """exp(-t / tau), tau = rho cp L / h: textbook criterion Bi < 0.1 (value from memory); the mean lags by Bi / 3."""
    of = Material(0.3, 1700.0, 1100.0)
    for h, Bi, tau in zip((5.0, 8.0, 10.0), *LUMPED[mm], strict=True):
        assert h * 1e-3 * mm / 0.3 == pytest.approx(Bi, abs=5e-4)
        slab = Slab([Layer(1e-3 * mm, of)], INSULATED, Face(0.0, h), 40)
        seconds = slab.capacity_J_m2K.sum() / h
        assert seconds == pytest.approx(tau, abs=0.6)
        mean = cooled(slab, np.ones(40), seconds / 3600.0).mean()
        assert -math.log(mean) == pytest.approx(1.0 / (1.0 + Bi / 3.0), rel=0.01)


# amine's AHEW: adiabatic rise, K, neat at cp 1.8 J/g/K and with half glass at cp 0.8; 105 kJ per mole epoxide
ADIABATIC = {
    15.02: (289.0, 200.0),
    20.63: (281.0, 195.0),
    24.37: (276.0, 191.0),
    34.05: (264.0, 183.0),
    35.56: (262.0, 181.0),
    42.58: (254.0, 176.0),
    52.6: (243.0, 169.0),
    60.0: (236.0, 164.0),
}


@pytest.mark.parametrize("AHEW", ADIABATIC)
def test_adiabatic_rise_of_insulated_slabs(AHEW: float) -> None:
    """H / cp (computed apart, DGEBA of EEW 187): a slab that loses nothing rises by it, glass or none."""
    heat = heat_of_reaction_J_g(187.0, AHEW, 105.0)
    liquid = Material(0.2, 1150.0, 1800.0)
    for material, resin_share, expected in zip(
        (liquid, laminate(0.5, E_GLASS, liquid)), (1.0, 0.5), ADIABATIC[AHEW], strict=True
    ):
        layer = Layer(0.01, material, material.density * resin_share * 1e3 * heat)
        slab = Slab([layer], INSULATED, INSULATED, 10)
        source = slab.heat_J_m3 * slab.width_m / 3600.0
        np.testing.assert_allclose(slab.step(np.zeros(10), source, 1.0), expected, atol=0.6)


def test_adiabatic_limit_of_a_pot_is_below_the_rise_at_its_starting_heat_capacity() -> None:
    """H / cp at 25 degC, 430 J/g and 1.8 J/g/K: 239 K. cp grows with temperature, so the limit is 199 K above."""
    assert adiabatic_limit(25.0, 430.0) - 25.0 == pytest.approx(
        (math.sqrt(1.8**2 + 6e-3 * 430.0) - 1.8) / 3e-3
    )
    assert adiabatic_limit(25.0, 430.0) < 25.0 + 430.0 / 1.8
    assert adiabatic_limit(25.0, 1.8e-3) == pytest.approx(25.001, abs=1e-6)


def test_large_cups_can_pass_204_degC() -> None:
    """ "Can exceed 400 degF": a chemical supplier's guide of 2025, and an article on exotherm control."""
    assert adiabatic_limit(20.0, 430.0) > 204.0
