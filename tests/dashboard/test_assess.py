"""What is said about a panel: the trap of the cold, the window, the wash, and what is not known."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from collector.reading import Quality, Quantity
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.facts import Facts
from dashboard.panel import Pot
from dashboard.words import takes
from model.verdict import Flag, Kind, State
from tests.dashboard.night import HOUR_MS, MIXED, after, card, night, trace


def hours(at: int | None) -> float:
    assert at is not None
    return (at - MIXED) / HOUR_MS


def test_a_medium_card_after_36_h_at_5_degC_is_hard_but_not_cured_and_its_window_shut() -> None:
    """The costliest trap: it sands, feels done, and softens when warmed."""
    answer = after(lambda hour: 5.0, 36)
    assert Flag.HARD_NOT_CURED in answer.verdict.flags
    assert Flag.WINDOW_MISSED in answer.verdict.flags
    assert answer.verdict.headline.key == "hard_not_cured"
    softens = answer.verdict.why[0].values["soften_C"]
    assert 5.0 <= float(softens) <= 25.0
    assert any(why.key == "why_warmed" for why in answer.verdict.why), "says how long warmth takes"


def test_36_h_at_21_degC_is_sandable_and_never_flagged() -> None:
    """A normal cure raises neither of the cold's flags at any hour."""
    for hour in (0.2, 4, 12, 24, 36):
        flags = after(lambda hour: 21.0, hour).verdict.flags
        assert not flags & {Flag.HARD_NOT_CURED, Flag.STOPPED_BY_COLD}, hour
    assert after(lambda hour: 21.0, 36).verdict.headline.key == "sandable"


def test_the_sheets_own_temperature_never_stops_the_cure() -> None:
    """Held at its reference temperature no card is ever "stopped by cold", slow ones included."""
    for name in ("invented-15min", "invented-90min", "invented-winter"):
        slow = card(name)
        for hour in (0.5, 20):
            answer = after(lambda hour, T=slow.reference_C: T, hour, of=slow)
            assert Flag.STOPPED_BY_COLD not in answer.verdict.flags, (name, hour)


def test_a_heater_switched_off_after_six_hours_does_not_make_it_sandable() -> None:
    """Falling to 4 degC makes the film glassy at once; Tg less temperature alone would say "sand"."""
    answer = after(lambda hour: 21.0 if hour < 6 else max(4.0, 21.0 - 8.0 * (hour - 6)), 12)
    assert answer.verdict.headline.key not in ("sandable", "wash_sand")
    assert answer.verdict.state is not State.SANDABLE


def test_below_the_cards_minimum_the_headline_says_how_warm_it_must_be() -> None:
    """Six hours into a cold night the cure has stopped; the temperature named lies in the card's range."""
    answer = after(lambda hour: min(16.0, max(5.0, 16.0 - 2.0 * hour)), 7)
    assert answer.verdict.headline.key == "stopped_by_cold"
    assert answer.verdict.kind is Kind.CARE
    assert card().minimum_C <= float(answer.verdict.headline.values["move_C"]) <= card().maximum_C


def test_the_recoat_window_opens_late_and_shuts_early() -> None:
    """The headline's time is the early end of shutting, and never later than the likely one."""
    answer = after(lambda hour: 20.0, 4.2)
    assert answer.verdict.headline.key == "recoatable"
    milestones = {item.name: item for item in answer.milestones}
    shuts = milestones["recoat_until"]
    assert answer.verdict.headline.values["shut_by"] == shuts.early
    assert hours(shuts.early) < hours(shuts.likely) == pytest.approx(8.0, abs=0.25)
    assert answer.good_until <= int(answer.verdict.headline.values["shut_by"])


def test_an_invented_card_leaves_no_safe_window_and_asks_for_the_thumb() -> None:
    """Its wide range overlaps at the two ends; no clock can say when, so none is named."""
    answer = after(lambda hour: 20.0, 3.5, of=card(own=False))
    assert answer.verdict.headline.key == "overlap"


def test_two_coats_recoat_looks_at_the_newest() -> None:
    """A fresh coat on a cured one is workable, not sandable."""
    answer = after(lambda hour: 20.0, 40, coats_h=(0.0, 39.5))
    assert answer.verdict.state is State.WORKABLE
    assert answer.coats == 2


