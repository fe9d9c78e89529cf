"""Milestones of some kinds of coat only: where their times come from, and what they ask for."""

from __future__ import annotations

import numpy as np
import pytest

from model.calibration import calibrate, card_central, card_members
from model.coat import courses
from model.coat_kinds import FILLET_WARMER_K, RULES, CoatKind, rules_of
from model.film_times import CLOSING, Milestone
from model.laminate_heat import (
    AIR_ABOVE_W_M2K,
    AIR_BELOW_W_M2K,
    Face,
    Layer,
    Slab,
    fresh_laminate,
    laminate_course,
)
from model.material import PLYWOOD
from model.milestones import OF_EVERY_COAT, SAFE_SHARE, passings
from model.resin_card import CardError, ResinCard, parse_card
from tests.resin import HOUR_MS, blocks, medium_sheet, raw_card, shipped, steady

EVERY = frozenset().union(*(rules_of(kind, peel_ply=True, taped=True).more for kind in CoatKind))


def sheet(**film: float) -> ResinCard:
    raw = raw_card()
    raw["film"] = {
        "working_h": 1.5, "recoat_from_h": 2.5, "recoat_until_h": 8, "sand_h": 18, "demould_h": 26,
        "full_cure_h": 168, **film,
    }  # fmt: skip
    return parse_card(raw)


def test_what_a_sheet_leaves_out_is_taken_from_its_other_times() -> None:
    """The factors of the one table: common practice, no source."""
    film = sheet().film
    assert film.hours(Milestone.TRIM_FROM) == pytest.approx(1.5 * 2.5)
    assert film.hours(Milestone.TRIM_UNTIL) == pytest.approx(1.9 * 2.5)
    assert film.hours(Milestone.CARVE_FROM) == film.hours(Milestone.TAPE_UNTIL) == pytest.approx(8.0)
    assert film.hours(Milestone.CARVE_UNTIL) == pytest.approx(12.0), "the geometric mean of 8 and 18"
    assert film.hours(Milestone.CLAMPS_OFF) == film.hours(Milestone.PEEL_PLY_OFF) == pytest.approx(18.0)
    assert film.hours(Milestone.TACK_FREE) is None


def test_a_trim_window_of_a_medium_card_is_open_for_about_an_hour() -> None:
    """TRADE: "open about an hour" (common practice, no source)."""
    film = shipped().film
    opens, shuts = film.hours(Milestone.TRIM_FROM), film.hours(Milestone.TRIM_UNTIL)
    assert opens is not None
    assert shuts is not None
    assert 0.7 < shuts - opens < 1.4


def test_what_the_sheet_gives_counts_and_the_other_end_of_its_window_keeps_its_distance() -> None:
    given = sheet(
        trim_until_h=7.6, carve_from_h=6.0, clamps_off_h=[9.0, 16.0], peel_ply_off_h=20, tape_until_h=5
    ).film
    assert given.hours(Milestone.TRIM_FROM) == pytest.approx(6.0)
    assert given.hours(Milestone.CARVE_UNTIL) == pytest.approx(9.0)
    assert given.hours(Milestone.CLAMPS_OFF) == pytest.approx(12.0)
    assert given.hours(Milestone.PEEL_PLY_OFF) == 20.0
    assert given.hours(Milestone.TAPE_UNTIL) == 5.0
    soon = sheet(trim_until_h=2.6).film
    assert soon.hours(Milestone.TRIM_FROM) == 2.5, "never before it has gelled"


@pytest.mark.parametrize(
    ("key", "hours", "text"),
    [
        ("trim_from_h", 2.0, "recoat_from_h"),
        ("clamps_off_h", 2.0, "recoat_from_h"),
        ("carve_from_h", 2.0, "recoat_from_h"),
    ],
)
def test_an_impossible_order_is_refused_by_name(key: str, hours: float, text: str) -> None:
    with pytest.raises(CardError, match=text) as refused:
        sheet(**{key: hours})
    assert refused.value.path == ("film", key)


