"""What to pour, in which pots, for which layup; and a wrong ratio is a fault, never a means."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.calibration import Calibration, calibrate, card_central, card_members
from model.layup import (
    FIBRE_FRACTION,
    Cloth,
    Drink,
    Layup,
    Ply,
    Range,
    WetOut,
    resin_weight,
    stage_limit_mm,
    stages,
    wet_out,
)
from model.mix import Pots, batch, batch_for_resin, poured_ratio, split
from model.pot import CUP, TRAY, PotModel, Vessel, pot_model
from model.resin_card import Milestone
from model.stoichiometry import (
    bonded_share,
    gel_conversion,
    gels,
    heat_of_reaction_J_g,
    parts_per_hundred,
    reachable_conversion,
    unreacted_hardener,
)
from model.units import ozyd2_to_gm2
from tests.resin import SHIPPED, shipped


def central(name: str = "invented-25min") -> Calibration:
    card = shipped(name)
    return calibrate(card, card_central(card))


MEDIUM = central()
POT = pot_model(MEDIUM)
MIX = MEDIUM.card.mix  # 3 : 1 by volume, 1.15 and 0.97 g/cm3, 3 % of hardener


def test_grams_and_millilitres_of_a_volume_ratio() -> None:
    """300 ml of resin and 100 ml of hardener: 345 g and 97 g, hardener 94.09 to 99.91 g."""
    got = batch(MIX, 442.0)
    assert (got.resin_g, got.hardener_g) == pytest.approx((345.0, 97.0))
    assert (got.resin_ml, got.hardener_ml) == pytest.approx((300.0, 100.0))
    assert (got.hardener_range_g.low, got.hardener_range_g.high) == pytest.approx((94.09, 99.91))
    assert got.mixed_g == pytest.approx(442.0)


def test_grams_of_a_weight_ratio() -> None:
    """100 : 28 by weight."""
    got = batch_for_resin(shipped("invented-45min").mix, 250.0)
    assert got.hardener_g == pytest.approx(70.0)


@pytest.mark.parametrize("name", SHIPPED)
def test_pouring_what_the_batch_says_is_no_fault(name: str) -> None:
    """Right in the middle and at both ends of the band; a tenth of a percent beyond either end it is one."""
    of = central(name)
    got = batch(of.card.mix, 300.0)
    for hardener in (got.hardener_g, got.hardener_range_g.low, got.hardener_range_g.high):
        assert not poured_ratio(of, got.resin_g, hardener).is_fault
    assert poured_ratio(of, got.resin_g, got.hardener_range_g.low * 0.999).is_fault
    assert poured_ratio(of, got.resin_g, got.hardener_range_g.high * 1.001).is_fault


@settings(max_examples=50, deadline=None)
@given(st.floats(0.1, 10.0), st.floats(1.01, 5.0))
def test_straying_further_from_the_ratio_never_helps(ratio: float, times: float) -> None:
    """On either side of the balance less of the mix can bond, and Tg at the end falls."""
    further = ratio * times if ratio >= 1.0 else ratio / times
    near, far = (
        poured_ratio(MEDIUM, 100.0, r * batch_for_resin(MIX, 100.0).hardener_g) for r in (ratio, further)
    )
    assert far.bonded < near.bonded <= 1.0
    assert far.Tg_limit_C < near.Tg_limit_C <= 85.0
    assert far.conversion <= near.conversion
    assert far.loose_hardener >= near.loose_hardener
    assert set(near.out_of_reach) <= set(far.out_of_reach)


def test_more_hardener_stays_in_the_film() -> None:
    """A tenth too much: a fault of 10 %, one eleventh of it never binds, and Tg ends 10 K or more lower."""
    got = poured_ratio(MEDIUM, 345.0, 97.0 * 1.1)
    assert got.hardener_percent == pytest.approx(10.0)
    assert got.is_fault
    assert got.conversion == 1.0
    assert got.loose_hardener == pytest.approx(1.0 / 11.0)
    assert got.Tg_limit_C < 75.0


def test_a_third_too_little_hardener_never_sands() -> None:
    got = poured_ratio(MEDIUM, 345.0, 97.0 * 0.67)
    assert got.is_fault
    assert got.gels
    assert got.conversion == pytest.approx(0.67)
    assert got.out_of_reach == (Milestone.SAND, Milestone.DEMOULD, Milestone.CURED)


def test_a_pot_without_enough_of_either_never_sets() -> None:
    """Flory-Stockmayer, f 4 and g 2: from a third to three times the balanced hardener it can gel."""
    for ratio, can in ((0.30, False), (0.36, True), (2.8, True), (3.2, False)):
        assert gels(ratio) is can
        assert poured_ratio(MEDIUM, 345.0, 97.0 * ratio).gels is can


def test_a_balanced_mix_leaves_nothing() -> None:
    assert (reachable_conversion(1.0), unreacted_hardener(1.0), bonded_share(1.0)) == (1.0, 0.0, 1.0)


def test_layup_counts_cloth_and_whatever_else_drinks() -> None:
    """2 m2, two plies of 300 g/m2 at half glass, bare ply, peel ply, a roller, nothing wasted."""
    job = Layup(2.0, [Ply(300.0, 0.5, 2)], [Drink.BARE_PLY, Drink.PEEL_PLY], tools=1, waste_share=0.0)
    assert job.mixed_g == Range(2.0 * (600.0 + 120.0 + 80.0) + 50.0, 2.0 * (600.0 + 200.0 + 120.0) + 100.0)
    assert job.mixed_g.middle == pytest.approx(1795.0)
    assert job.glass_g == 1200.0
    assert replace(job, waste_share=0.2).mixed_g.low == pytest.approx(job.mixed_g.low / 0.8)


def test_kinds_of_cloth_take_what_the_trade_says() -> None:
    """Woven its own weight, stitched mat 1.3 to 1.8 times (common practice, no source)."""
    assert resin_weight(400.0, FIBRE_FRACTION[Cloth.WOVEN]) == pytest.approx(400.0)
    assert 1.3 < resin_weight(1.0, FIBRE_FRACTION[Cloth.STITCHED_MAT]) < 1.8


@pytest.mark.parametrize(
    ("ounces", "how"),
    [
        (6.0, WetOut.DRY_FROM_THE_TOP),
        (12.0, WetOut.DRY_FROM_THE_TOP),
        (13.0, WetOut.INTO_A_WET_COAT),
        (20.0, WetOut.INTO_A_WET_COAT),
        (24.0, WetOut.BACK_TOO),
    ],
)
def test_how_a_cloth_is_wetted(ounces: float, how: WetOut) -> None:
    """Common practice, no source; on a vertical a tack coat comes first whatever the weight."""
    assert wet_out(ozyd2_to_gm2(ounces)) is how
    assert wet_out(ozyd2_to_gm2(ounces), flat=False) is WetOut.TACK_COAT_FIRST


def test_thick_layups_go_in_stages() -> None:
    """Common practice, no source: 3 to 5 mm wet on wet with a fast system, 6 to 8 mm with a slow one."""
    limits = [
        stage_limit_mm(shipped(f"invented-{name}")) for name in ("winter", "15min", "25min", "45min", "90min")
    ]
    assert limits[:2] == [3.0, 3.0]
    assert 3.0 < limits[2] < 6.0
    assert limits[3:] == [6.0, 6.0]
    assert [stages(mm, shipped("invented-45min")) for mm in (2.0, 6.0, 6.1, 12.0, 13.0)] == [1, 1, 2, 2, 3]


def pots(
    grams: float, bottles_C: float = 20.0, air_C: float = 20.0, vessel: Vessel = CUP, of: PotModel = POT
) -> Pots:
    got = split(of, grams, bottles_C, air_C, vessel)
    assert got is not None
    return got


@settings(max_examples=25, deadline=None)
@given(st.floats(20.0, 8000.0), st.floats(5.0, 32.0), st.floats(5.0, 32.0), st.sampled_from((CUP, TRAY)))
def test_every_pot_is_empty_while_it_is_usable_and_one_pot_fewer_would_not_be(
    grams: float, bottles_C: float, air_C: float, vessel: Vessel
) -> None:
    got = pots(grams, bottles_C, air_C, vessel)
    assert got.needed_h <= got.life.pour_by_h
    assert got.count * got.each.mixed_g == pytest.approx(grams)
    if got.count > 1:
        bigger = grams / (got.count - 1)
        needed_h = (3.0 + bigger / 25.0) / 60.0
        assert needed_h > 0.995 * POT.life(bigger, vessel, bottles_C, air_C).pour_by_h


def test_warmer_bottles_ask_for_more_pots_and_a_tray_for_fewer() -> None:
    counts = [pots(3000.0, T, 10.0).count for T in (10.0, 15.0, 20.0, 25.0, 30.0)]
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]
    assert pots(3000.0, vessel=TRAY).count < pots(3000.0).count


def test_bottles_temperature_counts_not_the_sheds() -> None:
    """25 degC bottles in an 8 degC shed: the split is nearly that of a 25 degC room."""
    cold, warm, room = pots(3000.0, 8.0, 8.0), pots(3000.0, 25.0, 8.0), pots(3000.0, 25.0, 25.0)
    assert cold.count < warm.count <= room.count
    assert room.count - warm.count <= 2


def test_slower_hands_ask_for_more_pots() -> None:
    counts = []
    for g_min in (100.0, 50.0, 25.0, 12.0, 6.0):
        got = split(POT, 3000.0, 20.0, 20.0, CUP, g_min)
        assert got is not None
        counts.append(got.count)
    assert all(a <= b for a, b in itertools.pairwise(counts))
    assert counts[0] < counts[-1]


def test_a_resin_too_quick_for_the_heat_gets_no_pot() -> None:
    assert split(pot_model(central("invented-winter")), 500.0, 38.0, 38.0) is None


def test_wrong_questions_are_refused() -> None:
    with pytest.raises(ValueError, match="a pot holds more than 0 g"):
        batch(MIX, 0.0)
    with pytest.raises(ValueError, match="more than 0 g of resin"):
        batch_for_resin(MIX, -1.0)
    with pytest.raises(ValueError, match="more than 0 g of hardener"):
        poured_ratio(MEDIUM, 100.0, 0.0)
    with pytest.raises(ValueError, match="central member alone"):
        poured_ratio(calibrate(MEDIUM.card, card_members(MEDIUM.card, 8)), 100.0, 30.0)
    with pytest.raises(ValueError, match="mass and spreading"):
        split(POT, 100.0, 20.0, 20.0, CUP, 0.0)
    with pytest.raises(ValueError, match="area above 0"):
        Layup(0.0)
    with pytest.raises(ValueError, match="a ply has"):
        Ply(300.0, 1.0)
    with pytest.raises(ValueError, match="thicker than 0"):
        stages(0.0, MEDIUM.card)
    with pytest.raises(ValueError, match="EEW must be"):
        parts_per_hundred(0.0, 30.0)
    with pytest.raises(ValueError, match="AHEW must be"):
        heat_of_reaction_J_g(187.0, float("nan"))
    with pytest.raises(ValueError, match="no network"):
        gel_conversion(2, 2)
