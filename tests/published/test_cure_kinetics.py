"""Kinetics against published constants and closed forms; the source stands beside each check."""

from __future__ import annotations

import math

import numpy as np
import pytest

from model.conversion_time import time_between
from model.glass_transition import conversion_at, glass_transition
from model.kinetics import DEFAULT_LAW, PublishedRate, RateLaw, advance

# DGEBA with ethylenediamine (EDA) and 1,3-diaminopropane (DAP), isothermal DSC: public repository
# tkmeldrum/epoxy_HPC, combined_results.csv (commit 52a9046, July 2025), k taken as 1/s as its README says
# (one later script there treats k as 1/min). Columns: k1, k2, m, n, r, then the times to conversion in s,
# which were computed from those constants by LSODA at rtol 1e-10 from a conversion of 1e-6.
CONVERSIONS = (0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.55)
PUBLISHED = {
    "EDA 25": (
        (3.58e-5, 2.65867e-4, 1.588658, 1.479634, 0.788839),
        (1695.9, 3387.4, 6603.5, 9609.1, 12561.9, 15713.2, 17486.9),
    ),
    "EDA 50": (
        (8.54e-5, 8.97962e-4, 0.736912, 1.542165, 0.682232),
        (512.5, 872.3, 1478.5, 2065.0, 2722.0, 3570.1, 4148.1),
    ),
    "EDA 60": (
        (4.85e-5, 1.219415e-3, 0.429628, 1.678402, 0.728303),
        (265.3, 436.6, 747.8, 1077.7, 1473.7, 2008.8, 2376.2),
    ),
    "EDA 80": (
        (1.473078e-3, 2.649966e-3, 0.433957, 1.302729, 1.0),
        (26.3, 50.1, 97.1, 147.0, 202.7, 268.0, 306.0),
    ),
    "EDA 100": (
        (1.00e-8, 1.0100652e-2, 0.235685, 0.763778, 1.0),
        (13.3, 23.1, 40.7, 57.8, 75.5, 94.4, 104.6),
    ),
    "DAP 25": (
        (2.63e-5, 1.89779e-4, 0.999763, 1.090801, 0.556951),
        (2318.4, 4241.3, 7523.6, 10561.1, 13809.2, 18145.9, 22527.5),
    ),
    "DAP 50": (
        (1.37187e-4, 9.80870e-4, 0.851784, 1.533012, 0.751074),
        (369.6, 663.3, 1171.2, 1656.5, 2179.8, 2810.9, 3205.3),
    ),
    "DAP 60": (
        (2.76421e-4, 1.642886e-3, 0.790274, 1.545093, 0.851025),
        (165.0, 297.8, 531.4, 756.4, 997.0, 1278.0, 1445.6),
    ),
    "DAP 80": (
        (6.42339e-4, 4.337296e-3, 0.535921, 1.631705, 0.793643),
        (54.0, 94.7, 169.2, 246.4, 335.4, 448.6, 521.0),
    ),
    "DAP 100": (
        (7.27226e-4, 1.2361417e-2, 0.413249, 1.700394, 0.828249),
        (20.3, 34.1, 59.3, 85.9, 117.0, 156.8, 182.3),
    ),
}


def seconds_to(run: str, conversion: float) -> float:
    constants, _ = PUBLISHED[run]
    return time_between(PublishedRate(*constants).rate, 1e-6, conversion)


@pytest.mark.parametrize("run", PUBLISHED)
def test_published_runs_reach_their_conversions_on_time(run: str) -> None:
    """Within 0.1 %, or 0.06 s where the table prints tenths of a second."""
    for conversion, seconds in zip(CONVERSIONS, PUBLISHED[run][1], strict=True):
        assert seconds_to(run, conversion) == pytest.approx(seconds, rel=1e-3, abs=0.06)


@pytest.mark.parametrize(("amine", "low", "high"), [("EDA", 64.0, 66.0), ("DAP", 58.5, 60.0)])
def test_apparent_activation_energy_of_published_runs(amine: str, low: float, high: float) -> None:
    """Same data set: E from ln t at equal conversion lies where single-step epoxy-amine cures lie."""
    inverse = 1.0 / (np.array([25.0, 50.0, 60.0, 80.0, 100.0]) + 273.15)
    for conversion in (0.05, 0.1, 0.2, 0.3, 0.4, 0.5):
        times = [seconds_to(f"{amine} {T}", conversion) for T in (25, 50, 60, 80, 100)]
        slope = np.polyfit(inverse, np.log(times), 1)[0]
        assert low - 0.5 < slope * 8.314462618e-3 < high + 0.5


# Kamal with m = n = 1 has the closed form a = k1 (E - 1) / (k2 + k1 E), E = exp((k1 + k2) t).
KAMAL = {
    (1e-5, 1e-3): (0.008180881, 0.048601640, 0.267796392, 0.934391148, 0.999951256),
    (1e-4, 1e-3): (0.078324977, 0.362050457, 0.823879748, 0.996017049, 0.999998547),
    (2e-5, 2e-4): (0.012665555, 0.042301484, 0.098937308, 0.260475094, 0.674169815),
}


@pytest.mark.parametrize("constants", KAMAL)
def test_quadrature_inverts_kamal_closed_form(constants: tuple[float, float]) -> None:
    rate = PublishedRate(*constants, m=1.0, n=1.0)
    for seconds, conversion in zip((600, 1800, 3600, 7200, 14400), KAMAL[constants], strict=True):
        # the printed conversion's last digit is worth this much time:
        digit = 1e-9 / float(rate.rate(conversion))
        assert time_between(rate.rate, 0.0, conversion) == pytest.approx(seconds, rel=1e-6, abs=digit)


