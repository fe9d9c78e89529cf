"""Why: every headline and flag has its grounds, and their numbers are those of the assessment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import words
from dashboard.assessment import Assessment, Passing
from dashboard.display import MINUTE, TIE, View
from dashboard.why import FLAG_GUARDS, GROUNDS, TILE_C, bare, ground_of, is_wide, why
from dashboard.words.tonight import TONIGHT_HEADLINES
from model.film_times import Milestone
from model.verdict import Flag, Say
from tests.browser.fake_shop import HOUR, NOW, FakeShop, answer, recoat, waiting
from tests.dashboard.client import Client
from tests.dashboard.night import after, card

ZONE = ZoneInfo("Europe/Oslo")
NOT_OF_A_PANEL = {key for key in words.HEADLINES if key.startswith("pot_")} | TONIGHT_HEADLINES.keys()


def says(item: Assessment, view: View | None = None) -> list[Say]:
    look = view or View(ZONE, "degC", item.at)
    return [say for part in why(item, card(), look) for say in part.says]


@pytest.mark.parametrize("key", sorted(words.HEADLINES.keys() - NOT_OF_A_PANEL))
def test_every_headline_has_its_grounds_and_what_would_change_it(key: str) -> None:
    ground = ground_of(key)
    for part in bare(key):
        for say in part.says:
            assert say.key in words.KEYS
    assert {ground.guard, *ground.changes} <= words.KEYS.keys()
    assert ground.changes
    if ground.milestone is not None:
        assert f"name_{ground.milestone}" in words.RECORD


def test_no_ground_is_left_of_a_headline_that_nobody_says_any_more() -> None:
    assert GROUNDS.keys() <= words.HEADLINES.keys()
    with pytest.raises(KeyError):
        ground_of("pot_pour")


@pytest.mark.parametrize("flag", list(Flag))
def test_every_flag_adds_its_own_ground_whatever_the_headline(flag: Flag) -> None:
    item = answer("lid-4", "Lid 4", replace(waiting(NOW), flags=frozenset({flag})))
    assert FLAG_GUARDS[flag] in [say.key for say in says(item)]


SCENES: dict[str, Callable[[], Assessment]] = {
    "workable": lambda: after(lambda h: 20.0, 0.5),
    "setting": lambda: after(lambda h: 20.0, 2.6),
    "recoatable": lambda: after(lambda h: 20.0, 4.0),
    "firm": lambda: after(lambda h: 18.0, 12.0),
    "sandable": lambda: after(lambda h: 21.0, 36.0),
    "cold": lambda: after(lambda h: 3.0, 20.0),
    "hard in the cold": lambda: after(lambda h: 5.0, 36.0),
    "a gap": lambda: after(lambda h: 15.0, 14.0, missing=(5.0, 9.0)),
    "damp": lambda: after(lambda h: 15.0, 14.0, humidity=97.0),
    "no humidity": lambda: after(lambda h: 20.0, 4.0, humidity=None),
    "silent": lambda: after(lambda h: 20.0, 10.0, silent_from=6.0),
    "too hot": lambda: after(lambda h: 45.0, 4.0),
}


@pytest.mark.parametrize("scene", SCENES)
def test_every_number_of_why_is_one_of_the_assessment_or_the_card(scene: str) -> None:
    item = SCENES[scene]()
    sheet = card()
    known = {
        item.at,
        item.readings_to,
        item.panel_C,
        item.air_C,
        item.air_RH,
        item.dew_point_C,
        item.margin_K,
    }
    known |= {item.measured_h, item.missing_h, item.equivalent_age_h, item.reference_C, TILE_C}
    known |= {100.0 * share for share in item.conversion or ()} | set(item.glass_transition_C or ())
    known |= {time for one in item.milestones for time in (one.early, one.likely, one.late)}
    known |= {sheet.minimum_C, sheet.maximum_C, sheet.reference_C}
    known |= {
        hours
        for one in item.milestones
        if (span := sheet.film.span(Milestone(one.name)))
        for hours in (span.low, span.high)
    }
    if item.film is not None:
        known |= {item.film.least_margin_K, item.film.least_margin_at}
    view = View(ZONE, "degC", item.at)
    for say in says(item, view):
        assert view.sentence(say)
        for name, value in say.values.items():
            if isinstance(value, str):
                continue
            if say.key == "why_nights":
                passing = next(
                    one
                    for one in item.milestones
                    if one.name == ground_of(item.verdict.headline.key).milestone
                )
                assert (say.values["early_by"], say.values["late_from"]) == view.outward(
                    passing.early, passing.late
                )  # type: ignore[arg-type]
                continue
            assert value in known, f"{scene}: {say.key}.{name}"


def test_a_range_is_told_once_with_its_likely_time_and_a_thumb_narrows_a_wide_one() -> None:
    """Of "wait until", from 05:40 to 07:30 as FACE's example tells it; the wait is two hours and twenty minutes."""
    base = answer("lid-4", "Lid 4", waiting(NOW))
    passing = Passing("recoat_from", NOW + 30 * MINUTE, NOW + 90 * MINUTE, NOW + 140 * MINUTE, 0.0)
    told = [View(ZONE, "degC", NOW).sentence(say) for say in says(replace(base, milestones=(passing,)))]
    assert told[0] == "Recoat from: likely 07:40."
    assert told[1] == "In 8 of 10 nights like this: between 06:40 and 08:30."
    assert told[2] == "A thumb test would narrow this."


