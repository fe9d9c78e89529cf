"""From working out the mix to the coat that is on, on a phone: taps counted, weights noted, digits counted down."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.browser.conftest import Visit
from tests.browser.fake_shop import MINUTE, FakeShop
from tests.browser.serving import until

JOB = "/mix/pots?spot=panel:box-a&card=invented-25min&amount_g=200&bottles_C=20"


def test_a_mix_is_worked_out_by_a_form_without_script(visit: Visit) -> None:
    """GET alone: what stands in the address afterwards says its own units."""
    context = visit.context.browser.new_context(java_script_enabled=False)  # type: ignore[union-attr]
    page = context.new_page()
    page.goto(visit.url + "/mix/pots?spot=panel:box-a&card=invented-25min")
    page.get_by_label("Area, m²").fill("1")
    page.get_by_label("Cloth, g/m²").first.fill("300")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_role("heading", name=re.compile("pots? of"))).to_be_visible()
    assert "area_m2=1" in page.url
    resin, hardener = page.locator(".weights dt").all_inner_texts()
    assert (resin, hardener) == ("Resin", "Hardener"), "resin stands above hardener"
    size = page.locator(".weights dd").first.evaluate("one => getComputedStyle(one).fontSize")
    assert size == "44px"
    context.close()


def test_the_caution_with_its_time_stands_above_mixed_just_now(visit: Visit) -> None:
    page = visit.open(JOB)
    smokes = page.get_by_text(re.compile(r"left standing in a cup can smoke at \d\d:\d\d")).bounding_box()
    button = page.get_by_role("button", name="Mixed just now: coat 4").bounding_box()
    assert smokes
    assert button
    assert smokes["y"] + smokes["height"] <= button["y"]
    assert button["height"] >= 72


def test_mixed_just_now_is_one_entry_and_leads_to_the_countdown(visit: Visit, shop: FakeShop) -> None:
    page = visit.open(JOB)
    page.get_by_role("button", name="Mixed just now: coat 4").dblclick()
    page.wait_for_url("**/panels/box-a/pot")
    coats = shop.logbook.panels()["box-a"].coats
    assert len(coats) == 4
    (pot,) = coats[-1].pots
    assert (pot.vessel, pot.bottles_C, pot.stirred) == ("cup", 20.0, None)
    assert pot.mass_g is None, "asked for is not poured"
    assert pot.asked_g is not None
    assert abs(pot.asked_g - 200.0) < 1.0
    expect(page.get_by_text("Not weighed yet")).to_be_visible()
    expect(page.locator(".headline")).to_have_text(re.compile(r"Pour it out before 06:2\d"))
    count = page.locator("#count")
    before = int(count.inner_text().split("\u00a0")[0])
    shop.clock.at += MINUTE  # type: ignore[attr-defined]
    # The page hears of the shop's clock by its poll, every 5 s.
    expect(count).to_have_text(re.compile(rf"^({before - 1}|{before - 2})\u00a0min$"))


def test_the_countdown_can_be_read_without_script(visit: Visit, shop: FakeShop) -> None:
    visit.open(JOB).get_by_role("button", name="Mixed just now: coat 4").click()
    until(lambda: len(shop.logbook.panels()["box-a"].coats) == 4, "it is logged")
    context = visit.context.browser.new_context(java_script_enabled=False)  # type: ignore[union-attr]
    page = context.new_page()
    page.goto(visit.url + "/panels/box-a/pot")
    expect(page.locator("#count")).to_have_text(re.compile(r"^\d+\u00a0min$"))
    expect(page.get_by_text(re.compile("Left standing it can smoke at 06:"))).to_be_visible()
    context.close()


def test_weights_out_of_tolerance_are_said_at_once_and_applied_ends_the_countdown(
    visit: Visit, shop: FakeShop
) -> None:
    """3 : 1 by volume, 97 g of hardener belong to 345 g of resin: 130 g are a third too much."""
    page = visit.open(JOB)
    page.get_by_role("button", name="Mixed just now: coat 4").click()
    page.wait_for_url("**/panels/box-a/pot")
    shop.clock.at += MINUTE  # type: ignore[attr-defined]
    page.reload()
    page.get_by_label("Resin, g").fill("345")
    page.get_by_label("Hardener, g").fill("130")
    page.get_by_label("Yes").check()
    page.get_by_role("button", name="Note the weights").click()
    # Of the logged pot, not of a sheet that still waits for its answer.
    expect(page.locator("[data-live=fault] .problem").first).to_be_visible()
    (pot,) = shop.logbook.panels()["box-a"].newest.pots  # type: ignore[union-attr]
    assert (pot.resin_g, pot.hardener_g, pot.stirred) == (345.0, 130.0, True)
    page.get_by_role("button", name="Applied", exact=True).click()
    expect(page.locator(".headline")).to_have_text(re.compile("Leave it alone: it is on since"))
    expect(page.locator("#count")).to_have_count(0)


def test_weights_in_ounces_are_kept_in_grams(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/more/settings")
    page.get_by_label("lb, ft²").check()
    expect(page.locator("#toast")).to_contain_text("Now in lb, ft²")
    page = visit.open("/mix/pots?spot=panel:box-a&card=invented-25min&amount_g=200")
    expect(page.get_by_label("Or mix just so much, oz")).to_have_value("7.055")
    page.get_by_role("button", name="Mixed just now: coat 4").click()
    page.wait_for_url("**/panels/box-a/pot")
    shop.clock.at += MINUTE  # type: ignore[attr-defined]
    page.reload()
    page.get_by_label("Resin, oz").fill("5.5")
    page.get_by_label("Hardener, oz").fill("1.55")
    page.get_by_role("button", name="Note the weights").click()
    until(lambda: shop.logbook.events("box-a")[-1].kind == "pot weighed", "it is logged")
    (pot,) = shop.logbook.panels()["box-a"].newest.pots  # type: ignore[union-attr]
    assert pot.resin_g is not None
    assert pot.stirred is None, "nobody said"
    assert abs(pot.resin_g - 5.5 * 28.349523125) < 1e-9


def test_an_answer_past_its_time_turns_to_not_known_without_any_server(visit: Visit, shop: FakeShop) -> None:
    page = visit.open("/mix?spot=probe:A1&card=invented-winter&onto=other")
    expect(page.locator("#strip-mix .fresh .headline")).to_be_visible()
    page.route("**/*", lambda route: route.abort())
    page.evaluate("document.querySelector('#strip-mix').dataset.goodUntil = '1'")
    expect(page.locator("#strip-mix .stale .headline")).to_have_text("Not known: this answer is too old")
    expect(page.locator("#strip-mix .fresh .headline")).to_be_hidden()
    expect(page.locator(".ribbon")).to_be_hidden()
