"""Which coat an entry belongs to: coats taken back, logged late, made of several pots, or lying below another."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.reading import Quantity
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.entry_check import check
from dashboard.facts import Facts
from dashboard.fold import fold
from dashboard.panel import Coat, Event, Panel, Pot, ThumbTest
from dashboard.step_check import LogbookError
from model.observation import Word
from model.verdict import Flag
from tests.dashboard.night import HOUR_MS, MIXED, card, night, trace

REGISTERED = {
    "name": "Lid", "zone": "shed", "surface_probe": "S1", "air_probe": "A1", "substrate": "wood",
}  # fmt: skip


def entry(id_: str, hour: float, kind: str, **body: object) -> Event:
    at = MIXED + round(hour * HOUR_MS)
    return Event(id_, at, at, "", kind, "lid", REGISTERED if kind == "panel registered" else body)


def mixed(id_: str, hour: float) -> Event:
    return entry(id_, hour, "coat mixed", card="invented-25min")


def back(id_: str) -> Event:
    return entry(f"not-{id_}", 9.0, "withdrawn", event=id_)


def panel(*events: Event) -> Panel:
    return fold([entry("panel", 0.0, "panel registered"), *events])["lid"]


def test_putting_on_a_coat_that_was_taken_back_puts_on_no_other() -> None:
    """Else the coat below would count as put on hours later, and the damp air it lay in would be forgotten."""
    first = (mixed("one", 0.0), entry("on", 0.3, "coat applied"))
    mistaken = (mixed("two", 5.0), entry("again", 5.3, "coat applied"), entry("more", 5.5, "pot mixed"))
    assert panel(*first, *mistaken, back("two")).coats == panel(*first).coats
    assert panel(mixed("one", 0.0), *mistaken, back("two")).coats == panel(mixed("one", 0.0)).coats


def test_a_coat_said_to_be_on_twice_is_on_since_it_was_first_said() -> None:
    told = panel(mixed("one", 0.0), entry("on", 0.3, "coat applied"), entry("on-too", 6.0, "coat applied"))
    assert told.coats[0].applied_at == MIXED + round(0.3 * HOUR_MS)


def test_a_coat_logged_anew_keeps_what_a_hand_found_on_it() -> None:
    """Logged with the wrong card, taken back, logged again: it is as greasy as it was."""
    told = panel(
        mixed("one", 0.0), mixed("two", 2.0), entry("felt", 8.0, "thumb test", words=["greasy"]), back("two"),
        mixed("two-anew", 2.0),
    )  # fmt: skip
    first, second = told.coats
    assert not first.thumb_tests
    assert [test.words for test in second.thumb_tests] == [(Word.GREASY,)]


@pytest.mark.parametrize(("word", "coat"), [("tack-free", 1), ("greasy", 2)])
def test_while_a_coat_is_in_its_pot_a_thumb_meets_the_coat_below(word: str, coat: int) -> None:
    """What lies on a film is washed away all the same, in case the coat was on earlier than somebody said."""
    told = panel(
        mixed("one", 0.0), mixed("two", 5.0), entry("felt", 5.2, "thumb test", words=[word]),
        entry("on", 5.4, "coat applied"),
    )  # fmt: skip
    assert [item.number for item in told.coats if item.thumb_tests] == [coat]


def felt(*tests: tuple[float, Word]) -> tuple[ThumbTest, ...]:
    return tuple(ThumbTest(MIXED + round(hour * HOUR_MS), (word,), None) for hour, word in tests)


def with_coats(facts: Facts, *coats: Coat) -> Facts:
    return replace(facts, panel=replace(facts.panel, coats=coats))


def latest(answer: Assessment, name: str) -> int:
    end = next(item.late for item in answer.milestones if item.name == name)
    assert end is not None
    return end


@pytest.mark.parametrize(("hours", "word"), [(5.0, Word.TACK_FREE), (6.0, Word.SOFT_RUBBER)])
def test_the_first_pots_film_makes_the_last_pots_not_ready_sooner(hours: float, word: Word) -> None:
    """At one temperature a pot two hours younger is ready two hours later, whatever the elder's film feels like."""
    facts, at = night(lambda hour: 20.0, hours), MIXED + round(hours * HOUR_MS)
    (coat,) = facts.panel.coats
    one_pot = replace(coat, thumb_tests=felt((hours - 0.1, word)))
    two_pots = replace(one_pot, pots=(Pot(MIXED), Pot(MIXED + 2 * HOUR_MS)))
    single, double = (assess(with_coats(facts, item), at) for item in (one_pot, two_pots))
    for name in ("recoat_from", "sand"):
        assert latest(double, name) >= latest(single, name) + 2 * HOUR_MS - 10 * 60_000, name


