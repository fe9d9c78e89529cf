"""The model class with one activation energy, fitted to published isothermal runs.

DGEBA with 1,3-diaminopropane (DAP) and ethylenediamine (EDA), isothermal DSC: public repository
tkmeldrum/epoxy_HPC, combined_results.csv (commit 52a9046, July 2025); the constants stand in
test_cure_kinetics.py, where their times are checked. The fit is SciPy's least_squares.

The ethylenediamine runs leave any single Arrhenius line by up to 40 to 60 %: between neighbouring temperatures they
slow down or hurry together over the whole run, so no rate law with one energy comes nearer than that.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from scipy.optimize import least_squares

from model.conversion_time import ConversionTime, time_between
from model.kinetics import GAS_CONSTANT_J_mol_K, PublishedRate, RateLaw
from tests.published.test_cure_kinetics import CONVERSIONS, PUBLISHED, seconds_to

TEMPERATURES = (25, 50, 60, 80, 100)
END = 0.02
"""A run is taken to end where it is this close to its last conversion."""
LIQUID_C = -22.0
"""Glass transition of DGEBA alone ("Heat of reaction and curing of epoxy resin", abstract)."""


class Fitted:
    """A rate law with one energy: ln k at 60 degC (1/s), E (kJ/mol), m, n, ln c, Tg_inf (degC), C."""

    def __init__(self, values: np.ndarray) -> None:
        self.ln_k, self.E, m, n, ln_c, self.full, steepness = values
        self.law = RateLaw(m=m, n=n, c=float(np.exp(ln_c)), steepness=steepness, liquid_C=LIQUID_C)

    def time(self, T_C: float) -> tuple[ConversionTime, float]:
        slope = self.E * 1e3 / GAS_CONSTANT_J_mol_K
        k = float(np.exp(self.ln_k - slope * (1.0 / (T_C + 273.15) - 1.0 / 333.15)))
        return ConversionTime(self.law, self.law.critical(T_C, np.array([self.full]))), k

    def seconds(self, T_C: float, conversion: float) -> float:
        time, k = self.time(T_C)
        return float(time.to(conversion)[0]) / k

    def conversion(self, T_C: float, seconds: float) -> float:
        time, k = self.time(T_C)
        return float(time.conversion(seconds * k)[0])


def end_of(run: str) -> tuple[float, float]:
    """Conversion at which a run ends, and seconds to where it is END short of that."""
    constants, _ = PUBLISHED[run]
    last = constants[4]
    return last, time_between(PublishedRate(*constants).rate, 1e-6, last - END)


@lru_cache
def fitted(amine: str) -> tuple[list[float], dict[int, float]]:
    """Relative errors of the times to conversion, and how far off each run's end the model is."""
    points = [
        (T, a, seconds_to(f"{amine} {T}", a))
        for T in TEMPERATURES
        for a in CONVERSIONS
        if a < PUBLISHED[f"{amine} {T}"][0][4] - END
    ]
    ends = {T: end_of(f"{amine} {T}") for T in TEMPERATURES}

    def stalls(model: Fitted) -> dict[int, float]:
        return {T: model.conversion(T, seconds) + END - last for T, (last, seconds) in ends.items()}

    def residuals(values: np.ndarray) -> list[float]:
        model = Fitted(values)
        times = [np.log(model.seconds(T, a) / seconds) for T, a, seconds in points]
        return times + [3.0 * off for off in stalls(model).values()]

    low, high = [-12, 40, 0.3, 0.8, -5, 60, 10], [-2, 80, 1.6, 3.0, 0, 200, 60]
    found = Fitted(least_squares(residuals, [-6, 58, 0.8, 1.5, -2, 110, 28], bounds=(low, high)).x)
    assert 55.0 < found.E < 68.0
    return [found.seconds(T, a) / seconds - 1.0 for T, a, seconds in points], stalls(found)


def test_diaminopropane_runs_are_met_within_20_percent() -> None:
    """Every time to conversion from 0.05 to 0.55, 25 to 100 degC, by one energy."""
    errors, _ = fitted("DAP")
    assert max(abs(error) for error in errors) < 0.20


def test_diaminopropane_runs_stall_within_a_tenth_of_conversion() -> None:
    """Where each run ended: 0.56 at 25 degC, 0.75 to 0.85 at 50 to 100 degC."""
    _, stalls = fitted("DAP")
    assert all(abs(off) < 0.1 for off in stalls.values()), stalls


def test_ethylenediamine_runs_are_met_within_35_percent_in_the_median_and_no_better() -> None:
    errors, _ = fitted("EDA")
    off = np.abs(errors)
    assert np.median(off) < 0.35
    assert 0.40 < off.max() < 0.65


@pytest.mark.parametrize("amine", ["DAP", "EDA"])
def test_apparent_energy_lies_between_58_and_66_kJ_per_mol(amine: str) -> None:
    """Mean over conversions 0.05 to 0.5 of the slope of ln t against 1/T."""
    inverse = 1.0 / (np.array(TEMPERATURES) + 273.15)
    slopes = [
        np.polyfit(inverse, np.log([seconds_to(f"{amine} {T}", a) for T in TEMPERATURES]), 1)[0]
        for a in CONVERSIONS[:-1]
    ]
    assert 58.0 < float(np.mean(slopes)) * GAS_CONSTANT_J_mol_K * 1e-3 < 66.0
