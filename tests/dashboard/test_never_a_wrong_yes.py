"""Situations in which an answer once came out too good: each must stay on the safe side."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.reading import Quantity
from dashboard import stays
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.facts import Facts
from dashboard.follow import Trace
from dashboard.panel import Stay
from model.verdict import Flag, Kind
from tests.dashboard.night import HOUR_MS, MIXED, after, card, night, trace

GO_ON = {"recoatable", "recoatable_last", "sandable", "sanded", "firm"}
"""Headlines that ask for no wash."""


def key(answer: Assessment) -> str:
    return answer.verdict.headline.key


@pytest.mark.parametrize("hours", [84, 96, 150])
def test_days_below_the_minimum_do_not_turn_hard_into_sandable(hours: float) -> None:
    """Nothing is claimed below the card's minimum: not a degree of heat, not a step nearer to "sand"."""
    assert key(after(lambda hour: 5.0, hours)) == "hard_not_cured"


def test_a_panel_cured_warm_and_then_cooled_may_be_sanded() -> None:
    """The cold itself takes nothing back from a film that is cured."""
    assert key(after(lambda hour: 21.0 if hour < 40 else 5.0, 44)) == "sandable"


def test_cold_glass_that_may_be_sanded_is_not_a_plain_go_and_never_leads_to_demoulding() -> None:
    """In the card's range and past the sheet's time, but short of its cure: sand it supported, no demould."""
    winter = card("invented-winter")
    for hours in (24, 30, 40):
        answer = after(lambda hour: 4.0, hours, of=winter)
        if Flag.HARD_NOT_CURED in answer.verdict.flags:
            assert answer.verdict.kind is Kind.CARE, hours
            assert answer.verdict.next is None or answer.verdict.next.key != "next_demould"


@pytest.mark.parametrize("name", ["invented-15min", "invented-25min", "invented-45min", "invented-winter"])
@pytest.mark.parametrize("hours", [1.5, 2.5, 3.5, 5.0])
def test_a_wet_film_is_told_also_where_the_thumb_decides(name: str, hours: float) -> None:
    """A card without a safe window must not hide the wash behind "try your thumb"."""
    answer = after(lambda hour: 20.0, hours, of=card(name, own=False), humidity=100.0)
    assert key(answer) not in {"overlap", "recoatable", "recoatable_last"}, hours


@pytest.mark.parametrize("died", [-0.02, 0.2])
@pytest.mark.parametrize("hours", [4.2, 9.0, 30.0])
def test_a_humidity_sensor_that_died_means_wash(died: float, hours: float) -> None:
    """While the film was young a gap means wash, whether the sensor died before the mixing or after it."""
    facts = night(lambda hour: 20.0, hours)
    blind = trace("A1", Quantity.RELATIVE_HUMIDITY, lambda hour: 97.0, until_h=died)
    answer = assess(replace(facts, humidity=blind), MIXED + round(hours * HOUR_MS))
    assert key(answer) not in GO_ON, hours
    assert Flag.WASH_FIRST in answer.verdict.flags


def test_a_slow_humidity_logger_is_not_forgotten() -> None:
    """A reading every half hour through a damp night: still exposed the next day."""
    for hours in (9.0, 30.0):
        facts = night(lambda hour: 20.0, hours)
        slow = trace("A1", Quantity.RELATIVE_HUMIDITY, lambda hour: 97.0, until_h=hours, interval_s=1800.0)
        answer = assess(replace(facts, humidity=slow), MIXED + round(hours * HOUR_MS))
        assert key(answer).startswith("wash"), hours


@pytest.mark.parametrize("washed", [-1.0, 0.05, 0.5, 2.0])
def test_a_wash_that_cannot_have_been_one_excuses_nothing(washed: float) -> None:
    """Before the coat, or while it was tacky: that was another coat, or a slip of the thumb."""
    answer = after(lambda hour: 20.0, 9.0, humidity=99.0, washed_h=washed)
    assert key(answer) in ("wash_heavy", "wash_wet")


