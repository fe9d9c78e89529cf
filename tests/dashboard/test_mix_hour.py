"""Before you mix: one facts, one answer, each check with its number; and what is not known is never "mix now"."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import Suspicion
from dashboard import mix_words
from dashboard.assess import assess
from dashboard.assessment import Passing
from dashboard.facts import Facts
from dashboard.mix_hour import Asked, MixHour, after_film, mix_hour, over_film
from dashboard.panel import PlannedCoat
from model.mix_now import Answer, Topic
from model.verdict import Kind, Mark, Say, State, Verdict
from tests.dashboard.night import HOUR_MS, MIXED, card, night

NOON_H = 60.0
"""Two days and a half of log, so that the night can be told from past ones."""


def here(surface: Callable[[float], float], **more: object) -> Facts:
    """A bare panel; hours count from MIXED, and now is NOON_H."""
    made: dict[str, object] = {"coats_h": (), "humidity": 55.0} | more
    return night(surface, NOON_H, **made)  # type: ignore[arg-type]


def ask(facts: Facts, asked: Asked | None = None, name: str = "invented-25min", ahead_h: int = 0) -> MixHour:
    return mix_hour(facts, card(name), asked or Asked(), MIXED + round(NOON_H * HOUR_MS), ahead_h=ahead_h)


def mild(hour: float) -> float:
    return 18.0


def topics(hour: MixHour) -> list[Topic]:
    return [reason.topic for reason in hour.reasons]


def test_a_mild_dry_room_says_mix_now_and_every_hour_is_as_good() -> None:
    got = ask(here(mild), ahead_h=24)
    assert got.answer is Answer.MIX_NOW
    assert mix_words.headline(got).key == "mix_now"
    assert mix_words.latest(got).key == "mix_latest_open"
    assert mix_words.best(got).key == "mix_best_any"
    assert len(got.choices) == 25
    assert {check.stands for check in mix_words.checks(got)} == {"", "-", "?"}, "bottles are not told"


def test_a_room_that_cools_every_night_has_a_latest_mixing_time() -> None:
    """20 degC at noon, 6 degC at midnight, the dew point at 9: the margin closes in the evening."""

    def swings(hour: float) -> float:
        return 13.0 + 7.0 * math.cos((hour - NOON_H) / 24.0 * 2.0 * math.pi)

    facts = here(swings, humidity=49.0, air=lambda hour: 20.0)
    got = ask(facts, name="invented-winter", ahead_h=24)
    assert got.latest is not None
    assert got.latest.latest_ms is not None
    assert got.latest.closes_ms is not None
    assert got.at < got.latest.latest_ms < got.latest.closes_ms
    assert mix_words.headline(got).key == "mix_now_by"
    assert got.good_until is not None
    assert got.good_until <= got.latest.latest_ms
    by_hour = [choice.answer for choice in got.choices]
    assert by_hour[0] is Answer.MIX_NOW
    assert Answer.NOT_YET in by_hour
    late = next(choice for choice in got.choices if choice.start.at_ms > got.latest.latest_ms + HOUR_MS)
    assert late.answer is not Answer.MIX_NOW


@pytest.mark.parametrize(
    ("facts", "key"),
    [
        (here(mild, silent_from=NOON_H - 1.0), "silent_probe"),
        (replace(here(mild), surface=None, air=None), "never_heard"),
        (
            replace(here(mild), surface=replace(
                here(mild).surface,  # type: ignore[type-var]
                doubt=Suspicion("S1", "tape_off", MIXED, None, MIXED, MIXED, {"near_K": 0.4}),
            )),
            "head_tape_off",
        ),
    ],
    ids=["silent", "no probe", "doubtful"],
)  # fmt: skip
def test_a_probe_that_says_nothing_of_now_makes_the_answer_not_known(facts: Facts, key: str) -> None:
    got = ask(facts)
    assert got.answer is None
    assert mix_words.headline(got).key == key
    assert mix_words.look(got) == (Kind.NOT_KNOWN, Mark.TORN)
    assert got.choices == ()


def test_without_humidity_it_is_mix_if_and_the_latest_time_is_not_known() -> None:
    got = ask(here(mild, humidity=None))
    assert got.answer is Answer.MIX_IF
    assert topics(got) == [Topic.NO_HUMIDITY]
    assert mix_words.latest(got).key == "mix_latest_unknown"


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-5.0, 40.0),
    st.none() | st.floats(20.0, 100.0),
    st.floats(0.0, 90.0),
    st.sampled_from(("wood", "foam", "other")),
)
def test_mix_now_is_said_only_where_every_number_is_known_and_inside_its_limit(
    panel: float, humidity: float | None, quiet_min: float, onto: str
) -> None:
    """The limits are written out anew here: the card's, 4 K to start, 3 K until tack-free, 85 % at the surface."""
    facts = here(lambda hour: panel, humidity=humidity, silent_from=NOON_H - quiet_min / 60.0)
    got = ask(facts, Asked(onto=onto))  # type: ignore[arg-type]
    if got.answer is not Answer.MIX_NOW:
        return
    assert got.now is not None
    assert quiet_min <= 3.0 + 1e-6
    assert humidity is not None
    assert 10.0 <= panel <= 35.0
    assert got.now.margin_K is not None
    assert got.now.margin_K >= 4.0
    assert got.now.surface_rh_pc is not None
    assert got.now.surface_rh_pc <= 85.0
    assert got.choices[0].start.closes_ms is None
    assert got.choices[0].start.coldest_C >= 10.0