def test_a_silent_probe_is_not_known_and_says_what_was_known() -> None:
    """Three intervals without a reading: never the old answer."""
    answer = after(lambda hour: 20.0, 12, silent_from=9.0)
    assert answer.verdict.headline.key == "silent_probe"
    assert answer.verdict.state is State.NOT_KNOWN
    assert answer.verdict.why[0].values["was"] == "firm"
    assert answer.readings_to == MIXED + 9 * HOUR_MS


def test_a_probe_that_sends_its_power_on_value_is_suspect() -> None:
    """85.0 flagged by the checks is not a temperature, and the page says which probe reads it."""
    facts = night(lambda hour: 20.0, 12)
    lying = trace(
        "S1", Quantity.TEMPERATURE, lambda hour: 85.0 if hour > 11 else 20.0, until_h=12,
        quality=lambda hour: Quality.POWER_ON_VALUE if hour > 11 else Quality.GOOD,
    )  # fmt: skip
    answer = assess(
        Facts(facts.panel, facts.cards, lying, facts.air, facts.humidity, 1), MIXED + 12 * HOUR_MS
    )
    assert answer.verdict.headline.key == "probe_suspect"
    assert answer.verdict.headline.values["read_C"] == 85.0
    assert answer.panel_C != 85.0


@pytest.mark.parametrize("missing", ["probe", "card", "readings"])
def test_what_is_missing_is_named(missing: str) -> None:
    """Without a probe, a card or any reading the answer is "not known", with the way out."""
    facts = night(lambda hour: 20.0, 5)
    if missing == "probe":
        facts = Facts(facts.panel, facts.cards, None, None, None, 1)
    elif missing == "card":
        facts = Facts(facts.panel, {}, facts.surface, facts.air, facts.humidity, 1)
    else:
        empty = trace("S1", Quantity.TEMPERATURE, lambda hour: 0.0, since_h=1, until_h=0)
        facts = Facts(facts.panel, facts.cards, empty, facts.air, facts.humidity, 1)
    answer = assess(facts, MIXED + 5 * HOUR_MS)
    assert answer.verdict.kind is Kind.NOT_KNOWN
    assert answer.verdict.why


def test_a_gap_widens_the_range_and_never_narrows_it() -> None:
    """Three hours missing: every early end is earlier or equal, every late end later or equal.

    Demoulding is left out: the warmer the panel may become, the harder it must be, so both its ends move later.
    """
    whole = {item.name: item for item in after(lambda hour: 16.0, 10).milestones}
    torn = after(lambda hour: 16.0, 10, missing=(3.0, 6.0))
    assert Flag.GAP in torn.verdict.flags
    assert torn.gaps == ((MIXED + 3 * HOUR_MS, MIXED + 6 * HOUR_MS),)
    assert torn.missing_h == pytest.approx(3.0, abs=0.05)
    for item in torn.milestones:
        if item.name == "demould":
            continue
        if item.early is not None and whole[item.name].early is not None:
            assert item.early <= whole[item.name].early, item.name
        if item.late is not None and whole[item.name].late is not None:
            assert item.late >= whole[item.name].late, item.name


def test_moist_air_over_a_young_film_asks_for_a_wash_once_it_can_be_washed() -> None:
    """A tacky film cannot be washed; a firm one is washed before anything else; then it is done."""
    damp = 96.0
    tacky = after(lambda hour: 20.0, 4.0, humidity=damp)
    assert tacky.verdict.headline.key == "wash_later"
    firm = after(lambda hour: 20.0, 9.0, humidity=damp)
    assert firm.verdict.headline.key in ("wash_heavy", "wash_wet")
    assert firm.film is not None
    assert firm.film.level in ("heavy", "wet")
    washed = after(lambda hour: 20.0, 9.0, humidity=damp, washed_h=8.5)
    assert washed.verdict.headline.key == "firm"
    assert washed.film is not None
    assert washed.film.level == firm.film.level, "the exposure stays on record"


def test_nobody_measures_humidity_and_the_answer_says_so() -> None:
    """Unknown moisture is never "no blush"."""
    answer = after(lambda hour: 20.0, 9.0, humidity=None)
    assert any(why.key == "why_film_not_measured" for why in answer.verdict.why)
    assert answer.film is not None
    assert answer.film.level is None


def test_air_alone_caps_the_verdict_at_sanding() -> None:
    """Without a probe on the panel the page says what it rests on."""
    answer = after(lambda hour: 21.0, 60, with_surface=False)
    assert answer.verdict.headline.key == "sandable"
    assert any(why.key == "why_air_only" for why in answer.verdict.why)