def test_sanded_but_not_washed_is_still_told() -> None:
    """Sanding rubs blush in; only washing takes it off."""
    facts = night(lambda hour: 20.0, 30.0, humidity=99.0)
    sanded = replace(facts.panel, sanded_at=MIXED + 25 * HOUR_MS)
    assert key(assess(replace(facts, panel=sanded), MIXED + 30 * HOUR_MS)) == "wash_sand"
    dry = night(lambda hour: 20.0, 30.0)
    answer = assess(
        replace(dry, panel=replace(dry.panel, sanded_at=MIXED + 25 * HOUR_MS)), MIXED + 30 * HOUR_MS
    )
    assert key(answer) == "sanded"


def test_an_hour_without_readings_while_young_asks_for_a_wash() -> None:
    """Ten minutes of dew are enough; nobody can exclude them."""
    answer = after(lambda hour: 20.0, 5.0, humidity=50.0, missing=(0.3, 1.3))
    assert key(answer) not in GO_ON


def test_the_headline_that_names_no_time_still_ends_with_the_window() -> None:
    """ "Recoat now" must not outlive the window, however slow the probe."""
    facts = night(lambda hour: 20.0, 5.0)
    slow = trace("S1", Quantity.TEMPERATURE, lambda hour: 20.0, until_h=5.0, interval_s=600.0)
    answer = assess(replace(facts, surface=slow), MIXED + 5 * HOUR_MS)
    assert key(answer) == "recoatable_last"
    shuts = {item.name: item for item in answer.milestones}["recoat_until"].early
    assert shuts is not None
    assert answer.good_until <= shuts


def test_time_spent_below_the_minimum_does_not_open_the_window_by_the_clock() -> None:
    """Twelve hours at 5 degC and an hour in the range: the thumb decides, not the sheet."""
    answer = after(lambda hour: 5.0 if hour < 12 else 10.6, 13.2)
    assert key(answer) not in ("recoatable", "recoatable_last")


def test_from_the_air_alone_the_window_shuts_by_the_warmer_of_air_and_lagging_panel() -> None:
    """A skin that follows the air is firm long before a heavy mould is."""
    facts = night(lambda hour: 20.0, 9.5, with_surface=False, air=lambda hour: 8.0 if hour < 6 else 24.0)
    for substrate in ("wood", "metal mould"):
        answer = assess(
            replace(facts, panel=replace(facts.panel, substrate=substrate)), MIXED + round(9.5 * HOUR_MS)
        )
        assert key(answer) not in ("recoatable", "recoatable_last", "wash_recoat"), substrate


def test_one_cold_reading_does_not_turn_the_answer() -> None:
    """Fifteen seconds at 9.9 degC are a draught, not a stopped cure."""
    steady = after(lambda hour: 20.0, 4.0)
    draught = after(lambda hour: 20.0 if hour < 3.996 else 9.9, 4.0)
    assert key(draught) == key(steady) == "recoatable"


def test_no_sentence_names_a_likely_time_that_has_passed() -> None:
    """The headline waits for the slow end; "likely" must then say something that is still to come."""
    for T in (13.0, 20.0):
        for hours in (6, 16, 18, 20, 22, 40, 60):
            following = after(lambda hour, T=T: T, hours).verdict.next
            for name, value in (following.values if following else {}).items():
                assert not name.endswith("_at") or int(value) >= MIXED + hours * HOUR_MS, (
                    T,
                    hours,
                    following,
                )


def test_a_clock_that_went_back_is_not_an_answer() -> None:
    """Ten hours before the coat was mixed nobody can say "wet out"."""
    assert key(assess(night(lambda hour: 20.0, 1.0), MIXED - 10 * HOUR_MS)) == "clock_back"


def test_a_gap_of_weeks_stays_within_what_a_shed_can_be() -> None:
    """The bounds of a long gap are clamped; nothing overflows."""
    facts: Facts = night(lambda hour: 15.0, 24.0 * 13, missing=(1.0, 24.0 * 12.5))
    answer = assess(facts, MIXED + 24 * 13 * HOUR_MS)
    assert Flag.GAP in answer.verdict.flags


