"""What a film mixed at some hour would meet, and the last start that still gets tack-free in time."""

from __future__ import annotations

import numpy as np
import pytest

from model.blocks import MINUTE_MS, Blocks, Floats
from model.calibration import calibrate, card_members
from model.mix_hours import first_hours, latest_start, start_at, surface_rh
from model.psychrometrics import dew_point_C
from model.resin_card import Milestone
from model.what_if import passed_if
from tests.resin import shipped

CARD = shipped("invented-winter")
FILM = calibrate(CARD, card_members(CARD, 64))
START = 1_795_629_600_000
HOURS = 48


def night(panel: Floats, spread_K: float = 0.5) -> Blocks:
    count = len(panel)
    return Blocks(START, panel, panel, panel, np.zeros(count, np.bool_), np.full(count, spread_K))


def falling(from_C: float, to_C: float) -> Blocks:
    return night(np.linspace(from_C, to_C, HOURS * 60))


def test_a_film_that_starts_later_meets_only_what_comes_after_it() -> None:
    """A panel that falls steadily: later starts are colder, and tack-free comes when the film's own sum says."""
    ahead, dew = falling(20.0, 5.0), np.full(HOURS * 60, 2.0)
    early, late = (start_at(FILM, ahead, dew, START + hours * 3_600_000) for hours in (0, 12))
    assert early.panel_C > late.panel_C
    assert early.coldest_C > late.coldest_C
    assert early.rise_K == late.rise_K == 0.0
    alone = passed_if(FILM, ahead, late.at_ms, late.at_ms)[Milestone.TACK_FREE].safe
    assert late.tack_free_ms is not None
    assert alone is not None
    assert abs(late.tack_free_ms - alone) <= 5 * MINUTE_MS, "rows of the outlook are up to a quarter long"


def test_coldest_and_least_margin_are_those_of_the_cold_end_before_tack_free() -> None:
    """Ten cold minutes after tack-free harm nobody; before it they count with the forecast's spread."""
    panel = np.full(HOURS * 60, 15.0)
    plain = start_at(FILM, night(panel), np.full(len(panel), 5.0), START)
    assert plain.tack_free_ms is not None
    free = (plain.tack_free_ms - START) // MINUTE_MS
    assert plain.coldest_C == pytest.approx(15.0 - 1.2815515655446004 * 0.5)
    assert plain.least_margin_K == pytest.approx(plain.coldest_C - 5.0)
    after, before = panel.copy(), panel.copy()
    after[free + 30 : free + 40] = 1.0
    before[30:40] = 6.0
    dew = np.full(len(panel), 5.0)
    assert start_at(FILM, night(after), dew, START).closes_ms is None
    wet = start_at(FILM, night(before), dew, START)
    assert wet.closes_ms == START + 30 * MINUTE_MS
    assert wet.least_margin_K is not None
    assert wet.least_margin_K < 1.0


def test_an_unknown_dew_point_is_never_a_kept_margin() -> None:
    panel = np.full(HOURS * 60, 15.0)
    dew = np.full(len(panel), 5.0)
    dew[60] = np.nan
    got = start_at(FILM, night(panel), dew, START)
    assert got.least_margin_K is None
    assert got.closes_ms == START + 60 * MINUTE_MS


def test_no_later_start_is_tack_free_in_time() -> None:
    """Found by looking at every quarter of an hour in turn, with the sums of a single start."""
    ahead, dew = falling(18.0, 2.0), np.full(HOURS * 60, 5.0)
    found, by_cold = latest_start(FILM, ahead, dew)
    assert not by_cold
    assert found.latest_ms is not None
    assert found.closes_ms is not None
    for minutes in range(0, HOURS * 60, 15):
        at = START + minutes * MINUTE_MS
        if at >= found.closes_ms:
            break
        free = passed_if(FILM, ahead, at, at)[Milestone.TACK_FREE].safe
        in_time = free is not None and free <= found.closes_ms
        assert in_time == (at <= found.latest_ms) or abs(at - found.latest_ms) < 15 * MINUTE_MS


def test_below_the_cards_minimum_the_cold_ends_it_though_the_air_is_dry() -> None:
    ahead, dry = falling(18.0, -4.0), np.full(HOURS * 60, -30.0)
    found, by_cold = latest_start(FILM, ahead, dry)
    assert by_cold
    assert found.closes_ms is not None
    minute = (found.closes_ms - START) // MINUTE_MS
    edge = CARD.minimum_C + 1.2815515655446004 * 0.5
    assert ahead.central[minute] < edge <= ahead.central[minute - 1]


def test_a_night_that_keeps_both_has_no_latest_start() -> None:
    ahead, dry = night(np.full(HOURS * 60, 15.0)), np.full(HOURS * 60, 5.0)
    found, by_cold = latest_start(FILM, ahead, dry)
    assert (found.latest_ms, found.closes_ms, by_cold) == (None, None, False)


def test_humidity_at_a_surface_as_warm_as_the_air_is_the_airs() -> None:
    assert surface_rh(12.0, float(dew_point_C(12.0, 70.0))) == pytest.approx(70.0)
    assert surface_rh(5.0, 9.0) == 100.0
    assert surface_rh(5.0, float("nan")) is None


def test_wrong_questions_are_refused() -> None:
    ahead = night(np.full(60, 15.0))
    with pytest.raises(ValueError, match="outside the outlook"):
        start_at(FILM, ahead, np.full(60, 5.0), START - 1)
    with pytest.raises(ValueError, match="one value a minute"):
        start_at(FILM, ahead, np.full(59, 5.0), START)
    assert len(first_hours(ahead, 0.5)) == 30
    assert len(first_hours(ahead, 5.0)) == 60
