"""Taps as the browser hears them: a planned coat 2, a thumb test 2, undo 1; a double tap is one entry."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from dashboard.entry import register_event
from dashboard.panel import Event
from model.verdict import Kind, Mark, Say, State, Verdict
from tests.browser.conftest import Visit, counted
from tests.browser.fake_shop import HOUR, NOW, FakeShop, answer, many, recoat, waiting
from tests.browser.serving import until
from tests.dashboard.client import new_id

PLAN = [{"kind": "seal", "card": "invented-15min"}, {"kind": "laminate", "card": "invented-25min"}]


@pytest.fixture
def planned(shop: FakeShop) -> str:
    """A panel with a plan of two coats and none laid; watch says that it may be mixed."""
    event = register_event(new_id(), NOW, "Kim", "Hatch 2", "shed", "S1", "A1", "wood", {}, plan=PLAN)
    shop.logbook.append(event)
    mix = Verdict(State.PLANNED, Kind.GO, Mark.CUP, Say("planned"), (), Say("next_mix"), frozenset(), 5)
    shop.save(answer("hatch-2", "Hatch 2", mix, coat=0, coats=0, card="", curve=None))
    return "hatch-2"


def test_a_planned_coat_is_started_with_two_taps_and_undone_with_one(
    visit: Visit, shop: FakeShop, planned: str
) -> None:
    page = visit.context.new_page()
    taps = counted(page)
    page.goto(visit.url)
    page.locator(f"#strip-{planned}").get_by_role("link", name="Start coat 1").click()
    page.get_by_role("button", name="Mixed just now").click()
    page.wait_for_url(f"**/panels/{planned}")
    expect(page.locator("#toast")).to_contain_text("Coat 1 started 06:10")
    (coat,) = shop.logbook.panels()[planned].coats
    assert (coat.kind, coat.card) == ("seal", "invented-15min"), "as it was planned"
    until(lambda: taps == ["Start coat 1", "Mixed just now"], "two taps were heard, and no more")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#toast")).to_contain_text("Taken back 06:10")
    assert shop.logbook.panels()[planned].coats == ()
    until(lambda: taps[2:] == ["Undo"], "one more tap was heard")


def test_the_next_coat_is_the_next_of_the_plan(visit: Visit, shop: FakeShop, planned: str) -> None:
    page = visit.open(f"/panels/{planned}/coat")
    page.get_by_role("button", name="Mixed just now").click()
    page.wait_for_url(f"**/panels/{planned}")
    page.goto(f"{visit.url}/panels/{planned}/coat")
    expect(page.get_by_label("Resin card")).to_have_value("invented-25min")
    expect(page.get_by_label("Kind")).to_have_value("laminate")


def test_one_id_for_each_opened_sheet_absorbs_a_double_tap(
    visit: Visit, shop: FakeShop, planned: str
) -> None:
    page = visit.open(f"/panels/{planned}/coat")
    page.get_by_role("button", name="Mixed just now").dblclick()
    page.wait_for_url(f"**/panels/{planned}")
    assert len(shop.logbook.panels()[planned].coats) == 1
    assert len([event for event in shop.logbook.events(planned) if event.kind == "coat mixed"]) == 1


def test_a_double_tap_on_a_thumbs_word_is_one_test_of_that_word(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/panels/lid-4/thumb")
    word = page.get_by_role("button", name="Soft rubber")
    place = word.bounding_box()
    word.dblclick()
    if page.url.endswith("/thumb"):
        assert word.bounding_box() in (place, None), "no word is pushed from under a thumb"
    expect(page).to_have_url(f"{visit.url}/panels/lid-4")
    (test,) = [event for event in shop.logbook.events("lid-4") if event.kind == "thumb test"]
    assert test.body["words"] == ["soft rubber"]


def test_one_opened_thumb_sheet_is_one_entry_even_if_a_second_word_is_hit(
    visit: Visit, shop: FakeShop
) -> None:
    """A thumb that slips to the next word while the first is on its way: the first counts."""
    page = visit.open("/panels/lid-4/thumb")
    with page.expect_request("**/api/events"):
        page.evaluate(
            """() => {
              const [first, second] = document.querySelectorAll('[data-found="soft rubber"], [data-found="tack-free"]');
              first.click();
              second.click();
            }"""
        )
    expect(page).to_have_url(f"{visit.url}/panels/lid-4")
    (test,) = [event for event in shop.logbook.events("lid-4") if event.kind == "thumb test"]
    assert test.body["words"] == ["tack-free"]


def test_no_strip_moves_while_a_thumb_is_coming_down_and_a_tap_goes_to_the_panel_that_was_aimed_at(
    visit: Visit, shop: FakeShop
) -> None:
    """Aimed at, then everything changes: the first strip is to wait, another is first now. Nothing moves."""
    page = visit.open("/")
    tops = "all => all.map((one) => [one.id, one.getBoundingClientRect().top])"
    places = page.eval_on_selector_all(".strip", tops)
    aim = page.locator("#strip-lid-4 .do").bounding_box()
    assert aim
    shop.save(answer("skiff-deck-2", "Skiff deck 2", waiting(NOW)))
    page.evaluate("window.coldshed.poll()")
    expect(page.locator("#strip-skiff-deck-2 .fresh .headline")).to_have_text("Wait until 08:10, then recoat")
    expect(page.locator("#resort")).to_be_visible()
    assert page.eval_on_selector_all(".strip", tops) == places
    page.mouse.click(aim["x"] + aim["width"] / 2, aim["y"] + aim["height"] / 2)
    expect(page.locator("#toast")).to_contain_text("Washed 06:10")
    assert shop.logbook.panels()["lid-4"].washed_at is not None


def test_a_panel_on_hold_is_released_from_its_strip_with_a_reason(visit: Visit, shop: FakeShop) -> None:
    shop.logbook.append(Event(new_id(), NOW, NOW, "Kim", "held", "lid-4", {"reason": "sticky corner"}))
    page = visit.open("/")
    strip = page.locator("#strip-lid-4")
    expect(strip.locator(".fresh .headline")).to_have_text("Hold: sticky corner")
    expect(strip.locator(".fresh .why")).to_contain_text("by Kim")
    strip.get_by_role("link", name="Release").click()
    page.get_by_label("Why it may go on").fill("washed twice")
    page.get_by_role("button", name="Release").click()
    page.wait_for_url("**/panels/lid-4")
    assert shop.logbook.panels()["lid-4"].hold is None


def test_a_strip_keeps_its_height_when_its_answer_is_longer_and_when_it_is_shorter(
    visit: Visit, shop: FakeShop
) -> None:
    page = visit.open("/")
    strip = page.locator("#strip-plug-7")
    height = "one => one.getBoundingClientRect().height"
    before = strip.evaluate(height)
    for verdict, says in (
        (waiting(NOW), "Wait until 08:10, then recoat"),
        (
            Verdict(State.SANDABLE, Kind.GO, Mark.TEETH, Say("sandable"), (), None, frozenset(), 5),
            "Sand when you like",
        ),
    ):
        shop.save(answer("plug-7", "Plug 7", verdict))
        page.evaluate("window.coldshed.poll()")
        expect(strip.locator(".fresh .headline")).to_have_text(says)
        expect(strip.locator(".fresh .headline")).to_be_in_viewport(ratio=1)
        assert strip.evaluate(height) == before


def test_a_folded_strip_that_has_to_be_acted_on_pushes_nothing_and_unfolds_with_the_new_order(
    visit: Visit, shop: FakeShop
) -> None:
    many(shop, 6)
    page = visit.open("/")
    tops = "all => all.map((one) => [one.id, one.getBoundingClientRect().top])"
    places, strip = page.eval_on_selector_all(".strip", tops), page.locator("#strip-hull-2")
    assert strip.locator(".do").count() == 0
    shop.save(answer("hull-2", "Hull 2", recoat(NOW + HOUR, NOW + 2 * HOUR)))
    page.evaluate("window.coldshed.poll()")
    expect(strip.locator(".fresh .headline")).to_have_text("Recoat before 07:10")
    assert page.eval_on_selector_all(".strip", tops) == places
    page.locator("#resort").click()
    expect(strip.get_by_role("link", name="Start coat 3")).to_be_visible()
