"""How much and in which pots: against tables from outside, and no pot is ever promised longer than it lasts."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.clock import SystemClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard.cli import main
from dashboard.coat_course import pot_of
from dashboard.mix_asked import ClothAsked, MixAsked
from dashboard.mix_hour import Onto
from dashboard.mix_work import MixWork, mix_work
from dashboard.panel import Coat, Pot
from dashboard.pot_times import pot_times, standing_pot
from dashboard.standing_of import pot_now
from model.layup import Cloth, WetOut
from model.pot import CUP, TRAY
from tests.dashboard.cli.test_commands import SETTINGS
from tests.dashboard.night import HOUR_MS, MIXED, card
from tests.resin import SHIPPED

MEDIUM = card("invented-25min")


def work(
    asked: MixAsked,
    bottles_C: float | None = 20.0,
    air_C: float | None = 20.0,
    onto: Onto = "other",
    name: str = "invented-25min",
) -> MixWork:
    got = mix_work(card(name), asked, onto, bottles_C, air_C)
    assert got is not None
    return got


def bare(weight: float, kind: Cloth, plies: int = 1, area: float = 1.0) -> MixAsked:
    """So much cloth and nothing else."""
    return MixAsked(area_m2=area, cloths=(ClothAsked(weight, plies, kind),), tools=0)


@pytest.mark.parametrize(
    ("weight", "kind", "resin_gm2"),
    [
        *((w, Cloth.WOVEN, w) for w in (200.0, 300.0, 450.0, 600.0, 800.0)),
        (200.0, Cloth.CHOPPED_MAT, 467.0),
        (300.0, Cloth.CHOPPED_MAT, 700.0),
        (450.0, Cloth.CHOPPED_MAT, 1050.0),
        (600.0, Cloth.CHOPPED_MAT, 1400.0),
        (800.0, Cloth.CHOPPED_MAT, 1867.0),
    ],
)
def test_resin_of_a_square_metre_is_the_tables(weight: float, kind: Cloth, resin_gm2: float) -> None:
    """w (1 - x) / x at half glass and at 30 %, a supplier's page (6 kg of glass at 30 % take 14 kg of resin); to half
    a gram. 5 % stay in cups and on sticks.
    """
    mixed = work(bare(weight, kind)).now.mixed_g
    assert mixed.low == mixed.high
    assert mixed.middle * 0.95 == pytest.approx(resin_gm2, abs=0.5)


def test_six_kilograms_of_mat_take_fourteen_of_resin() -> None:
    """A composite supplier's questions-and-answers page: 20 m2 of 300 g/m2 mat at 30 % glass."""
    assert work(bare(300.0, Cloth.CHOPPED_MAT, area=20.0)).now.mixed_g.middle * 0.95 == pytest.approx(
        14_000.0
    )


def test_what_else_drinks_is_mixed_too_and_fill_coats_have_a_mix_of_their_own() -> None:
    """Bare ply 120 to 200 g/m2, peel ply 80 to 120, a roller 50 to 100 g (common practice, no source)."""
    asked = replace(bare(300.0, Cloth.WOVEN, 2, 2.0), peel=True, tools=1, fills=3)
    got = work(asked, onto="wood")
    assert got.now.mixed_g.low == pytest.approx((2.0 * (600.0 + 120.0 + 80.0) + 50.0) / 0.95)
    assert got.now.mixed_g.high == pytest.approx((2.0 * (600.0 + 200.0 + 120.0) + 100.0) / 0.95)
    assert got.fill is not None
    assert got.fill.mixed_g.middle < got.now.mixed_g.middle
    alone = work(MixAsked(area_m2=2.0, tools=1, fills=1))
    assert alone.fill is None, "a fill coat asked for alone is what is mixed now"
    assert alone.now.mixed_g == got.fill.mixed_g


def test_nothing_asked_is_nothing_mixed() -> None:
    assert mix_work(MEDIUM, MixAsked(), "wood", 20.0, 20.0) is None
    assert mix_work(MEDIUM, MixAsked(area_m2=2.0), "other", 20.0, 20.0) is None
    assert work(MixAsked(area_m2=2.0), onto="foam").now.mixed_g.low > 600.0


@settings(max_examples=30, deadline=None)
@given(
    st.sampled_from(SHIPPED),
    st.floats(30.0, 6000.0),
    st.none() | st.floats(5.0, 30.0),
    st.none() | st.floats(0.0, 30.0),
    st.booleans(),
)
def test_every_pot_is_spread_before_the_quick_end_of_the_card_must_be_out(
    name: str, grams: float, bottles_C: float | None, air_C: float | None, tray: bool
) -> None:
    got = work(MixAsked(amount_g=grams, tray=tray), bottles_C, air_C, name=name)
    if got.now.pots is None:
        return
    assert got.now.times is not None
    assert got.now.pots.needed_h <= got.now.times.pour_by_h
    assert got.now.times.pour_by_h < min(got.now.times.usable_h, got.now.times.smokes_h)
    assert got.now.pots.count * got.now.pots.each.mixed_g == pytest.approx(grams)
    assert got.now.at_once.smokes_h <= got.now.times.smokes_h * (1.0 + 1e-4), "more mass is never longer"