def test_nothing_past_sanding_is_ever_said() -> None:
    """Demoulding needs evidence that this version cannot take down."""
    for own in (True, False):
        answer = after(lambda hour: 23.0, 24 * 9, of=card(own=own))
        assert answer.verdict.state is State.SANDABLE


def test_an_assessment_survives_storage_and_can_be_repeated() -> None:
    """The same facts give the same answer to the last bit; JSON brings the same value back."""
    facts = night(lambda hour: 12.0 + 3.0 * np.sin(hour), 20)
    answer = assess(facts, MIXED + 20 * HOUR_MS)
    assert Assessment.from_json(answer.to_json()) == answer
    assert answer == assess(facts, MIXED + 20 * HOUR_MS)


def test_every_sentence_has_the_numbers_its_words_take() -> None:
    """A key without a template, or a template without its number, would break the page at 3 a.m."""
    for hour, T, damp in itertools.product((0.1, 2.5, 4.2, 5.3, 13, 60), (4.0, 20.0), (50.0, 97.0)):
        answer = after(lambda hour, T=T: T, hour, humidity=damp)
        said = [
            answer.verdict.headline,
            *answer.verdict.why,
            *((answer.verdict.next,) if answer.verdict.next else ()),
        ]
        for item in said:
            assert takes(item.key) == set(item.values), (hour, T, damp, item)


def test_degree_hours_and_equivalent_ages_stand_beside_the_kinetics() -> None:
    """Constant 20 degC on a card for 20 degC: age is the hours, the factor degrees times hours."""
    answer = after(lambda hour: 20.0, 12)
    assert answer.equivalent_age_h == pytest.approx(12.0, rel=1e-9)
    assert answer.equivalent_age_interval_mean_h == pytest.approx(12.0, rel=1e-9)
    assert answer.temperature_time_factor_Ch == pytest.approx(240.0, rel=1e-9)


def test_a_coat_not_yet_applied_is_in_the_pot_and_warm_bottles_in_a_cold_shed_count() -> None:
    """Until somebody says that it is on, the pot runs: at most the sheet's life, whatever the cold around it."""
    facts = night(lambda hour: 4.0, 0.1)
    waiting = replace(facts.panel, coats=(replace(facts.panel.coats[0], applied_at=None),))
    answer = assess(replace(facts, panel=waiting), MIXED + 5 * 60_000)
    assert answer.verdict.headline.key == "in_the_pot"
    left_min = (int(answer.verdict.headline.values["pour_by"]) - MIXED) / 60_000
    assert 0.3 * card().pot.life_min < left_min < 0.85 * card().pot.life_min
    assert answer.good_until <= int(answer.verdict.headline.values["pour_by"])


def test_a_coat_of_several_pots_closes_by_the_first_and_becomes_ready_by_the_last() -> None:
    """An hour and a half between the pots: the window opens that much later and shuts no later."""
    facts = night(lambda hour: 20.0, 3.0)
    coat = facts.panel.coats[0]
    pots = replace(coat, pots=(Pot(MIXED), Pot(MIXED + round(1.5 * HOUR_MS))))
    at = MIXED + 3 * HOUR_MS
    one = {item.name: item for item in assess(facts, at).milestones}
    two = {
        item.name: item
        for item in assess(replace(facts, panel=replace(facts.panel, coats=(pots,))), at).milestones
    }
    for name in ("working", "recoat_until", "trim_until"):
        assert two[name].early == one[name].early, name
    for name in ("recoat_from", "tack_free", "sand"):
        assert hours(two[name].late) == pytest.approx(hours(one[name].late) + 1.5, abs=0.05), name


@pytest.mark.parametrize("celsius", [12.0, 14.0])
def test_no_time_further_than_two_days_ahead_is_told_neither_as_headline_nor_as_milestone(
    celsius: float,
) -> None:
    """Our own rule: nobody knows a shed's weather, and so a film, so far ahead to the hour."""
    item = after(lambda h: celsius, 13.0)
    times = [
        time for one in item.milestones for time in (one.early, one.likely, one.late) if time is not None
    ]
    assert max(times) <= item.at + 48 * HOUR_MS
    assert any(one.late is None for one in item.milestones), "full cure, at least, lies beyond"
    for say in (
        item.verdict.headline,
        *item.verdict.why,
        *([item.verdict.next] if item.verdict.next else []),
    ):
        for name, value in say.values.items():
            if name.endswith(("_by", "_from", "_at")):
                assert int(value) <= item.at + 48 * HOUR_MS, say.key
