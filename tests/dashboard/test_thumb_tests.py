"""A thumb test reaches the answer: it narrows, delays, contradicts, washes, or says that the mix is suspect."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.fold import fold
from dashboard.panel import Event, ThumbTest
from model.observation import Word
from model.verdict import Flag, Kind, State
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop
from tests.dashboard.client import Client, new_id
from tests.dashboard.night import HOUR_MS, MIXED, night

Test = tuple[float, Word] | tuple[float, Word, float]


def felt(hours: float, *tests: Test, panel_C: float = 20.0, washed_h: float | None = None) -> Assessment:
    """The answer so many hours after mixing, of a panel with thumb tests at (hour, word, tile's degC)."""
    facts = night(lambda hour: panel_C, hours, washed_h=washed_h)
    (coat,) = facts.panel.coats
    found = tuple(
        ThumbTest(MIXED + round(test[0] * HOUR_MS), (test[1],), test[2] if len(test) > 2 else None)
        for test in tests
    )
    panel = replace(facts.panel, coats=(replace(coat, thumb_tests=found),))
    return assess(replace(facts, panel=panel), MIXED + round(hours * HOUR_MS))


def sand(answer: Assessment) -> tuple[int, int]:
    """Early and safe end of sanding, UTC ms."""
    passing = next(item for item in answer.milestones if item.name == "sand")
    assert passing.early is not None
    assert passing.late is not None
    return passing.early, passing.late


def test_a_soft_word_delays_sanding_and_the_expected_one_narrows_its_range() -> None:
    plain, soft, tape = felt(5.0), felt(5.0, (2.9, Word.STRINGY)), felt(5.0, (3.0, Word.TAPE))
    assert sand(soft)[1] > sand(plain)[1] + HOUR_MS
    (early, late), (before, after) = sand(tape), sand(plain)
    assert late - early < after - before


def test_a_film_still_soft_long_past_its_slow_end_is_not_known_and_taking_the_test_back_undoes_it() -> None:
    ready, soft = felt(50.0), felt(50.0, (49.0, Word.TAPE))
    assert ready.verdict.state is State.SANDABLE
    assert soft.verdict.headline.key == "suspect_mix"
    assert soft.verdict.state is State.NOT_KNOWN
    assert soft.verdict.kind is Kind.NOT_KNOWN
    assert Flag.SUSPECT_MIX in soft.verdict.flags
    hard_again = felt(50.0, (49.0, Word.TAPE), (49.5, Word.DUSTS))
    assert hard_again.verdict.state is State.SANDABLE


def test_dust_from_a_cold_film_makes_nothing_ready() -> None:
    cold, dust = felt(36.0, panel_C=5.0), felt(36.0, (35.0, Word.DUSTS), panel_C=5.0)
    assert dust.verdict.state is cold.verdict.state is State.FIRM
    assert sand_passed(dust) == sand_passed(cold)


def sand_passed(answer: Assessment) -> float:
    return next(item.passed for item in answer.milestones if item.name == "sand")


def test_a_contradiction_is_told_first_and_teaches_nothing() -> None:
    plain, torn = felt(5.0), felt(5.0, (3.0, Word.SOFT_RUBBER), (4.0, Word.STRINGY))
    assert torn.verdict.headline.key == "disagreement"
    assert torn.verdict.kind is Kind.NOT_KNOWN
    assert sand(torn) == sand(plain)
    settled = felt(5.0, (3.0, Word.SOFT_RUBBER), (4.0, Word.STRINGY), (4.9, Word.TACK_FREE))
    assert settled.verdict.why[0].key == "why_disagreement"
    assert settled.verdict.headline.key == plain.verdict.headline.key


@pytest.mark.parametrize("word", [Word.GUMS, Word.NAIL_DENTS])
@pytest.mark.parametrize("hours", [26.0, 30.0])
def test_paper_that_gums_is_not_told_to_sand(word: Word, hours: float) -> None:
    """One unlikely word teaches nothing, but the hand has it: no going on against it."""
    assert felt(hours).verdict.headline.key == "sandable"
    told = felt(hours, (hours - 0.1, word)).verdict
    assert told.headline.key == "disagreement"
    assert told.state is State.NOT_KNOWN
    assert told.why[0].values == {"was": "sandable"}
    assert felt(hours, (hours - 0.5, word), (hours - 0.1, Word.DUSTS)).verdict.headline.key == "sandable"


def test_a_film_that_still_strings_is_not_told_to_recoat() -> None:
    assert felt(4.5).verdict.headline.key == "recoatable"
    assert felt(4.5, (4.4, Word.STRINGY)).verdict.headline.key == "disagreement"


@pytest.mark.parametrize("word", [Word.GREASY, Word.WAXY, Word.BEADS])
def test_what_lies_on_the_film_means_wash_until_it_is_washed(word: Word) -> None:
    """However dry the air was; and it slows nothing."""
    found = felt(14.0, (13.0, word))
    assert Flag.WASH_FIRST in found.verdict.flags
    assert found.verdict.why[0].key == "why_wash_felt"
    assert sand(found) == sand(felt(14.0))
    assert Flag.WASH_FIRST not in felt(14.0, (13.0, word), washed_h=13.5).verdict.flags
    assert Flag.WASH_FIRST in felt(14.0, (13.8, word), washed_h=13.5).verdict.flags


def test_a_test_belongs_to_the_coat_that_was_newest_then() -> None:
    def event(number: int, hour: float, kind: str, **body: object) -> Event:
        at = MIXED + round(hour * HOUR_MS)
        return Event(f"event-{number}", at, at, "", kind, "lid", body)

    events = [
        event(1, 0.0, "panel registered", name="Lid", zone="shed", surface_probe="S1", air_probe=None,
              substrate="wood"),
        event(2, 1.0, "coat mixed", card="invented-25min"),
        event(3, 5.0, "coat mixed", card="invented-25min"),
        event(4, 4.0, "thumb test", words=["tack-free"]),
        event(5, 9.0, "thumb test", words=["wet", "stringy"], tile_C=21.0),
    ]  # fmt: skip
    first, second = fold(events)["lid"].coats
    assert first.thumb_tests == (ThumbTest(MIXED + 4 * HOUR_MS, (Word.TACK_FREE,), None),)
    assert second.thumb_tests == (ThumbTest(MIXED + 9 * HOUR_MS, (Word.WET, Word.STRINGY), 21.0),)


def test_a_thumb_test_is_taken_down_and_shown_in_the_log(shop: FakeShop, client: Client) -> None:
    tap = {
        "id": new_id(), "who": "Kim", "kind": "thumb test", "panel": "lid-4", "at": NOW - MINUTE,
        "body": {"words": ["tack-free"], "tile_C": 21.0},
    }  # fmt: skip
    answer = client.post("/api/events", tap)
    assert answer.status_code == 200
    assert answer.json()["said"] == "Thumb test 06:09: tack-free, tile at 21 °C"
    assert "Thumb test 06:09: tack-free" in client.get("/panels/lid-4").text
    assert shop.logbook.panels()["lid-4"].coats[-1].thumb_tests[0].words == (Word.TACK_FREE,)


@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        ({"words": ["gums the paper", "greasy"]}, 409, "is not what one test finds"),
        (
            {"words": ["tack-free"], "tile_C": 300.0},
            409,
            "A tile at 300 degC: -20 to 60 degC are allowed",
        ),
        ({"words": ["rock hard"]}, 422, "tack-free"),
        ({"words": []}, 422, "words"),
    ],
)
def test_a_test_that_makes_no_sense_is_refused(
    body: dict[str, object], status: int, says: str, client: Client
) -> None:
    tap = {"id": new_id(), "kind": "thumb test", "panel": "lid-4", "body": body}
    answer = client.post("/api/events", tap)
    assert answer.status_code == status
    assert says in answer.text


def test_nothing_is_felt_before_the_first_coat_was_mixed(client: Client) -> None:
    tap = {
        "id": new_id(), "kind": "thumb test", "panel": "lid-4", "at": NOW - 600 * HOUR,
        "body": {"words": ["wet"]},
    }  # fmt: skip
    answer = client.post("/api/events", tap)
    assert answer.status_code == 409
    assert "before the first coat" in answer.json()["error"]["what"]
