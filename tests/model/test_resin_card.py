"""Cards: what is read, and every error names the key and the fix."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from model.resin_card import CardError, Milestone, Span, parse_card
from tests.resin import SHIPPED, raw_card, shipped

_MISSING = object()


def changed(path: tuple[str, ...], value: Any) -> dict[str, Any]:
    """The medium card with one key set, or removed."""
    raw = copy.deepcopy(raw_card())
    table = raw
    for name in path[:-1]:
        table = table.setdefault(name, {})
    if value is _MISSING:
        del table[path[-1]]
    else:
        table[path[-1]] = value
    return raw


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_cards_parse_and_say_they_are_invented(name: str) -> None:
    card = shipped(name)
    assert card.id == name
    assert card.invented
    assert "invented" in card.title.lower()


# Rows of common practice at 20 degC, no source: pot at 100 g, working, recoat from/until, sand, demould (h),
# full cure (days), minimum temperature.
TRADE = {
    "invented-winter": ((6, 10), (0.4, 0.7), (0.8, 3.5), (4, 7), (6, 9), (3, 5), (0, 2)),
    "invented-15min": ((11, 16), (0.75, 1.2), (1.5, 6), (8, 13), (11, 17), (5, 7), (5, 5)),
    "invented-25min": ((20, 30), (1.5, 2), (2.5, 9), (14, 20), (20, 30), (7, 9), (10, 10)),
    "invented-clear": ((20, 30), (1.5, 2), (2.5, 9), (14, 20), (20, 30), (7, 9), (10, 10)),
    "invented-45min": ((35, 50), (2.5, 3.4), (4, 14), (24, 32), (32, 46), (9, 12), (15, 15)),
    "invented-90min": ((60, 95), (4, 6), (7, 22), (40, 60), (52, 78), (12, 16), (18, 18)),
}


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_cards_lie_inside_common_practice(name: str) -> None:
    card, (pot, working, window, sand, demould, full, minimum) = shipped(name), TRADE[name]
    film = card.film
    assert card.reference_C == 20.0
    assert pot[0] <= card.pot.life_min <= pot[1]
    assert working[0] <= film.working.low <= film.working.high <= working[1]
    assert window[0] <= film.recoat_from.low < film.recoat_until.high <= window[1]
    assert sand[0] <= film.sand.low <= film.sand.high <= sand[1]
    assert demould[0] <= film.demould.low <= film.demould.high <= demould[1]
    assert full[0] * 24 <= film.cured.low <= film.cured.high <= full[1] * 24
    assert minimum[0] <= card.minimum_C <= minimum[1]
    assert 1.6 <= film.recoat_from.middle / film.working.low <= 1.9
    assert 2.2 <= film.recoat_until.low / film.recoat_from.middle <= 3.0
    assert 5.0 <= film.sand.middle / film.recoat_from.middle <= 6.5
    assert 1.3 <= film.demould.middle / film.sand.middle <= 1.5
    assert film.tack_free is not None
    assert 1.15 <= film.tack_free.middle / film.recoat_from.middle <= 1.30
    assert 1.08 <= card.mix.mixed_density <= 1.13
    assert 2.0 <= card.mix.tolerance_percent <= 5.0


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (("colour",), "amber", "unknown key"),
        (("reference_temperature",), 20, "write 'reference_temperature_degC': the unit belongs to the name"),
        (("film", "sand"), 16, "write 'sand_h': the unit belongs to the name"),
        (("film", "recoat_untill_h"), 8, "did you mean 'recoat_until_h'?"),
        (("film", "recoat_until_h"), _MISSING, "missing: every card must give it"),
        (("film", "sand_h"), "16 h", "a number without quotes"),
        (("film", "sand_h"), True, "a number without quotes"),
        (("film", "sand_h"), float("nan"), "a number without quotes"),
        (("film", "sand_h"), [14, 16, 18], "a range [lower, upper]"),
        (("film", "sand_h"), [18, 14], "range runs backwards: write [14, 18]"),
        (("film", "sand_h"), -2, "between 0.01 and 2000"),
        (("film", "sand_h"), 2.0, "impossible order"),
        (("film", "recoat_until_h"), 2.6, "impossible order"),
        (("film", "recoat_from_h"), [2, 80], "impossible order"),
        (("film", "recoat_until_h"), 30.0, "impossible order"),
        (("film",), 3, "must be a table: write [film]"),
        (("mix", "by"), "mass", 'allowed: "weight" or "volume"'),
        (("title",), "  ", "a text in quotes, not empty"),
        (("invented",), "yes", "true or false, without quotes"),
        (("times_count_from",), "pouring", 'allowed: "mixing" or "application"'),
        (("minimum_temperature_degC",), 22, "must lie between minimum_temperature_degC (22)"),
        (("kinetics", "activation_energy_kJ_per_mol"), 57000, "between 20 and 120"),
    ],
)
def test_errors_name_the_key_and_the_fix(path: tuple[str, ...], value: Any, message: str) -> None:
    with pytest.raises(CardError) as caught:
        parse_card(changed(path, value))
    assert message in caught.value.message
    named = caught.value.path
    assert named[0] == path[0] or path[0] == "minimum_temperature_degC"
    assert str(named[-1]) in str(caught.value)


def test_ranges_give_the_early_end_to_what_closes_and_the_middle_to_what_opens() -> None:
    raw = changed(("film", "recoat_until_h"), [7, 9])
    raw["film"]["sand_h"] = [16, 25]
    raw["film"]["demould_h"] = [24, 30]
    film = parse_card(raw).film
    assert film.recoat_until == Span(7, 9)
    assert film.hours(Milestone.RECOAT_UNTIL) == 7.0
    assert film.hours(Milestone.SAND) == pytest.approx(20.0)


def test_a_window_that_never_opens_is_refused() -> None:
    raw = changed(("film", "recoat_from_h"), [2, 6])
    raw["film"]["tack_free_h"] = 6.5
    raw["film"]["recoat_until_h"] = [3, 8]
    raw["film"]["trim_until_h"] = 7
    with pytest.raises(CardError, match="never opens"):
        parse_card(raw)


def test_optional_keys_may_be_left_out_or_given() -> None:
    raw = changed(("film", "tack_free_h"), _MISSING)
    raw["kinetics"] = {"activation_energy_kJ_per_mol": 52, "full_cure_Tg_degC": 78}
    card = parse_card(raw)
    assert card.film.tack_free is None
    assert card.activation_energy_J_mol == 52e3
    assert card.Tg_inf_C == 78.0
    assert card.heat_J_g is None


def test_parts_by_volume_become_parts_by_weight() -> None:
    """3 : 1 by volume at 1.15 and 0.97 g/cm3: 0.97 / 3.45 g of hardener a gram, 4.42 g in 4 cm3 of mix."""
    mix = shipped().mix
    assert mix.hardener_per_resin_by_weight == pytest.approx(0.97 / 3.45)
    assert mix.mixed_density == pytest.approx((3 * 1.15 + 0.97) / 4)


def test_a_sheets_own_hardness_is_read_and_a_wrong_one_is_named() -> None:
    raw = raw_card() | {"hardness": {"demould_shore_D": 72, "full_cure_barcol": 35}}
    assert dict(parse_card(raw).hardness) == {("demould", "Shore D"): 72.0, ("sign off", "Barcol"): 35.0}
    with pytest.raises(CardError, match="between 1 and 100"):
        parse_card(raw_card() | {"hardness": {"demould_shore_D": 720}})
    with pytest.raises(CardError, match="demould_shore_D"):
        parse_card(raw_card() | {"hardness": {"demould_shored": 72}})