@pytest.mark.parametrize(
    ("early", "late", "wide"), [(80, 120, False), (60, 120, False), (59, 120, True), (100, 120, False)]
)
def test_wide_is_wider_than_half_the_wait_for_the_safe_end(early: int, late: int, wide: bool) -> None:
    opens = Passing("sand", NOW + early * MINUTE, None, NOW + late * MINUTE, 0.0)
    assert is_wide(opens, NOW) is wide


def test_of_what_shuts_the_wait_is_for_the_quick_end() -> None:
    shuts = Passing("recoat_until", NOW + 60 * MINUTE, None, NOW + 100 * MINUTE, 0.0)
    assert is_wide(shuts, NOW)
    assert not is_wide(replace(shuts, late=NOW + 90 * MINUTE), NOW)


@given(st.integers(0, 40 * HOUR), st.integers(0, 20 * HOUR))
def test_no_range_is_told_narrower_than_ten_minutes_nor_than_it_is(begin: int, width: int) -> None:
    view = View(ZONE, "degC", NOW)
    early, late = view.outward(NOW + begin, NOW + begin + width)
    assert early <= NOW + begin
    assert late >= NOW + begin + width
    assert late - early >= 10 * MINUTE
    told = [view.clock(view.rounded(at, name)) for at, name in ((early, "early_by"), (late, "late_from"))]
    assert told[0] != told[1]


def test_what_has_passed_has_no_range_and_a_far_slow_end_is_said_to_be_far() -> None:
    keys = [say.key for say in says(after(lambda h: 21.0, 36.0))]
    assert "why_nights" not in keys
    far = replace(
        answer("lid-4", "Lid 4", waiting(NOW)),
        milestones=(Passing("recoat_from", NOW + HOUR, NOW + 2 * HOUR, None, 0.0),),
    )
    assert "range_slow_far" in [say.key for say in says(far)]


def test_not_known_tells_no_number_of_an_old_answer_but_since_when() -> None:
    item = SCENES["silent"]()
    told = {say.key for say in says(item)}
    assert {"number_none", "number_last", "guard_unknown", "change_probe"} <= told
    assert not told & {"number_panel", "number_cure", "number_tg", "why_nights"}


def test_the_page_has_the_grounds_under_why_and_hides_them_with_the_answer(
    shop: FakeShop, client: Client
) -> None:
    shop.save(answer("lid-4", "Lid 4", recoat(NOW + 40 * MINUTE, NOW + 75 * MINUTE)))
    page = client.get("/panels/lid-4").text.replace(TIE, " ")
    grounds = page[
        page.index('<div class="fresh grounds" data-of="lid-4">') : page.index("How an answer is made")
    ]
    for heading in ("Range", "Worked out", "On the card", "What would change it"):
        assert f"<h3>{heading}</h3>" in grounds
    assert "covers 10 °C to 35 °C" in grounds.replace('<a class="term"', "")
    shop.clock.at = NOW + 20 * HOUR  # type: ignore[attr-defined]
    late = client.get("/panels/lid-4").text
    assert "An older answer may be wrong on the dangerous side" in late
    assert "<h3>Worked out</h3>" not in late


def test_why_in_fahrenheit_converts_differences_without_offset() -> None:
    """1 K = 1.8 degF: BIPM SI Brochure, 9th ed., 2.3.1."""
    item = replace(SCENES["recoatable"](), margin_K=5.0, air_C=20.0, air_RH=60.0, dew_point_C=15.0)
    view = View(ZONE, "degF", item.at)
    told = next(view.sentence(say) for say in says(item) if say.key == "number_air").replace(TIE, " ")
    assert told == "Air 68.0 °F, 60 % humidity, dew point 59.0 °F: margin 9.0 °F."