@pytest.mark.parametrize("name", SHIPPED)
@pytest.mark.parametrize("T_C", [20.0, 25.0])
@pytest.mark.parametrize("grams", [200.0, 500.0])
def test_a_cup_of_200_or_500_g_is_called_in_before_it_smokes(name: str, T_C: float, grams: float) -> None:
    """Whether the split leaves it whole or not, its own hour of smoke is told and lies after the one to pour."""
    whole = pot_times(card(name), grams, CUP, T_C, T_C)
    assert whole.pour_by_h < whole.smokes_h < math.inf
    sheet = pot_of(card(name)).life(grams, CUP, T_C, T_C)
    assert whole.pour_by_h < sheet.pour_by_h, "promised for the quick end of the card's range"
    assert whole.smokes_h < sheet.hot_h
    assert whole.usable_h == sheet.usable_h
    got = work(MixAsked(amount_g=grams), T_C, T_C, name=name).now
    assert got.at_once.smokes_h == pytest.approx(whole.smokes_h)


@pytest.mark.parametrize("name", SHIPPED)
def test_the_sheets_own_pot_life_comes_back(name: str) -> None:
    sheet = card(name).pot
    times = pot_times(card(name), sheet.mass_g, CUP, sheet.temperature_C, sheet.temperature_C)
    assert 60.0 * times.usable_h == pytest.approx(sheet.life_min, rel=1e-5)
    tray = pot_times(card(name), sheet.mass_g, TRAY, sheet.temperature_C, sheet.temperature_C)
    assert tray.usable_h >= times.usable_h


def test_bottles_nobody_measured_count_as_warm_and_the_verdict_uses_the_pots_own() -> None:
    """The same pot with its weights and cold bottles told lasts longer than one of which nobody said anything."""
    unknown, known = Pot(MIXED), Pot(MIXED, "e1", 90.0, 26.0, "cup", 15.0)
    assert standing_pot(unknown, MEDIUM, 10.0).pour_by_h < standing_pot(known, MEDIUM, 10.0).pour_by_h
    got = work(MixAsked(amount_g=100.0), None, 10.0)
    assert got.assumed
    assert got.bottles_C == 25.0
    coat = Coat(1, MEDIUM.id, MIXED, None, "laminate", "e1", (known,))
    said = pot_now(coat, MEDIUM, 10.0)
    assert said is not None
    assert said.usable_at == MIXED + round(standing_pot(known, MEDIUM, 10.0).usable_h * HOUR_MS)


def test_how_cloth_is_wetted_and_thick_layups_are_staged() -> None:
    """Common practice, no source: 407 and 678 g/m2 are the limits, 3 mm wet on wet with a fast system."""
    asked = MixAsked(
        area_m2=1.0,
        cloths=tuple(ClothAsked(weight, 3, Cloth.WOVEN) for weight in (300.0, 600.0, 900.0)),
    )
    got = work(asked, name="invented-15min")
    assert [how for _, how in got.wetting] == [
        WetOut.DRY_FROM_THE_TOP,
        WetOut.INTO_A_WET_COAT,
        WetOut.BACK_TOO,
    ]
    assert got.thickness_mm == pytest.approx(3 * 1.8 * 1.2240, rel=1e-3)
    assert got.stages == 3
    upright = work(replace(asked, upright=True))
    assert {how for _, how in upright.wetting} == {WetOut.TACK_COAT_FIRST}


def test_a_pot_and_film_that_contradict_are_told() -> None:
    quick = replace(MEDIUM, pot=replace(MEDIUM.pot, life_min=5.0))
    got = mix_work(quick, MixAsked(amount_g=100.0), "other", 20.0, 20.0)
    assert got is not None
    assert got.disagrees
    assert pot_of(quick).disagrees


def test_the_command_says_the_hour_and_the_pots(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A probe without humidity: mix if; two plies of 300 g/m2 over a square metre."""
    (tmp_path / "coldshed.toml").write_text(
        SETTINGS.replace("interval_s = 300", "interval_s = 60"), encoding="utf-8"
    )
    (tmp_path / "data").mkdir()
    clock = SystemClock()
    writer = Writer.open(tmp_path / "data" / "readings.db", clock)
    writer.describe([ProbeFacts("L1", "shed", "surface", 60.0, 0.8)])
    now = clock.now()
    writer.commit([Reading("L1", Quantity.TEMPERATURE, 18.0, now - n * 60_000, now) for n in range(60)])
    writer.close()
    ask = ["mix", "L1", "--settings", str(tmp_path / "coldshed.toml"), "--card", "invented-25min", "--onto", "other",
           "--bottles", "20", "--area", "1", "--cloth", "300x2:woven"]  # fmt: skip
    assert main(ask) == 0
    told = capsys.readouterr().out
    assert "shed, L1, invented-25min: Mix if you know the air is dry: nobody measures it" in told
    assert "can smoke at" in told
    assert main([*ask, "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert body["hour"]["answer"] == "mix if"
    assert body["mix"]["now"]["mixed_g"][0] == pytest.approx((600.0 + 50.0) / 0.95)
    assert main([*ask, "--cloth", "9x2"]) == 1
    assert "cloth_gm2: '9' is not a number from 10 to 3000 g/m²" in capsys.readouterr().err
    assert main([*ask[:1], "nowhere", *ask[2:]]) == 1
    assert "no panel or probe is called 'nowhere'; there are: L1" in capsys.readouterr().err