def test_air_alone_takes_two_kelvin_off_the_margin() -> None:
    near, alone = ask(here(mild)), ask(here(mild, with_surface=False))
    assert near.now is not None
    assert alone.now is not None
    assert near.now.margin_K is not None
    assert alone.now.margin_K == pytest.approx(near.now.margin_K - 2.0)
    kept = [hour.choices[0].start.least_margin_K for hour in (near, alone)]
    assert kept[0] is not None
    assert kept[1] == pytest.approx(kept[0] - 2.0)
    assert "mix_air_only" in [check.say.key for check in mix_words.checks(alone)]


def test_bare_wood_that_warms_is_not_coated_and_wood_that_cools_is() -> None:
    warms = here(lambda hour: 18.0 + max(hour - NOON_H + 1.0, 0.0) * 3.0)
    cools = here(lambda hour: 18.0 - max(hour - NOON_H + 1.0, 0.0) * 1.0)
    for facts, said in ((warms, True), (cools, False)):
        assert (Topic.WOOD_WARMS in topics(ask(facts, Asked(onto="wood")))) is said
        assert Topic.WOOD_WARMS not in topics(ask(facts, Asked(onto="other")))


@pytest.mark.parametrize(
    ("asked", "key", "answer"),
    [
        (Asked(bottles_C=14.0), "mix_if_bottles", Answer.MIX_IF),
        (Asked(cloudy=True), "not_yet_cloudy", Answer.NOT_YET),
        (Asked(crusted=True), "not_yet_crusted", Answer.NOT_YET),
        (Asked(onto="wood", wood_pc=14.0), "mix_if_wood_moist", Answer.MIX_IF),
        (Asked(onto="wood", wood_pc=19.0), "not_yet_wood_moist", Answer.NOT_YET),
        (Asked(onto="foam", wood_pc=19.0), "mix_now", Answer.MIX_NOW),
    ],
)
def test_what_is_told_of_bottles_and_wood_counts(asked: Asked, key: str, answer: Answer) -> None:
    got = ask(here(mild), asked)
    assert (mix_words.headline(got).key, got.answer) == (key, answer)


def test_a_burner_a_while_ago_is_asked_about() -> None:
    """Temperature and water jump together within half an hour."""
    facts = here(mild, air=lambda hour: 18.0 + (4.0 if hour > NOON_H - 1.0 else 0.0))
    assert facts.humidity is not None
    got = ask(facts)
    assert topics(got) == [Topic.BURNER]
    assert got.answer is Answer.MIX_IF


def verdict(key: str, kind: Kind, mark: Mark) -> Verdict:
    why = (Say("why_not_worked_out"),)
    return Verdict(State.SETTING, kind, mark, Say(key, {"open_from": MIXED}), why, None, frozenset(), 6)


def test_a_film_that_cannot_be_coated_comes_before_the_hour() -> None:
    hour = ask(here(mild))
    setting = after_film(hour, verdict("setting", Kind.WAIT, Mark.RAMP))
    assert setting.answer is Answer.NOT_YET
    assert mix_words.headline(setting).key == "setting"
    assert mix_words.look(setting) == (Kind.WAIT, Mark.RAMP)
    open_ = after_film(hour, verdict("recoatable", Kind.ACT, Mark.LAP))
    assert open_ == hour, "its verdict here names no end"
    shut = Say("recoatable", {"shut_by": hour.at + HOUR_MS})
    until = after_film(hour, replace(verdict("recoatable", Kind.ACT, Mark.LAP), headline=shut))
    assert until.answer is Answer.MIX_NOW
    assert mix_words.headline(until) == Say("mix_now_by", {"mix_by": hour.at + HOUR_MS})
    for unknown in (None, verdict("silent_probe", Kind.NOT_KNOWN, Mark.TORN)):
        got = after_film(hour, unknown)
        assert got.answer is None
        assert mix_words.look(got)[0] is Kind.NOT_KNOWN