def test_every_milestone_of_a_kind_has_a_safe_share_and_no_kind_changes_those_of_every_film() -> None:
    assert set(SAFE_SHARE) == set(Milestone)
    assert set(Milestone) == EVERY | OF_EVERY_COAT
    runs = courses(calibrate(shipped(), card_members(shipped(), 32)), steady(18.0, 30), 0)
    plain = passings(runs, 4 * HOUR_MS)
    for kind in CoatKind:
        if not RULES[kind].warmer_K:
            assert plain.items() <= passings(runs, 4 * HOUR_MS, None, RULES[kind]).items(), kind


def test_milestones_of_kinds_come_at_their_times_at_the_sheets_temperature() -> None:
    """Of the one coat that does what the card says."""
    card = sheet()
    runs = courses(calibrate(card, card_central(card)), steady(card.reference_C, 40), 0)
    found = passings(runs, HOUR_MS, None, rules_of(CoatKind.GLUE_LINE, peel_ply=True, taped=True))
    found |= passings(runs, HOUR_MS, None, RULES[CoatKind.FAIRING]) | passings(
        runs, HOUR_MS, None, RULES[CoatKind.LAMINATE]
    )
    for milestone in EVERY:
        likely = found[milestone].likely
        assert likely is not None
        assert likely / HOUR_MS == pytest.approx(card.film.hours(milestone), rel=5e-3, abs=0.03), milestone


def test_clamps_wait_for_more_of_the_range_than_sanding_and_for_the_hottest_of_two_days() -> None:
    """Load-bearing: by their own 95 %, and on a panel that warms tomorrow later than on one that does not."""
    card = medium_sheet()
    of = calibrate(card, card_members(card))
    runs = courses(of, steady(20.0, 72), 0)
    found = passings(runs, HOUR_MS, None, RULES[CoatKind.GLUE_LINE])
    clamps, sand = found[Milestone.CLAMPS_OFF].safe, found[Milestone.SAND].safe
    assert clamps is not None
    assert sand is not None
    assert clamps > sand
    warming = np.where(np.arange(72 * 60) < 30 * 60, 16.0, 24.0)
    ahead = passings(courses(of, blocks(warming), 0), 20 * HOUR_MS, None, RULES[CoatKind.GLUE_LINE])
    same = passings(courses(of, steady(16.0, 72), 0), 20 * HOUR_MS, None, RULES[CoatKind.GLUE_LINE])
    assert ahead[Milestone.CLAMPS_OFF].passed < same[Milestone.CLAMPS_OFF].passed


def test_a_fillet_closes_sooner_than_a_film_and_opens_no_sooner() -> None:
    runs = courses(calibrate(shipped(), card_members(shipped())), steady(18.0, 60), 0)
    film, fillet = passings(runs, HOUR_MS), passings(runs, HOUR_MS, None, RULES[CoatKind.FILLET])
    for milestone, passing in film.items():
        if milestone in CLOSING:
            assert fillet[milestone].safe < passing.safe, milestone
        else:
            assert fillet[milestone] == passing, milestone


def test_a_fillet_is_as_warm_as_our_own_heat_model_says() -> None:
    """The figures beside FILLET_WARMER_K: 4 K in 1.5 mm and 14 K in 3 mm of an invented medium card."""
    of = calibrate(shipped(), card_central(shipped()))
    rises = []
    for thickness_m in (0.0015, 0.003):
        slab = Slab(
            [Layer(0.012, PLYWOOD), fresh_laminate(thickness_m, 0.3)],
            Face(20.0, AIR_BELOW_W_M2K),
            Face(20.0, AIR_ABOVE_W_M2K),
            20,
        )
        rises.append(laminate_course(of, slab, 20.0, 8.0, 0.05).peak_C - 20.0)
    assert rises[0] == pytest.approx(4.4, abs=1.0)
    assert rises[1] == pytest.approx(14.5, abs=2.0)
    assert rises[0] < FILLET_WARMER_K < rises[1]
