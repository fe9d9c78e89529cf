"""What people said of pots, holds and places, in the answers."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from collector.reading import Quantity
from dashboard import stays
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.facts import Facts
from dashboard.follow import Trace
from dashboard.panel import Coat, Hold, Pot, Stay, ThumbTest
from dashboard.standing_of import pot_now
from model.mix import batch
from model.observation import Word
from model.verdict import Flag, Kind, State
from tests.dashboard.night import HOUR_MS, MIXED, card, night, trace

EVENING = MIXED + 4 * HOUR_MS
CARD = card()
RIGHT = batch(CARD.mix, 400.0)
TOLERANCE = CARD.mix.tolerance_percent / 100


def warm(hour: float) -> float:
    return 20.0


def with_coat(facts: Facts, **more: Any) -> Facts:
    coat = replace(facts.panel.coats[-1], **more)
    return replace(facts, panel=replace(facts.panel, coats=(*facts.panel.coats[:-1], coat)))


def weighed(hardener: float, **more: Any) -> Assessment:
    pot = Pot(MIXED, "e1", RIGHT.resin_g, RIGHT.hardener_g * hardener, **more)
    return assess(with_coat(night(warm, 5), pots=(pot,)), EVENING)


@pytest.mark.parametrize("share", [1 + 1.5 * TOLERANCE, 1 - 1.5 * TOLERANCE])
def test_a_pot_off_its_ratio_is_not_known_and_waiting_does_not_help(share: float) -> None:
    verdict = weighed(share).verdict
    assert verdict.kind is Kind.NOT_KNOWN
    assert verdict.headline.key == "mix_off"
    assert verdict.flags == {Flag.SUSPECT_MIX}
    assert verdict.why[0].key == ("why_mix_over" if share > 1 else "why_mix_under")


@pytest.mark.parametrize("share", [1 + 0.9 * TOLERANCE, 1 - 0.9 * TOLERANCE])
def test_a_pot_within_the_cards_tolerance_changes_nothing(share: float) -> None:
    assert weighed(share).verdict == assess(night(warm, 5), EVENING).verdict


def test_a_pot_that_was_not_stirred_is_not_known_and_one_that_was_is() -> None:
    assert weighed(1.0, stirred=False).verdict.headline.key == "mix_unstirred"
    assert weighed(1.0, stirred=True).verdict.kind is not Kind.NOT_KNOWN


def test_hard_here_and_soft_there_was_not_stirred() -> None:
    patchy = ThumbTest(EVENING - HOUR_MS, (Word.TAPE,), None, patchy=True)
    verdict = assess(with_coat(night(warm, 5), thumb_tests=(patchy,)), EVENING).verdict
    assert (verdict.kind, verdict.headline.key) == (Kind.NOT_KNOWN, "mix_patchy")


def test_a_pot_that_was_mixed_wrongly_teaches_nothing() -> None:
    """The range is as if nobody had felt it."""
    tests = (ThumbTest(EVENING - HOUR_MS, (Word.SOFT_TACK,), None),)
    wrong = (Pot(MIXED, "e1", RIGHT.resin_g, RIGHT.hardener_g * 1.5),)
    untouched = assess(night(warm, 5), EVENING)
    taught = assess(with_coat(night(warm, 5), thumb_tests=tests), EVENING)
    suspect = assess(with_coat(night(warm, 5), thumb_tests=tests, pots=wrong), EVENING)
    assert taught.conversion != untouched.conversion
    assert suspect.conversion == untouched.conversion


def test_a_hold_stands_in_the_headline_until_released_but_not_over_a_running_pot() -> None:
    view = View(ZoneInfo("Europe/Oslo"), "degC", EVENING)
    facts = night(warm, 5)
    held = replace(facts, panel=replace(facts.panel, hold=Hold(EVENING, "Kim", "wrong cloth?")))
    verdict = assess(held, EVENING).verdict
    assert view.sentence(verdict.headline) == "Hold: wrong cloth?"
    assert verdict.kind is Kind.WAIT
    assert verdict.state is assess(facts, EVENING).verdict.state
    running = with_coat(held, applied_at=None)
    assert assess(running, MIXED + 60_000).verdict.state is State.IN_THE_POT


def test_what_was_poured_and_where_makes_the_pots_clock() -> None:
    def pour_by(**pot: Any) -> int:
        found = pot_now(
            Coat(1, CARD.id, MIXED, None, "laminate", "e1", (Pot(MIXED, "e1", **pot),)), CARD, 15.0
        )
        assert found is not None
        return found.pour_by

    small, large = {"resin_g": 75.0, "hardener_g": 25.0}, {"resin_g": 600.0, "hardener_g": 200.0}
    assert pour_by(**large) < pour_by() < pour_by(**small)
    assert pour_by(**large, vessel="tray") > pour_by(**large, vessel="cup")
    assert pour_by(**small, bottles_C=30.0) < pour_by(**small, bottles_C=18.0)


def moved(facts: Facts, hour: float, before: Trace, after: Trace) -> Facts:
    """The night's panel under `before` until `hour`, then under `after`."""
    at = MIXED + round(hour * HOUR_MS)
    places = (Stay(0, "shed", before.probe, None), Stay(at, "warm room", after.probe, None))
    panel = replace(facts.panel, stays=places, surface_probe=after.probe, air_probe=None)
    by_probe = {before.probe: before, after.probe: after}

    def ask(probe: str | None, quantity: Quantity, beside: bool) -> Trace | None:
        return by_probe.get(probe or "") if quantity is Quantity.TEMPERATURE else None

    return replace(facts, panel=panel, surface=stays.surface(panel, ask), air=None, humidity=None)


def test_a_panel_that_was_carried_has_cured_in_both_places() -> None:
    """As if one probe had seen it all; the other probe's hours in the wrong place count for nothing."""
    cold = trace("S1", Quantity.TEMPERATURE, lambda hour: 8.0, until_h=10)
    hot = trace("S9", Quantity.TEMPERATURE, lambda hour: 24.0, until_h=10)
    whole = night(lambda hour: 8.0 if hour < 5 else 24.0, 10, humidity=None)
    at = MIXED + 10 * HOUR_MS
    carried = assess(moved(whole, 5.0, cold, hot), at)
    one = assess(replace(whole, air=None, humidity=None), at)
    assert carried.conversion == pytest.approx(one.conversion, abs=2e-3)
    assert carried.missing_h == 0.0
    joined = moved(whole, 5.0, cold, hot).surface
    assert joined is not None
    assert set(np.unique(joined.samples.value)) == {8.0, 24.0}
