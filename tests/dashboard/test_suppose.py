"""What-ifs: the model's own numbers, heat that makes nothing later, caps that hold, and "not by then" honestly said."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from collector.reading import Quantity
from dashboard.assess import assess
from dashboard.coat_course import range_of
from dashboard.course import follow_panel
from dashboard.facts import Facts
from dashboard.suppose import CannotSuppose, Goal, Plan, Supposition, first_minute_ahead, warmest
from model.milestones import SAFE_SHARE, passings
from model.resin_card import CLOSING, Milestone
from model.what_if import Heat, held, passed_if
from tests.dashboard.night import HOUR_MS, MIXED, card, night, trace

NOW = MIXED + 4 * HOUR_MS
SOON = first_minute_ahead(NOW)


def cool_room(hour: float) -> float:
    return 15.0 + 3.0 * math.cos((hour + 2.0) * math.pi / 12.0)


def facts(of: Facts | None = None, **more: object) -> Facts:
    """Ten days of log of a cool room, one coat mixed four hours ago."""
    made = of or night(cool_room, 4.0, **more)  # type: ignore[arg-type]
    surface = trace("S1", Quantity.TEMPERATURE, cool_room, until_h=4.0, since_h=-240.0)
    return replace(made, surface=surface, air=surface)


def plan(hold_C: float | None, to_h: float = 10.0, rise_K_h: float = 8.0, **more: object) -> Plan:
    return Plan(hold_C, SOON, MIXED + round(to_h * HOUR_MS), rise_K_h, **more)  # type: ignore[arg-type]


def test_as_it_is_is_what_the_answer_says() -> None:
    """The what-if's base and the headline look at the same minutes: times to the ms."""
    answer = assess(facts(), NOW)
    found = Supposition.of(facts(), NOW).if_so(plan(25.0))
    told = {item.name: item for item in answer.milestones}
    for milestone, passing in found.now.items():
        stored = told[milestone.value]
        assert passing.safe == (stored.early if milestone in CLOSING else stored.late)


def test_if_so_is_what_the_model_says_of_the_heated_night() -> None:
    of = facts()
    followed = follow_panel(of, NOW)
    whole = followed.history.joined(followed.ahead)
    heated = held(whole, Heat(25.0, SOON, MIXED + 10 * HOUR_MS, 8.0))
    calibration = range_of(card(), of.temperature.accuracy_K)  # type: ignore[union-attr]
    expected = passed_if(calibration, heated, MIXED, NOW)
    found = Supposition.of(of, NOW).if_so(plan(25.0))
    for milestone in found.then:
        assert found.then[milestone].safe == expected[milestone].safe
    np.testing.assert_array_equal(found.likely_C, heated.central[-len(found.likely_C) :])


def test_more_heat_never_opens_or_shuts_later_and_off_in_time_never_sands_later() -> None:
    """Recoat window by 2 K steps to the cap; sanding where the heater goes off long before."""
    supposed = Supposition.of(facts(), NOW)
    for milestone in (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL, Milestone.SAND):
        times = [
            supposed.if_so(plan(hold, to_h=8.0)).then[milestone].safe
            for hold in (None, 16.0, 20.0, 24.0, 28.0, 32.0)
        ]
        known = [math.inf if time is None else time for time in times]
        assert known == sorted(known, reverse=True), milestone
        assert known[-1] < known[0], milestone


def random_shed(seed: int) -> Facts:
    """An invented shed, coat and hour: ten days of log with a daily swing and a drift of its own."""
    draw = np.random.default_rng(seed)
    mean, swing, phase, drift = (
        draw.uniform(8, 20),
        draw.uniform(1, 6),
        draw.uniform(0, 24),
        draw.uniform(-0.5, 0.5),
    )

    def shed(hour: float) -> float:
        return float(mean + swing * math.cos((hour + phase) * math.pi / 12.0) + drift * hour / 24.0)

    of = card(str(draw.choice(["invented-15min", "invented-25min", "invented-winter"])))
    made = night(shed, 4.0, of=of, coats_h=(float(draw.uniform(-8.0, 3.5)),))
    surface = trace("S1", Quantity.TEMPERATURE, shed, until_h=4.0, since_h=-240.0)
    substrate = str(draw.choice(["wood", "foam", "metal mould"]))
    return replace(made, surface=surface, air=surface, panel=replace(made.panel, substrate=substrate))


