"""From assessments to strips: order, buttons, and what is said when nothing is known."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from dashboard.display import TIE, View
from dashboard.panel import Coat, Panel, ThumbTest
from dashboard.strips import button, folded, round_of, strip
from model.decide import not_known, planned
from model.observation import Word
from model.verdict import Kind, Mark, Say
from tests.browser.fake_shop import COATS, HOUR, MINUTE, NOW, ZONE, answer, morning, recoat, waiting


def view(now: int = NOW) -> View:
    return View(ZoneInfo(ZONE), "degC", now)


def panel(ident: str = "lid-4", coats: int = 2) -> Panel:
    made = tuple(Coat(n + 1, "invented-25min", NOW, None, "laminate", f"e{n}") for n in range(coats))
    return Panel(ident, ident.title(), "shed", "S1", "A1", "wood", made)


def panels(*names: str) -> dict[str, Panel]:
    return {name: panel(name, COATS.get(name, 2)) for name in names}


FIVE = ("box-a", "lid-4", "plug-7", "rib-1", "skiff-deck-2")


def test_the_round_puts_first_what_has_to_be_done_first() -> None:
    found = round_of(panels(*FIVE), morning(NOW), view())
    assert [item.panel for item in found.strips] == ["skiff-deck-2", "rib-1", "lid-4", "plug-7", "box-a"]
    assert found.known == 4


def test_of_two_deadlines_the_nearer_one_comes_first() -> None:
    items = [
        answer("b", "B", recoat(NOW + 20 * MINUTE, NOW + 60 * MINUTE)),
        answer("a", "A", recoat(NOW + 50 * MINUTE, NOW + 60 * MINUTE)),
    ]
    assert [item.panel for item in round_of(panels("a", "b"), items, view()).strips] == ["b", "a"]


def test_past_good_until_the_strip_says_not_known_and_what_was_said_last() -> None:
    item = answer("lid-4", "Lid 4", recoat(NOW + 40 * MINUTE, NOW + 75 * MINUTE))
    late = strip(panel(), item, view(item.good_until))
    assert late.kind is Kind.NOT_KNOWN
    assert late.mark is Mark.TORN
    assert late.headline == "Not known: this answer is too old"
    assert late.why == "Last said 06:10: Recoat before 06:50."
    assert strip(panel(), item, view(item.good_until - 1)).kind is Kind.ACT


def test_a_panel_that_was_never_worked_out_says_so_and_why() -> None:
    assert strip(panel(), None, view()).headline == "Not known: not worked out yet"
    assert strip(panel(), None, view(), started=False).headline == "Not known: watch has not started"


def test_each_verdict_offers_the_one_thing_to_log() -> None:
    found = {item.panel: item.button for item in round_of(panels(*FIVE), morning(NOW), view()).strips}
    assert (found["skiff-deck-2"].label, found["skiff-deck-2"].href) == (
        "Start coat 3",
        "/panels/skiff-deck-2/coat",
    )
    assert (found["lid-4"].label, found["lid-4"].kind) == ("Log wash", "washed")
    assert (found["box-a"].label, found["box-a"].kind) == ("Log sand", "sanded")
    assert (found["rib-1"].label, found["rib-1"].href) == ("Check probe", "/more/probes#probe-S1")
    assert (found["plug-7"].label, found["plug-7"].href) == ("Plan heat", "/tonight/plug-7#ask")


def test_before_the_first_coat_the_hour_is_checked_before_anything_is_mixed() -> None:
    """The hour may not do, or no card is said: what the strip says to do is what its button does."""
    bare = replace(panel(), coats=())
    item = answer("lid-4", "Lid 4", planned(()), coat=0, coats=0, card="", curve=None)
    found = button(bare, item)
    assert (found.label, found.href) == ("Check the hour", f"/mix?spot=panel:{bare.id}")
    ready = replace(item, verdict=replace(item.verdict, kind=Kind.GO))
    assert button(bare, ready).label == "Start coat 1"


def test_with_more_than_five_panels_those_that_wait_fold() -> None:
    names = [*FIVE, "wait-1"]
    items = [*morning(NOW), answer("wait-1", "Wait 1", waiting(NOW))]
    six = folded(round_of(panels(*names), items, view()))
    assert {item.panel for item in six.strips if item.folded} == {"wait-1"}
    few = folded(round_of(panels("wait-1"), items[-1:], view()))
    assert not few.strips[0].folded
    assert six.strips[-1].why == "Likely from 07:40.", "a folded strip keeps its first sentence"


def test_a_closed_panel_is_not_on_the_round() -> None:
    listed = panels(*FIVE) | {"lid-4": replace(panel("lid-4"), closed=True)}
    assert "lid-4" not in {item.panel for item in round_of(listed, morning(NOW), view()).strips}


def test_the_readings_age_is_that_of_the_oldest_panel_that_is_known() -> None:
    items = morning(NOW)
    items[0] = replace(items[0], readings_to=NOW - 4 * MINUTE)
    assert round_of(panels(*FIVE), items, view()).readings_to == NOW - 4 * MINUTE


def test_the_time_left_is_told_with_the_deadline() -> None:
    first = round_of(panels(*FIVE), morning(NOW), view()).strips[0]
    assert first.headline == "Recoat before 06:50"
    assert first.ahead == f"40{TIE}min{TIE}left"


def test_an_answer_from_before_the_newest_coat_is_none() -> None:
    """Coat logged, watch dead: the round must not go on saying what held for the coat below."""
    item = answer("lid-4", "Lid 4", recoat(NOW + 50 * MINUTE, NOW + 60 * MINUTE))
    assert strip(panel("lid-4", 2), item, view()).headline.startswith("Recoat before")
    assert strip(panel("lid-4", 3), item, view()).kind is Kind.NOT_KNOWN


def test_an_answer_from_the_future_is_too_old() -> None:
    """A clock that went back five hours: the answer was worked out for another time than this."""
    item = answer("lid-4", "Lid 4", recoat(NOW + 50 * MINUTE, NOW + 60 * MINUTE))
    assert strip(panel("lid-4", 2), item, view(NOW - 300 * MINUTE)).kind is Kind.NOT_KNOWN


def test_where_only_a_thumb_can_tell_the_button_asks_for_it_until_it_has_told() -> None:
    overlap = Say("overlap", {})
    said = replace(recoat(NOW + HOUR, NOW + HOUR), headline=overlap)
    item = answer("lid-4", "Lid 4", said)
    asked = strip(panel("lid-4"), item, view()).button
    assert (asked.label, asked.href) == ("Thumb test", "/panels/lid-4/thumb")
    of = panel("lid-4")
    for minutes, words, label in (
        (10, (Word.TAPE,), "Start coat 3"),
        (50, (Word.TAPE,), "Thumb test"),
        (10, (Word.WET, Word.STRINGY, Word.SOFT_TACK), "Thumb test"),
        (10, (Word.DUSTS,), "Thumb test"),
    ):
        test = ThumbTest(NOW - minutes * MINUTE, words, None)
        coats = (*of.coats[:-1], replace(of.coats[-1], thumb_tests=(test,)))
        assert strip(replace(of, coats=coats), item, view()).button.label == label


def test_where_a_thumb_is_believed_over_the_probe_the_button_is_not_the_probe() -> None:
    for key in ("disagreement", "suspect_mix"):
        said = not_known(Say(key), ())
        assert strip(panel("lid-4"), answer("lid-4", "Lid 4", said), view()).button.label == "Thumb test"


@pytest.mark.parametrize(
    ("key", "values", "kind", "mark", "label", "where"),
    [
        ("recoatable", {"shut_by": NOW + HOUR}, Kind.ACT, Mark.LAP, "Start coat 3", "/panels/lid-4/coat"),
        ("wash_wet", {}, Kind.CARE, Mark.DROP, "Log wash", "washed"),
        ("wash_sand", {}, Kind.CARE, Mark.DROP, "Log wash", "washed"),
        ("wash_later", {"firm_from": NOW + HOUR}, Kind.WAIT, Mark.DROP, "See panel", "/panels/lid-4"),
        ("sandable", {}, Kind.GO, Mark.TEETH, "Log sand", "sanded"),
        ("sanded", {}, Kind.GO, Mark.LAP, "Start coat 3", "/panels/lid-4/coat"),
        ("demouldable", {}, Kind.GO, Mark.PEEL, "See panel", "/panels/lid-4"),
        ("setting", {"open_from": NOW + HOUR}, Kind.WAIT, Mark.RAMP, "See panel", "/panels/lid-4"),
        ("stopped_by_cold", {"move_C": 12.0}, Kind.CARE, Mark.KNEE, "Plan heat", "/tonight/lid-4#ask"),
        ("held", {"reason": "sticky"}, Kind.WAIT, Mark.RAMP, "Release", "/panels/lid-4/more#on-hold"),
        ("never_heard", {"probe": "S1"}, Kind.NOT_KNOWN, Mark.TORN, "Check probe", "/more/probes#probe-S1"),
        ("suspect_mix", {}, Kind.NOT_KNOWN, Mark.TORN, "Thumb test", "/panels/lid-4/thumb"),
    ],
)
def test_every_answer_of_the_morning_has_its_one_button(
    key: str, values: dict[str, float], kind: Kind, mark: Mark, label: str, where: str
) -> None:
    """Demoulding ends the watching, so the round leads to the panel instead of logging it (our own rule)."""
    said = replace(waiting(NOW), headline=Say(key, values), kind=kind, mark=mark)
    found = strip(panel(), answer("lid-4", "Lid 4", said), view())
    assert found.kind is kind
    assert (found.button.label, found.button.href or found.button.kind) == (label, where)


def test_the_age_of_the_readings_is_not_that_of_a_panel_on_hold() -> None:
    """It waits for a person, not for its probe: a silent one there says nothing of the other answers."""
    held = replace(waiting(NOW), headline=Say("held", {"reason": "wrong cloth"}))
    items = [
        answer("a", "A", recoat(NOW + 20 * MINUTE, NOW + 60 * MINUTE)),
        replace(answer("b", "B", held), readings_to=NOW - 3 * HOUR),
    ]
    assert round_of(panels("a", "b"), items, view()).readings_to == NOW - MINUTE


def test_a_washed_panel_says_when_and_by_whom_until_its_next_coat() -> None:
    """A wash that never was hides a bond failure: whoever goes on sees who said it. Also where nothing is known."""
    washed = replace(panel(), washed_at=NOW + 10 * MINUTE, washed_by="Kim")
    item = answer("lid-4", "Lid 4", recoat(NOW + 40 * MINUTE, NOW + 75 * MINUTE))
    assert strip(washed, item, view()).washed == "Washed 06:20, by Kim"
    assert strip(replace(washed, washed_by=""), None, view()).washed == "Washed 06:20, by somebody"
    assert strip(panel(), item, view()).washed is None
    assert washed.mark == replace(washed, washed_by="Robin").mark, "a name makes no answer old"
