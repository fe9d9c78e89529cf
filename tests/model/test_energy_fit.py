"""Activation energy from several columns of a sheet."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.stats import linregress

from model.calibration import calibrate, card_central, card_members
from model.energy_fit import SHEET_ERROR, card_energy
from model.hold import hold
from model.kinetics import RateLaw
from model.members import central
from model.resin_card import CardError, Milestone, parse_card
from tests.resin import raw_card, shipped

KEYS = {
    Milestone.WORKING: "working_h",
    Milestone.RECOAT_FROM: "recoat_from_h",
    Milestone.SAND: "sand_h",
    Milestone.DEMOULD: "demould_h",
}


def with_columns(*columns: dict[str, Any]) -> dict[str, Any]:
    """The shipped medium card with more columns."""
    return raw_card() | {"film_at": list(columns)}


def column_of_resin(E_J_mol: float, T_C: float) -> dict[str, Any]:
    """What a sheet of the medium card's resin would say at T_C if it had this activation energy."""
    held = hold(calibrate(shipped(), central(E_J_mol)), T_C)
    return {"temperature_degC": T_C} | {key: held[milestone] for milestone, key in KEYS.items()}


@pytest.mark.parametrize("E_J_mol", [45e3, 57e3, 66e3])
def test_early_times_of_several_columns_give_the_resins_energy(E_J_mol: float) -> None:
    """Weighed against 57 +- 6 kJ/mol, and nothing left over: diffusion before gel is taken out exactly."""
    temperatures = (8.0, 14.0, 27.0, 33.0)
    card = parse_card(with_columns(*(column_of_resin(E_J_mol, T) for T in temperatures)))
    found = card_energy(card)
    assert found.points == 8
    # the working time ends at an age, the recoat window opens at a conversion: only the latter feels diffusion
    assert found.misfit < 0.012
    x = np.array([1e3 / (8.314462618 * (T + 273.15)) for T in (20.0, *temperatures)])
    sheet = 2 * x.var() * 5 / SHEET_ERROR**2 * 1e-6
    expected = (E_J_mol * sheet + 57e3 / 6e3**2) / (sheet + 1 / 6e3**2)
    assert found.J_mol == pytest.approx(expected, abs=600.0)
    assert found.sd_J_mol == pytest.approx((sheet + 1 / 6e3**2) ** -0.5, rel=1e-6)


def test_without_diffusion_the_fit_is_a_straight_line_through_logarithms() -> None:
    """scipy.stats.linregress of ln t on 1/(RT), then weighed with the default by hand."""
    hours = {10.0: 5.9, 20.0: 2.7, 30.0: 1.2}
    card = parse_card(
        with_columns(
            {"temperature_degC": 10, "recoat_from_h": hours[10.0]},
            {"temperature_degC": 30, "recoat_from_h": hours[30.0]},
        )
    )
    x = [1.0 / (8.314462618 * (T + 273.15)) for T in hours]
    line = linregress(x, [math.log(h) for h in hours.values()])
    sheet = float(np.var(x) * 3) / SHEET_ERROR**2
    found = card_energy(card, RateLaw(diffusion=False))
    assert found.J_mol == pytest.approx((line.slope * sheet + 57e3 / 6e3**2) / (sheet + 1 / 6e3**2), rel=1e-9)


def test_late_times_do_not_touch_the_energy() -> None:
    """They stretch with diffusion: a line through the sanding times alone would be several kJ/mol off."""
    column = column_of_resin(57e3, 5.0) | {"temperature_degC": 5.0}
    early = {key: column[key] for key in ("temperature_degC", "working_h", "recoat_from_h")}
    sanding = column | {"sand_h": 2.0 * column["sand_h"], "demould_h": 2.0 * column["demould_h"]}
    assert card_energy(parse_card(with_columns(early))) == card_energy(parse_card(with_columns(sanding)))


def test_columns_narrow_the_range_and_contradicting_ones_less() -> None:
    alone = card_energy(shipped())
    good = card_energy(parse_card(with_columns(column_of_resin(57e3, 10.0))))
    torn = column_of_resin(57e3, 10.0)
    torn = card_energy(parse_card(with_columns(torn | {"recoat_from_h": 1.5 * torn["recoat_from_h"]})))
    assert good.sd_J_mol < torn.sd_J_mol < alone.sd_J_mol == 6e3
    assert torn.misfit > SHEET_ERROR


def test_members_and_the_central_coat_carry_the_fitted_energy() -> None:
    card = parse_card(with_columns(column_of_resin(50e3, 10.0), column_of_resin(50e3, 30.0)))
    energy = card_energy(card)
    assert float(card_central(card).E_J_mol[0]) == energy.J_mol < 55e3
    of = card_members(card).E_J_mol
    assert of.mean() == pytest.approx(energy.J_mol)
    assert of.std() == pytest.approx(energy.sd_J_mol, rel=0.02)


def test_a_figure_on_the_sheet_goes_before_its_columns() -> None:
    raw = with_columns(column_of_resin(50e3, 10.0)) | {"kinetics": {"activation_energy_kJ_per_mol": 61}}
    assert card_energy(parse_card(raw)).J_mol == 61e3


@pytest.mark.parametrize(
    ("columns", "path", "message"),
    [
        ({"temperature_degC": 10}, ("film_at",), "must be a list of tables: write [[film_at]]"),
        ([{"recoat_from_h": 5}], ("film_at", 0, "temperature_degC"), "missing"),
        ([{"temperature_degC": 10, "recoat_h": 5}], ("film_at", 0, "recoat_h"), "did you mean"),
        ([{"temperature_degC": 21}], ("film_at", 0, "temperature_degC"), "give each temperature once"),
        (
            [{"temperature_degC": 10}, {"temperature_degC": 11}],
            ("film_at", 1, "temperature_degC"),
            "give each temperature once",
        ),
        (
            [{"temperature_degC": 10, "recoat_from_h": 1.5}],
            ("film_at", 0, "recoat_from_h"),
            "allowed: 20 to 120. Check both against the sheet",
        ),
    ],
)
def test_impossible_columns_are_refused_where_they_stand(
    columns: Any, path: tuple[str | int, ...], message: str
) -> None:
    with pytest.raises(CardError) as caught:
        parse_card(raw_card() | {"film_at": columns})
    assert caught.value.path == path
    assert message in caught.value.message