@pytest.mark.parametrize("over", ["invented-25min", "invented-15min"])
def test_a_suspect_mix_below_another_coat_stays_suspect(over: str) -> None:
    """Nothing on top of it makes it cure."""
    facts, at = night(lambda hour: 20.0, 60.0), MIXED + 60 * HOUR_MS
    (coat,) = facts.panel.coats
    soft = replace(coat, thumb_tests=felt((19.0, Word.TAPE)))
    top = replace(coat, number=2, card=over, mixed_at=MIXED + 20 * HOUR_MS, applied_at=MIXED + 20 * HOUR_MS)
    cards = {name: card(name) for name in (coat.card, over)}
    verdict = assess(replace(with_coats(facts, soft, top), cards=cards), at).verdict
    assert verdict.headline.key == "suspect_mix"
    assert Flag.SUSPECT_MIX in verdict.flags


def test_a_coat_that_a_thumb_found_slow_is_not_sanded_with_the_one_on_top_of_it() -> None:
    facts = night(lambda hour: 20.0, 30.0)
    (coat,) = facts.panel.coats
    slow = replace(coat, thumb_tests=felt((3.0, Word.STRINGY), (3.3, Word.STRINGY), (4.0, Word.SOFT_TACK)))
    top = replace(coat, number=2, mixed_at=MIXED + 5 * HOUR_MS, applied_at=MIXED + 5 * HOUR_MS)
    at = MIXED + 30 * HOUR_MS
    alone, both = assess(with_coats(facts, slow), at), assess(with_coats(facts, slow, top), at)
    assert latest(both, "sand") >= latest(alone, "sand")


@pytest.mark.parametrize("on_h", [0.1, 3.0, 4.0])
def test_a_coat_said_late_to_be_on_was_young_in_the_damp_all_the_same(on_h: float) -> None:
    facts, at = night(lambda hour: 20.0, 4.5), MIXED + round(4.5 * HOUR_MS)
    (coat,) = facts.panel.coats
    late = replace(coat, applied_at=MIXED + round(on_h * HOUR_MS))
    damp = trace(
        "A1", Quantity.RELATIVE_HUMIDITY, lambda hour: 99.0 if 0.3 < hour < 2.9 else 50.0, until_h=4.5
    )
    verdict = assess(replace(with_coats(facts, late), humidity=damp), at).verdict
    assert Flag.WASH_FIRST in verdict.flags
    assert verdict.headline.key == "wash_later"


def test_a_slow_film_makes_no_pot_last_longer() -> None:
    """A cup goes off by its own heat: what a thumb says of a film is no promise about a pot."""
    facts, at = night(lambda hour: 20.0, 3.1), MIXED + round(3.1 * HOUR_MS)
    (coat,) = facts.panel.coats
    pots = replace(coat, applied_at=None, pots=(Pot(MIXED), Pot(MIXED + 3 * HOUR_MS)))
    slow = replace(pots, thumb_tests=felt((2.8, Word.STRINGY), (2.9, Word.STRINGY)))
    plain, told = (assess(with_coats(facts, item), at).verdict.headline for item in (pots, slow))
    assert plain.key == told.key == "in_the_pot"
    assert told.values["pour_by"] <= plain.values["pour_by"]


def test_a_button_tapped_six_times_is_one_touch() -> None:
    taps = [entry(f"tap-{n}", 5.0 + n / 3600, "thumb test", words=["tack-free"]) for n in range(6)]
    assert len(panel(mixed("one", 0.0), *taps).coats[0].thumb_tests) == 1
    again = entry("again", 5.5, "thumb test", words=["tack-free"])
    assert len(panel(mixed("one", 0.0), *taps, again).coats[0].thumb_tests) == 2


def refused(event: Event, *events: Event) -> str:
    listed = [entry("panel", 0.0, "panel registered"), *events]
    with pytest.raises(LogbookError) as error:
        check(event, fold(listed), listed, None)
    return str(error.value)


def test_a_pot_poured_the_next_morning_is_asked_when_it_went_on() -> None:
    assert "say when it went on" in refused(entry("on", 9.0, "coat applied"), mixed("one", 0.0))
    check(entry("on", 0.5, "coat applied"), {"lid": panel(mixed("one", 0.0))}, [], None)


def test_a_taking_back_is_of_the_same_panel_and_is_not_taken_back() -> None:
    events = (mixed("one", 0.0), entry("felt", 8.0, "thumb test", words=["greasy"]), back("felt"))
    assert "log it again" in refused(back("not-felt"), *events)
    elsewhere = replace(back("one"), panel="other")
    assert "take it back where it was made" in refused(elsewhere, *events)