def film(opens_h: float, shuts_h: float, sand_h: float) -> list[Passing]:
    """When the film below may be coated, from the safe side; hours from NOON_H."""
    opens, shuts, sand = (MIXED + round((NOON_H + hour) * HOUR_MS) for hour in (opens_h, shuts_h, sand_h))
    return [
        Passing("recoat_from", opens - HOUR_MS, opens - 60_000, opens, 0.5),
        Passing("recoat_until", shuts, shuts + HOUR_MS, shuts + 2 * HOUR_MS, 0.0),
        Passing("sand", sand - 2 * HOUR_MS, sand - HOUR_MS, sand, 0.0),
    ]


def test_no_hour_is_right_between_the_window_of_the_film_below_and_its_sanding() -> None:
    """The air is right all day long; the film decides: setting, open, too hard to bond, sanded."""
    day = ask(here(mild), ahead_h=24)
    assert {choice.answer for choice in day.choices} == {Answer.MIX_NOW}
    setting = over_film(after_film(day, verdict("setting", Kind.WAIT, Mark.RAMP)), film(3.0, 6.0, 20.0))
    hours = [(choice.start.at_ms - day.at) / HOUR_MS for choice in setting.choices]
    wanted = [
        Answer.MIX_NOW if 3.0 <= hour < 6.0 else Answer.MIX_IF if hour >= 20.0 else Answer.NOT_YET
        for hour in hours
    ]
    assert [choice.answer for choice in setting.choices] == wanted
    assert len(set(wanted)) == 3
    assert mix_words.best(setting).values["best_at"] == day.at + 3 * HOUR_MS
    shut_by = day.at + 2 * HOUR_MS
    open_now = replace(
        verdict("recoatable", Kind.ACT, Mark.LAP), headline=Say("recoatable", {"shut_by": shut_by})
    )
    until = over_film(after_film(day, open_now), film(-1.0, 2.0, 30.0))
    assert [c.answer is Answer.MIX_NOW for c in until.choices] == [hour < 2.0 for hour in hours]
    assert mix_words.best(until) == Say("mix_best_shuts", {"shut_by": shut_by})
    firm = over_film(after_film(day, verdict("firm", Kind.WAIT, Mark.RAMP)), film(-9.0, -2.0, 30.0))
    assert {choice.answer for choice in firm.choices} == {Answer.NOT_YET}
    assert mix_words.best(firm).key == "mix_best_film_none"
    unknown = over_film(after_film(day, verdict("silent_probe", Kind.NOT_KNOWN, Mark.TORN)), [])
    assert unknown.best is None
    assert len(unknown.choices) == 1


def test_a_film_to_be_washed_is_coated_only_if_it_is() -> None:
    day = ask(here(mild), ahead_h=3)
    wash = over_film(after_film(day, verdict("wash_recoat", Kind.CARE, Mark.DROP)), film(-1.0, 9.0, 20.0))
    assert {choice.answer for choice in wash.choices} == {Answer.MIX_IF}


@pytest.mark.parametrize("surface", [18.0, 6.0], ids=["mix now", "not yet"])
def test_a_planned_panel_gives_the_same_answer_on_the_round(surface: float) -> None:
    """With a card for its first coat; without one it only says to check the hour."""
    at, medium = MIXED + round(NOON_H * HOUR_MS), card("invented-25min")
    bare = here(lambda hour: surface)
    planned = replace(
        bare,
        panel=replace(bare.panel, plan=(PlannedCoat("laminate", medium.id),)),
        cards={medium.id: medium},
    )
    got, hour = assess(planned, at), mix_hour(planned, medium, Asked("wood"), at, ahead_h=0)
    assert got.verdict.state is State.PLANNED
    assert got.verdict.headline == mix_words.headline(hour)
    assert (got.verdict.kind, got.verdict.mark) == mix_words.look(hour)
    assert got.good_until == hour.good_until
    assert assess(bare, at).verdict.headline.key == "planned"


def test_a_planned_panel_whose_probe_is_silent_is_not_known() -> None:
    at, medium = MIXED + round(NOON_H * HOUR_MS), card("invented-25min")
    bare = here(mild, silent_from=NOON_H - 1.0)
    panel = replace(bare.panel, plan=(PlannedCoat("laminate", medium.id),))
    got = assess(replace(bare, panel=panel, cards={medium.id: medium}), at)
    assert got.verdict.kind is Kind.NOT_KNOWN
    assert got.verdict.headline.key == "silent_probe"


def test_every_reason_has_its_headline() -> None:
    """Each topic as far as it stops, or does not."""
    assert {topic for topic, _ in mix_words._HEADS} == set(Topic)