def holds_for(seed: int) -> None:
    """More heat opens and shuts no later, nothing goes above the cap, and the best named is what that heat brings."""
    supposed = Supposition.of(random_shed(seed), NOW)
    cap = supposed.cap()
    lasts = plan(None, to_h=4.0 + 2.0 + seed % 9)
    asked = [supposed.if_so(replace(lasts, hold_C=hold)) for hold in (10.0, 18.0, 26.0, 60.0)]
    for milestone in (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL):
        known = [one.then[milestone].safe or math.inf for one in asked]
        assert known == sorted(known, reverse=True), (seed, milestone)
    as_it_is = supposed.if_so(lasts).likely_C
    assert max(asked[-1].likely_C) <= max(cap.hold_C, *as_it_is) + 1e-9, seed
    goal = Goal(Milestone.SAND, NOW + (8 + seed % 12) * HOUR_MS)
    least = supposed.least(lasts, goal)
    if least.hold_C is not None:
        assert least.hold_C <= cap.hold_C, seed
    elif not least.not_needed:
        best = supposed.if_so(replace(lasts, hold_C=least.best_C)).then[Milestone.SAND].safe
        assert (best is None) == (least.best_ms is None), seed


@pytest.mark.parametrize("seed", range(4))
def test_in_any_shed_heat_keeps_its_word(seed: int) -> None:
    holds_for(seed)


def test_the_longer_it_is_held_the_sooner_it_is_recoated_and_shut() -> None:
    supposed = Supposition.of(facts(), NOW)
    for milestone in (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL):
        times = [
            supposed.if_so(plan(25.0, to_h=hours)).then[milestone].safe for hours in (4.2, 5.0, 7.0, 12.0)
        ]
        known = [math.inf if time is None else time for time in times]
        assert known == sorted(known, reverse=True)


@pytest.mark.parametrize(
    ("substrate", "hold", "set_by"), [("wood", 35.0, "card"), ("foam", 50.0, "substrate")]
)
def test_no_more_is_held_than_card_and_substrate_allow(substrate: str, hold: float, set_by: str) -> None:
    """50 degC on polystyrene foam (common practice, no source); the invented card ends at 35."""
    of = facts()
    of = replace(of, panel=replace(of.panel, substrate=substrate))
    if set_by == "substrate":
        own = replace(card(), maximum_C=70.0)
        of = replace(of, cards={own.id: own})
    supposed = Supposition.of(of, NOW)
    assert (supposed.cap().hold_C, supposed.cap().set_by) == (hold, set_by)
    found = supposed.if_so(plan(80.0, to_h=20.0, rise_K_h=10.0))
    assert found.hold_C == hold
    assert warmest(found, SOON, MIXED + 20 * HOUR_MS) <= hold + 1e-9


def test_a_film_that_is_glassy_already_is_not_softened() -> None:
    """At most 10 K above the low end of its glass transition on the mould, not above it off the mould."""
    cold = night(lambda hour: 18.0 if hour < 20 else 8.0, 40.0, of=replace(card(), maximum_C=90.0))
    at = MIXED + 40 * HOUR_MS
    followed = follow_panel(cold, at)
    low = followed.least.glass_transition_C[0]
    assert low > followed.panel_C
    cap = Supposition.of(cold, at).cap()
    assert cap.set_by == "film"
    assert cap.hold_C == pytest.approx(low + 10.0)
    off = replace(cold, panel=replace(cold.panel, demoulded_at=at))
    assert Supposition.of(off, at).cap().hold_C == pytest.approx(low)


def test_the_least_heat_does_it_and_a_degree_less_does_not() -> None:
    of = facts()
    by = MIXED + 24 * HOUR_MS
    least = Supposition.of(of, NOW).least(plan(None, to_h=12.0), Goal(Milestone.SAND, by))
    assert least.hold_C is not None
    followed = follow_panel(of, NOW)
    whole = followed.history.joined(followed.ahead)
    calibration = range_of(card(), 0.8)
    share = [
        passed_if(calibration, whole, MIXED, by, Heat(hold, SOON, MIXED + 12 * HOUR_MS, 8.0))[
            Milestone.SAND
        ].passed
        for hold in (least.hold_C - 1.0, float(least.hold_C))
    ]
    assert share[0] < SAFE_SHARE[Milestone.SAND] <= share[1]


def test_not_by_then_says_the_best_that_can_be_done_within_the_cap() -> None:
    """Two hours of heat do not do it, not even at the cap; what it names as the best is what that heat brings."""
    supposed = Supposition.of(facts(), NOW)
    by = MIXED + 9 * HOUR_MS
    short = plan(None, to_h=6.0)
    least = supposed.least(short, Goal(Milestone.SAND, by))
    assert least.hold_C is None
    assert not least.not_needed
    cap = supposed.cap().hold_C
    at_cap = supposed.if_so(replace(short, hold_C=cap)).then[Milestone.SAND]
    assert at_cap.safe is None or at_cap.safe > by, "even the cap does not do it"
    assert least.best_C is not None
    assert least.best_C <= cap
    best = supposed.if_so(replace(short, hold_C=least.best_C)).then[Milestone.SAND].safe
    assert best is not None
    assert least.best_ms == pytest.approx(best, abs=15 * 60_000)
    assert best <= (at_cap.safe or math.inf)