@pytest.mark.parametrize("constants", KAMAL)
def test_stepper_follows_kamal_closed_form(constants: tuple[float, float]) -> None:
    """Within 1e-7 at half-second steps, and second order: half the step, a quarter of the error."""
    k1, k2 = constants
    law = RateLaw(m=1.0, n=1.0, c=k1 / k2, diffusion=False)
    errors = []
    for step in (0.5, 60.0, 30.0):
        ends = np.array([600, 1800, 3600, 7200, 14400])
        count = round(14400 / step)
        u = advance(
            law,
            np.ones(1),
            np.full((count, 1), k2 * 3600.0),
            np.ones((count, 1)),
            np.full(count, step / 3600.0),
        )
        got = 1.0 - u[(ends / step).astype(int) - 1, 0]
        errors.append(float(np.max(np.abs(got - KAMAL[constants]))))
    assert errors[0] < 1e-7
    assert errors[1] < 5e-4
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.15)


@pytest.mark.parametrize(
    ("order", "conversion"), [(1.0, 0.302323674), (1.5, 0.281815570), (2.0, 0.264705882)]
)
def test_order_n_closed_form(order: float, conversion: float) -> None:
    """k = 1e-4 1/s for 3600 s: a = 1 - exp(-kt), or 1 - (1 + (n - 1) k t)^(-1/(n - 1))."""
    rate = PublishedRate(k1=1e-4, k2=0.0, m=1.0, n=order)
    assert time_between(rate.rate, 0.0, conversion) == pytest.approx(3600.0, rel=1e-7)


# DiBenedetto in the form of Pascault and Williams 1990; constants illustrative.
DIBENEDETTO = {
    (-40.0, 85.0, 0.35): (
        (-26.940, -7.593, 0.393, 24.024, 54.880),
        (0.6164, 0.6557, 0.6918, 0.7251, 0.7558),
    ),
    (-22.0, 120.0, 0.40): (
        (-5.294, 18.571, 28.128, 55.455, 89.130),
        (0.3699, 0.4211, 0.4684, 0.5122, 0.5529),
    ),
    (-30.0, 150.0, 0.40): (
        (-8.824, 21.429, 33.542, 68.182, 110.870),
        (0.3763, 0.4167, 0.4545, 0.4902, 0.5238),
    ),
}


@pytest.mark.parametrize("constants", DIBENEDETTO)
def test_dibenedetto_and_its_inverse(constants: tuple[float, float, float]) -> None:
    liquid, full, shape = constants
    transitions, conversions = DIBENEDETTO[constants]
    at = np.array([0.25, 0.5, 0.577, 0.75, 0.9])
    np.testing.assert_allclose(glass_transition(at, full, liquid, shape), transitions, atol=5e-4)
    found = conversion_at(np.array([5.0, 10.0, 15.0, 20.0, 25.0]), full, liquid, shape)
    np.testing.assert_allclose(found, conversions, atol=5e-5)


# Hubert-Johnston constants of a prepreg, as read in four public source files: A 1.528e5 1/s,
# E 66.50 kJ/mol, m 0.8129, n 2.736, C 43.09, a_c = -1.6840 + 5.475e-3 T. A test of the diffusion factor's
# form only. Their rate is k a^m (1 - a)^n f_d, ours with c = 0.
@pytest.mark.parametrize(
    ("T_C", "k", "critical", "rates", "factors"),
    [
        (
            180.0,
            3.29903e-3,
            0.79700,
            (2.5109e-4, 4.6722e-4, 1.7750e-4, 1.5746e-5),
            {0.6: 0.999794, 0.8: 0.467687},
        ),
        (
            120.0,
            2.23095e-4,
            0.46850,
            (1.6980e-5, 3.1574e-5, 4.1396e-8, 1.4245e-12),
            {0.3: 0.999298, 0.6: 0.003448},
        ),
    ],
)
def test_diffusion_factor_points(
    T_C: float, k: float, critical: float, rates: tuple[float, ...], factors: dict[float, float]
) -> None:
    law = RateLaw(m=0.8129, n=2.736, c=0.0, steepness=43.09)
    T = T_C + 273.15
    assert 1.528e5 * math.exp(-66.50e3 / (8.314 * T)) == pytest.approx(k, rel=1e-4)
    a_c = -1.6840 + 5.475e-3 * T
    assert a_c == pytest.approx(critical, abs=1e-5)
    exact_k = 1.528e5 * math.exp(-66.50e3 / (8.314 * T))
    np.testing.assert_allclose(law.rate(np.array([0.05, 0.3, 0.6, 0.8]), exact_k, a_c), rates, rtol=1e-4)
    for conversion, factor in factors.items():
        assert 1.0 / float(law.slowing(conversion, a_c)) == pytest.approx(factor, rel=3e-4)


def test_gel_point_is_flory_and_stockmayers() -> None:
    """p_epoxy p_NH = 1 / ((f - 1)(g - 1)) with f 4, g 2 and equal ratio: 0.57735."""
    assert pytest.approx(math.sqrt(1.0 / ((4 - 1) * (2 - 1))), abs=5e-4) == DEFAULT_LAW.gel
