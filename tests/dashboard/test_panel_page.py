"""What a panel's page offers to log, and what the sheet of a new coat says of panel and card."""

from __future__ import annotations

import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from dashboard.display import TIE, View
from dashboard.pages.panels import fit
from model.verdict import Kind, Mark, Say, State, Verdict
from tests.browser.fake_shop import MINUTE, NOW, ZONE, FakeShop, answer, waiting
from tests.dashboard.client import Client


def buttons(page: str) -> list[tuple[str, str]]:
    """Class and label of each button of the row, in order."""
    row = page[page.index('<div class="row"') : page.index('<div id="night"')]
    return re.findall(r'class="do ([a-z ]*)"[^>]*>([^<]+)<', row)


def pot(state: State = State.IN_THE_POT) -> Verdict:
    """A pot is running."""
    return Verdict(
        state, Kind.ACT, Mark.CUP, Say("in_the_pot", {"pour_by": NOW + 12 * MINUTE}),
        (Say("why_in_the_pot", {"mixed_at": NOW, "usable_at": NOW + 16 * MINUTE}),), None, frozenset(), 0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("panel", "offered"),
    [
        (
            "skiff-deck-2",
            [("first", "Start coat 3"), ("", "Log wash"), ("", "Log sand"), ("later", "Thumb test")],
        ),
        (
            "lid-4",
            [("first", "Log wash"), ("", "Log sand"), ("later", "Thumb test"), ("later", "Start coat 3")],
        ),
        (
            "rib-1",
            [
                ("first", "Check probe"),
                ("", "Log wash"),
                ("", "Log sand"),
                ("later", "Thumb test"),
                ("later", "Start coat 2"),
            ],
        ),
        (
            "box-a",
            [("first", "Log sand"), ("", "Log wash"), ("later", "Thumb test"), ("later", "Start coat 4")],
        ),
        ("plug-7", [("first", "Plan heat"), ("later", "Start coat 3")]),
    ],
)
def test_the_strips_own_button_is_first_and_the_next_coat_last(
    client: Client, panel: str, offered: list[tuple[str, str]]
) -> None:
    assert buttons(client.get(f"/panels/{panel}").text) == offered


def test_a_pot_is_logged_as_applied_and_nothing_liquid_is_washed_or_sanded(
    shop: FakeShop, client: Client
) -> None:
    shop.save(answer("box-a", "Box A", pot()), answer("lid-4", "Lid 4", waiting(NOW)))
    assert buttons(client.get("/panels/box-a").text) == [("first", "Applied"), ("later", "The pot")]
    assert buttons(client.get("/panels/lid-4").text) == [("later", "Start coat 3")]


def test_what_to_do_the_buttons_and_the_chart_come_in_that_order(client: Client) -> None:
    page = client.get("/panels/lid-4").text
    places = [page.index(text) for text in ('class="answer', 'class="row"', 'id="chart"', 'id="why"')]
    assert places == sorted(places)


def test_the_time_left_and_what_comes_next_are_two_sentences(client: Client) -> None:
    page = client.get("/panels/skiff-deck-2").text
    assert f'<p class="left">40{TIE}min{TIE}left.</p><p class="next">Next: the window shuts' in page


@pytest.mark.parametrize(
    ("panel_C", "unit", "text", "wrong"),
    [
        (3.6, "degC", "Panel 3.6 °C; this card's minimum is 10 °C.", "Too cold for this card"),
        (3.6, "degF", "Panel 38.5 °F; this card's minimum is 50 °F.", "Too cold for this card"),
        (10.0, "degC", "Panel 10.0 °C; this card's minimum is 10 °C.", ""),
        (35.1, "degC", "Panel 35.1 °C; this card's minimum is 10 °C.", "Above this card's maximum, 35 °C"),
        (None, "degC", "", "Panel not known; this card's minimum is 10 °C"),
    ],
)
def test_a_new_coat_is_told_whether_its_card_fits_the_panel(
    panel_C: float | None, unit: str, text: str, wrong: str
) -> None:
    """(3.6 degC = 38.48 degF: BIPM SI Brochure, 9th ed., 2.3.1.)"""
    found = fit("invented-25min", 10.0, 35.0, panel_C, View(ZoneInfo(ZONE), unit, NOW))
    assert found.text.replace(TIE, " ") == text
    assert found.wrong.replace(TIE, " ").startswith(wrong)
    assert bool(found.wrong) == bool(wrong)


def test_the_sheet_of_a_coat_says_what_comes_first_on_a_film_that_takes_none_now(
    shop: FakeShop, client: Client
) -> None:
    """Above the button, and also where nothing is known; never where the round itself says to coat."""
    shop.save(answer("plug-7", "Plug 7", waiting(NOW)))
    page = client.get("/panels/plug-7/coat").text
    assert page.index("The round says: Wait until") < page.index("Mixed just now")
    assert "The round says" not in client.get("/panels/skiff-deck-2/coat").text
    shop.clock.at = NOW + 3 * 60 * MINUTE  # type: ignore[attr-defined]
    assert (
        "The round says: Not known: this answer is too old." in client.get("/panels/skiff-deck-2/coat").text
    )


def test_the_sheet_shows_the_chosen_cards_fit_with_a_care_mark(shop: FakeShop, client: Client) -> None:
    shop.save(replace(answer("plug-7", "Plug 7", waiting(NOW)), panel_C=3.6))
    page = client.get("/panels/plug-7/coat").text
    shown = re.search(r'<div class="fit([^"]*)" data-fit="invented-25min">', page)
    assert shown
    assert shown[1] == " care"
    assert 'data-fit="invented-15min" hidden' in page
    assert page.index("data-fit") < page.index("Mixed just now")
    shop.clock.at = NOW + 10 * MINUTE  # type: ignore[attr-defined]
    assert "3.6" not in client.get("/panels/plug-7/coat").text, "an old temperature is no temperature"


def test_screen_readers_hear_the_kind_only_while_it_holds(client: Client) -> None:
    page = client.get("/").text
    assert '<span class="fresh"><span class="unseen">clock running: </span>' in page
    assert page.count("clock running: ") == 1