def wet_from(hour: float, hours: float, *, until: float = 1e9, **panel: float) -> Assessment:
    """At 18 degC, the air dry until `hour`, then warmer and moist, the panel 2.8 K under its dew point."""

    def wet(now: float) -> bool:
        return hour <= now < until

    facts = night(lambda _: 18.0, hours, air=lambda now: 21.0 if wet(now) else 18.0)
    moist = trace("A1", Quantity.RELATIVE_HUMIDITY, lambda now: 99.0 if wet(now) else 50.0, until_h=hours)
    done = {name: MIXED + round(at * HOUR_MS) for name, at in panel.items()}
    facts = replace(facts, panel=replace(facts.panel, **done), humidity=moist)  # type: ignore[arg-type]
    return assess(facts, MIXED + round(hours * HOUR_MS))


def test_nothing_is_coated_while_water_lies_on_it() -> None:
    """Washed, in its window, and under the dew point since: no "recoat"; nor sanded and ready, and wet."""
    assert key(wet_from(99.0, 5.0, washed_at=3.8)) == "recoatable"
    assert key(wet_from(3.9, 5.0, washed_at=3.8)) not in GO_ON
    assert key(wet_from(4.8, 5.0, washed_at=4.7)) not in GO_ON
    assert key(wet_from(99.0, 40.0, washed_at=38.0, sanded_at=38.5)) == "sanded"
    wet = wet_from(39.0, 40.0, washed_at=38.0, sanded_at=38.5).verdict
    assert (wet.headline.key, wet.kind, wet.why[0].key) == ("wash_wet", Kind.CARE, "why_wet_now")
    assert wet.why[0].values["under_K"] == pytest.approx(2.84, abs=0.01)  # Magnus, as in model.psychrometrics


def test_water_on_a_young_film_after_the_wash_asks_for_another() -> None:
    """Dry again, but it was wet while it could still blush: what was washed before does not count."""
    assert key(wet_from(3.9, 5.0, until=4.6, washed_at=3.8)) not in GO_ON
    assert key(wet_from(3.9, 5.0, until=4.6, washed_at=4.7)) == "recoatable"


@pytest.mark.parametrize(("hours", "says"), [(5.0, "wash_wet"), (30.0, "wash_sand")])
@pytest.mark.parametrize("air_probe", ["A1", None])
def test_a_film_that_got_wet_stays_so_where_no_probe_hangs_in_the_air(
    air_probe: str | None, hours: float, says: str
) -> None:
    """Wet while young from 1 h to 3 h, carried at 3.2 h: what it met is not forgotten with the probe that saw it."""
    facts = night(lambda _: 20.0, hours)
    moist = trace("A1", Quantity.RELATIVE_HUMIDITY, lambda h: 99.9 if 1 < h < 3 else 50.0, until_h=hours)
    here = Stay(MIXED + round(3.2 * HOUR_MS), "hall", "S1", air_probe)
    panel = replace(facts.panel, stays=(Stay(0, "shed", "S1", "A1"), here), air_probe=air_probe)
    heard = {Quantity.TEMPERATURE: facts.air, Quantity.RELATIVE_HUMIDITY: moist}

    def ask(probe: str | None, quantity: Quantity, _: bool) -> Trace | None:
        return heard[quantity] if probe else None

    air, humidity = (stays.air(panel, quantity, ask) for quantity in heard)
    answer = assess(replace(facts, panel=panel, air=air, humidity=humidity), MIXED + round(hours * HOUR_MS))
    assert key(answer) == says
    assert (answer.air_C is None) is (air_probe is None), "what another place's air is like now is nobody's"


def test_a_film_sanded_while_it_could_not_be_is_sanded_again() -> None:
    """A wrong tap, or paper on gum: only what was sanded when at least the quick end could be is ready to coat."""
    assert key(wet_from(99.0, 40.0, sanded_at=0.2)) == "sandable"
    assert key(wet_from(99.0, 40.0, sanded_at=6.0)) == "sandable"
    assert key(wet_from(99.0, 40.0, sanded_at=30.0)) == "sanded"
