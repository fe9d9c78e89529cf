"""A thumb test is answered at once: how the estimate moves, and "Sure?" where it is unlikely."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from dashboard.assess import assess
from dashboard.display import View
from dashboard.facts import Facts
from dashboard.felt import Told, _said, after, weigh
from dashboard.panel import Event
from model.observation import Word
from tests.dashboard.night import HOUR_MS, MIXED, night


def felt(
    hours: float, *words: Word, ident: str = "felt-0001", at_h: float | None = None, **more: object
) -> Event:
    at = MIXED + round((hours if at_h is None else at_h) * HOUR_MS)
    return Event(ident, at, at, "", "thumb test", "lid-4", {"words": [str(word) for word in words], **more})


def told(facts: Facts, hours: float, event: Event) -> Told:
    at = MIXED + round(hours * HOUR_MS)
    return weigh(facts, event, at, View(ZoneInfo("UTC"), "degC", at))


def warm(hours: float) -> Facts:
    return night(lambda hour: 20.0, hours)


def sand_of(facts: Facts, hours: float) -> tuple[int, int, int]:
    """Early, likely and safe end of sanding, UTC ms."""
    item = next(p for p in assess(facts, MIXED + round(hours * HOUR_MS)).milestones if p.name == "sand")
    assert item.early is not None
    assert item.likely is not None
    assert item.late is not None
    return item.early, item.likely, item.late


def test_the_answer_is_the_difference_of_the_two_estimates() -> None:
    """Recomputed here from the answers before and after, each worked out by itself."""
    facts, event = warm(10.0), felt(10.0, Word.SOFT_RUBBER)
    answer = told(facts, 10.0, event)
    was, now = sand_of(facts, 10.0), sand_of(replace(facts, panel=after(facts.panel, event)), 10.0)
    assert answer.moved.milestone == "sand"
    assert answer.moved.shift_ms == now[1] - was[1] > 0
    assert (answer.moved.range_ms, answer.moved.was_ms) == (now[2] - now[0], was[2] - was[0])
    view = View(ZoneInfo("UTC"), "degC", 0)
    spans = [view.hours(ms / HOUR_MS) for ms in (now[1] - was[1], now[2] - now[0], was[2] - was[0])]
    assert answer.moved.said == "Sand {} later; range now {}, was {}.".format(*spans)


def test_a_harder_word_than_expected_brings_it_forward() -> None:
    answer = told(warm(6.5), 6.5, felt(6.5, Word.NAIL_DENTS))
    assert answer.event.body.get("sure", True)
    assert answer.moved.shift_ms is not None
    assert answer.moved.shift_ms < 0
    assert " sooner; range now " in answer.moved.said


@pytest.mark.parametrize("word", [Word.DUSTS, Word.NAIL_DENTS])
def test_an_unlikely_answer_is_kept_but_moves_nothing_until_somebody_is_sure(word: Word) -> None:
    facts, event = warm(3.0), felt(3.0, word)
    first = told(facts, 3.0, event)
    assert first.event.body["sure"] is False
    assert first.moved.said.endswith("Sure?")
    unsure = replace(facts, panel=after(facts.panel, first.event))
    assert sand_of(unsure, 3.0) == sand_of(facts, 3.0)
    (test,) = unsure.panel.coats[-1].thumb_tests
    assert not test.sure
    sure = after(unsure.panel, Event("sure-0001", 0, 0, "", "thumb sure", "lid-4", {"of": event.id}))
    assert sure.coats[-1].thumb_tests[0].sure


def test_once_confirmed_it_counts_beside_the_tests_it_was_against() -> None:
    """Two tests that agree and one against them: unconfirmed the range is theirs, confirmed it is not."""
    hours, at = 7.0, MIXED + round(7.0 * HOUR_MS)
    facts = warm(hours)
    panel = facts.panel
    for number, (hour, word) in enumerate(((3.0, Word.TAPE), (4.0, Word.TACK_FREE))):
        panel = after(panel, felt(hour, word, ident=f"felt-000{number}"))
    agreed = replace(facts, panel=panel)
    first = told(agreed, hours, felt(hours, Word.STRINGY, ident="felt-0009"))
    assert first.event.body["sure"] is False
    unsure = replace(agreed, panel=after(panel, first.event))
    assert sand_of(unsure, hours) == sand_of(agreed, hours)
    confirm = Event("sure-0001", at, at, "", "thumb sure", "lid-4", {"of": "felt-0009"})
    confirmed = told(unsure, hours, confirm)
    assert confirmed.moved.shift_ms != 0
    counted = replace(unsure, panel=after(unsure.panel, confirm))
    assert sand_of(counted, hours) != sand_of(agreed, hours)


def test_an_unconfirmed_answer_stops_going_on_all_the_same() -> None:
    """Paper that gums is not told to sand, sure or not: a wrong "yes" costs more."""
    facts = warm(30.0)
    assert assess(facts, MIXED + 30 * HOUR_MS).verdict.headline.key == "sandable"
    first = told(facts, 30.0, felt(30.0, Word.GUMS, at_h=29.9))
    assert first.event.body["sure"] is False
    unsure = replace(facts, panel=after(facts.panel, first.event))
    assert assess(unsure, MIXED + 30 * HOUR_MS).verdict.headline.key == "disagreement"


def test_a_likely_answer_is_not_asked_about() -> None:
    assert "sure" not in told(warm(3.0), 3.0, felt(3.0, Word.TAPE)).event.body


@pytest.mark.parametrize("word", [Word.GREASY, Word.WAXY, Word.BEADS])
def test_what_lies_on_the_film_is_never_doubted_and_moves_nothing(word: Word) -> None:
    answer = told(warm(10.0), 10.0, felt(10.0, word))
    assert "sure" not in answer.event.body
    assert answer.moved.shift_ms == 0
    assert answer.moved.said.startswith("Sand as before; range now ")


def test_patchy_is_told_as_a_mix_to_be_suspected() -> None:
    answer = told(warm(10.0), 10.0, felt(10.0, Word.SOFT_RUBBER, patchy=True))
    assert answer.moved.said == "Now: Not known: coat 1 is hard here, soft there."


def test_an_earlier_test_counts_at_its_own_time() -> None:
    """Tape two hours after mixing and tape now are different news."""
    facts = warm(5.0)
    early, late = (told(facts, 5.0, felt(5.0, Word.TAPE, at_h=hour)).moved for hour in (2.0, 3.5))
    assert early.shift_ms is not None
    assert late.shift_ms is not None
    assert early.shift_ms < late.shift_ms


def test_without_a_reading_the_test_is_kept_and_nothing_is_claimed() -> None:
    event = felt(3.0, Word.TAPE)
    answer = told(replace(warm(3.0), surface=None, air=None), 3.0, event)
    assert answer.event == event
    assert answer.moved.shift_ms is None
    assert "cannot be worked out" in answer.moved.said
    assert weigh(None, event, 0, View(ZoneInfo("UTC"), "degC", 0)).moved == answer.moved


def test_a_phone_whose_clock_runs_a_minute_ahead_is_answered_all_the_same() -> None:
    answer = told(warm(3.0), 3.0, felt(3.0, Word.DUSTS, at_h=3.0 + 1 / 60))
    assert answer.event.body["sure"] is False


def test_a_range_that_is_as_wide_as_it_was_is_said_once() -> None:
    view, hours = View(ZoneInfo("UTC"), "degC", 0), 2 * HOUR_MS
    assert (
        _said("sand", HOUR_MS, hours, hours, view)
        == f"Sand {view.hours(1.0)} later; range still {view.hours(2.0)}."
    )
    assert "range now" in _said("sand", HOUR_MS, hours, 2 * hours, view)