def test_what_longer_heat_would_do_is_told_apart() -> None:
    supposed = Supposition.of(facts(), NOW)
    by = MIXED + 16 * HOUR_MS
    least = supposed.least(plan(None, to_h=6.0), Goal(Milestone.SAND, by))
    assert least.hold_C is None
    assert least.longer_C is not None
    held_on = supposed.least(replace(plan(None), to_ms=by), Goal(Milestone.SAND, by))
    assert held_on.hold_C == least.longer_C


def test_where_no_heat_is_needed_none_is_proposed() -> None:
    supposed = Supposition.of(facts(), NOW)
    late = supposed.least(plan(None), Goal(Milestone.SAND, MIXED + 60 * HOUR_MS))
    assert (late.hold_C, late.not_needed, late.passed) == (None, True, False)
    done = Supposition.of(night(lambda hour: 21.0, 30.0), MIXED + 30 * HOUR_MS)
    passed = done.least(
        Plan(None, MIXED + 31 * HOUR_MS, MIXED + 32 * HOUR_MS, 8.0),
        Goal(Milestone.SAND, MIXED + 33 * HOUR_MS),
    )
    assert passed.passed


def test_heat_that_begins_before_it_gels_is_told() -> None:
    early = MIXED + 2 * HOUR_MS
    supposed = Supposition.of(night(cool_room, 2.0), early)
    found = supposed.if_so(replace(plan(25.0), from_ms=first_minute_ahead(early)))
    assert found.gel_ms is not None
    assert found.gel_ms == found.then[Milestone.RECOAT_FROM].likely
    late = supposed.if_so(replace(plan(25.0, to_h=14.0), from_ms=MIXED + 8 * HOUR_MS))
    assert late.gel_ms is None


def test_another_hour_and_another_card_are_the_models_own() -> None:
    """A coat of a quicker card at 23:00, against one of the card in use mixed now."""
    of, quick = facts(), card("invented-15min")
    start = MIXED + 5 * HOUR_MS
    found = Supposition.of(of, NOW, quick).if_so(plan(None, start_ms=start, card=quick.id))
    ahead = follow_panel(of, NOW).ahead
    expected = passed_if(range_of(quick, 0.8), ahead, start, start)
    usual = passed_if(range_of(card(), 0.8), ahead, ahead.start, ahead.start)
    assert (found.card, found.base) == (quick.id, card().id)
    for milestone in found.then:
        assert found.then[milestone].safe == expected[milestone].safe
        assert found.now[milestone].safe == usual[milestone].safe


def test_a_panel_without_a_coat_can_be_asked_for_one() -> None:
    of = facts()
    bare = replace(of, panel=replace(of.panel, coats=()))
    with pytest.raises(CannotSuppose, match="if_no_coat"):
        Supposition.of(bare, NOW).if_so(plan(25.0))
    found = Supposition.of(bare, NOW, card()).if_so(plan(25.0, start_ms=SOON))
    assert found.then[Milestone.RECOAT_FROM].safe is not None


def test_unknown_is_never_supposed_upon() -> None:
    silent = night(cool_room, 4.0, silent_from=3.0)
    with pytest.raises(CannotSuppose, match="if_not_known"):
        Supposition.of(silent, NOW)
    with pytest.raises(CannotSuppose, match="if_not_known"):
        Supposition.of(replace(silent, surface=None, air=None), NOW)


def test_a_thumb_that_taught_counts_in_a_what_if_too() -> None:
    """What the thumb did to the range is in both, the answer and the least heat."""
    from dashboard.panel import ThumbTest
    from model.observation import Word

    of = facts()
    coat = replace(of.panel.coats[0], thumb_tests=(ThumbTest(NOW - 60_000, (Word.SOFT_TACK,), None),))
    slow = replace(of, panel=replace(of.panel, coats=(coat,)))
    goal = Goal(Milestone.SAND, MIXED + 24 * HOUR_MS)
    usual, felt = (Supposition.of(one, NOW).least(plan(None, to_h=12.0), goal).hold_C for one in (of, slow))
    assert usual is not None
    assert felt is None or felt > usual
    followed = follow_panel(slow, NOW)
    assert passings(followed.newest.paths, NOW, followed.newest.learned.weights)[Milestone.SAND].safe == (
        Supposition.of(slow, NOW).if_so(plan(None)).now[Milestone.SAND].safe
    )
