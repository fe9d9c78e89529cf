"""The door in a real browser: signing in, a session that ends under a half-filled sheet, signing, hostile text."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from dashboard.panel import Event
from tests.browser.conftest import DESK, PHONE, news
from tests.browser.every_page import axe
from tests.browser.serving import Served, free_port, until
from tests.door.house import PASSWORD, PIN, House, open_house

HOSTILE = '"><img src=x onerror="window.broken=1"><script>window.broken=1</script>{{7*7}}'
SIGNS_IN = "body => fetch('/door/in', {method: 'POST', headers: {'Content-Type': 'application/json'}, body})"


@dataclass
class Door:
    """A shop behind its door, and a phone before it."""

    house: House
    page: Page
    url: str
    complaints: list[str]

    def open(self, path: str) -> Page:
        self.page.goto(self.url + path)
        return self.page

    def sign_in(self, name: str) -> Page:
        self.page.fill("#door-name", name)
        self.page.fill("#door-password", PASSWORD)
        self.page.click("button[type=submit]")
        expect(self.page.locator("nav.tabs")).to_be_visible()
        self.page.wait_for_load_state("domcontentloaded")  # its scripts are there
        return self.page

    def events(self) -> list[tuple[str, str]]:
        return [(event.kind, event.who) for event in self.house.shop.logbook.events()]


@pytest.fixture
def door(chromium: Browser, tmp_path: Path) -> Iterator[Door]:
    house = open_house(tmp_path, port=free_port(), heard=True, told=("Kim", "Robin"))
    served = Served(house.shop.app, house.shop.port)
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    made = Door(house, page, served.url, [])
    page.on("pageerror", lambda error: made.complaints.append(str(error)))
    page.on("dialog", lambda dialog: made.complaints.append(dialog.message))
    yield made
    context.close()
    served.stop()
    house.close()
    assert made.complaints == []


def test_one_signs_in_and_stands_on_the_page_that_was_asked_for(door: Door) -> None:
    page = door.open("/panels/lid-4")
    assert page.title() == "Sign in · Invented shed"
    for field, wanted in (("#door-name", "username"), ("#door-password", "current-password")):
        assert page.get_attribute(field, "autocomplete") == wanted, (
            "password managers and pasting work (WCAG 3.3.8)"
        )
    for size in (PHONE, DESK):
        page.set_viewport_size(size)
        for light in ("light", "dark", "sun"):
            page.evaluate("light => { localStorage.setItem('theme', light); coldshedTheme.show() }", light)
            assert not axe(page, page.url)
    page.set_viewport_size(PHONE)
    box = page.locator("button[type=submit]").bounding_box()
    assert box is not None
    assert box["height"] >= 48
    assert box["y"] + box["height"] < PHONE["height"], "all of it is seen without scrolling"
    page.fill("#door-name", "Robin")
    page.fill("#door-password", "wrong")
    page.keyboard.press("Enter")
    expect(page.locator(".problem")).to_contain_text("do not fit together")
    door.sign_in("Robin")
    assert page.url.endswith("/panels/lid-4")
    assert "Lid 4" in page.inner_text("main")


def test_a_half_filled_sheet_outlives_its_session(door: Door) -> None:
    door.open("/panels/new")
    page = door.sign_in("Robin")
    page.fill("input[name=name]", "Rudder 7")
    page.fill("#zone", "shed")
    page.select_option("#air_probe", "A1")
    for one in door.house.door.sessions.all():
        door.house.door.sessions.end(one.id, door.house.door.sessions.visitor(""), "")
    page.click("form[data-post] button[type=submit]")
    expect(page.locator("#door-in")).to_be_visible()
    assert not axe(page, page.url)
    assert page.input_value("#door-in-name") == "Robin"
    page.fill("#door-in-password", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/panels/rudder-7")
    assert ("panel registered", "Robin") in door.events()


def test_an_open_page_says_that_it_is_signed_out(door: Door) -> None:
    door.open("/")
    page = door.sign_in("Robin")
    one = door.house.door.sessions.all()[0]
    door.house.door.sessions.end(one.id, door.house.door.sessions.visitor(""), "")
    page.evaluate("coldshed.poll()")
    expect(page.locator("#lost")).to_contain_text("signed out")
    assert page.locator(".strip").count() == 5, "what was seen last stays, with its own end"


def test_a_sheet_left_open_logs_nothing_under_whoever_signed_in_in_another_tab(door: Door) -> None:
    door.open("/panels/skiff-deck-2/coat")
    page = door.sign_in("Robin")
    page.locator("main input").first.dispatch_event("input")  # somebody has begun to fill it in
    page.evaluate(
        "caches.open('coldshed-pages-x').then((kept) => kept.put('/panels/x', new Response('Robin saw')))"
    )
    body = json.dumps({"name": "Kim", "password": PASSWORD})
    before = len(door.events())
    page.evaluate(SIGNS_IN, body)
    page.get_by_role("button", name="Mixed just now").click()
    expect(page.locator("#door-in")).to_be_visible()
    page.fill("#door-in-password", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/panels/skiff-deck-2")
    assert door.events()[before:] == [("coat mixed", "Robin"), ("decided", "Robin")]
    assert page.evaluate("caches.has('coldshed-pages-x')") is False, "what one person saw, another does not"
    page.evaluate(SIGNS_IN, body)
    page.evaluate("coldshed.poll()")
    expect(page.locator("body[data-visitor=Kim]")).to_have_count(1)


def test_what_was_filled_in_before_the_pages_scripts_came_stays_when_another_signs_in(door: Door) -> None:
    door.open("/")
    page = door.sign_in("Robin")
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/live.js", hold)
    page.goto(door.url + "/panels/new", wait_until="commit")
    page.locator("#name").fill("Rudder 7")
    until(lambda: news(page) and bool(held), "the script is asked for")
    held[0].continue_()
    page.wait_for_load_state("domcontentloaded")
    page.evaluate(SIGNS_IN, json.dumps({"name": "Kim", "password": PASSWORD}))
    page.evaluate("coldshed.poll()")
    expect(page.locator("#name")).to_have_value("Rudder 7")
    assert page.get_attribute("body", "data-visitor") == "Robin"


def test_what_one_may_not_do_is_not_offered(door: Door) -> None:
    door.open("/")
    page = door.sign_in("Sam")
    assert page.locator("[data-log]:visible").count() == 0
    door.open("/panels/new")
    expect(page.locator("main")).to_contain_text("may look; this needs one that may work")
    door.open("/more/people")
    assert page.locator("a[href='/door/keys']").count() == 0
    door.open("/door/me")
    page.click("form[data-door='/door/out'] button")
    expect(page.locator("#door-password")).to_be_visible()


def test_the_button_to_sign_out_leaves_nothing_that_was_seen_in_the_browser(door: Door) -> None:
    """ASVS 14.3.1: neither in what the worker keeps nor in the browser's own cache, where a photo stays as a file."""
    door.open("/door/me")
    page = door.sign_in("Robin")
    photo = page.evaluate(
        """async () => {
          const body = new Uint8Array([0xff, 0xd8, 0xff, 0xe0, ...Array(200).fill(0)]);
          const headers = {"Content-Type": "image/jpeg"};
          await fetch("/api/panels/lid-4/photos/tap-photo-01", {method: "POST", headers, body});
          const page = await (await fetch("/panels/lid-4")).text();
          return page.match(/\\/panels\\/lid-4\\/photos\\/[0-9a-f]{64}/)[0];
        }"""
    )
    shown = "path => fetch(path).then((answer) => answer.status)"
    assert [page.evaluate(shown, photo) for _ in range(2)] == [200, 200]
    page.evaluate(
        "caches.open('coldshed-pages-x').then((kept) => kept.put('/panels/x', new Response('Robin saw')))"
    )
    page.click("form[data-door='/door/out'] button")
    expect(page.locator("#door-password")).to_be_visible()
    assert page.evaluate("caches.has('coldshed-pages-x')") is False
    assert page.evaluate(shown, photo) == 401


def test_a_shop_phone_asks_who_signs_and_for_the_pin(door: Door) -> None:
    door.open("/door/me")
    page = door.sign_in("Kim")
    page.fill("#door-phone", "bench")
    page.click("form[data-door='/door/phone'] button")
    page.wait_for_url(door.url + "/")
    door.open("/panels/box-a/demould")
    page.click("form[data-post] button[type=submit]")
    expect(page.locator("#door-sign")).to_be_visible()
    assert not axe(page, page.url)
    page.select_option("#door-sign-name", "Robin")
    page.fill("#door-sign-secret", "000000")
    page.keyboard.press("Enter")
    expect(page.locator("#door-sign .problem")).to_contain_text("do not fit")
    page.fill("#door-sign-secret", PIN)
    page.keyboard.press("Enter")
    page.wait_for_url("**/panels/box-a")
    assert ("decided", "Robin") in door.events()
    at = door.house.clock.now()
    door.house.shop.logbook.append(
        Event("tap-hold-001", at, at, "Kim", "held", "box-a", {"reason": "soft corner"})
    )
    door.open("/panels/box-a/more")
    form = page.locator("form[data-kind=released]")
    form.locator("input[name=reason]").fill("it is hard now")
    form.locator("button").last.click()
    expect(page.locator("#door-sign")).to_be_visible()
    page.select_option("#door-sign-name", "Robin")
    page.fill("#door-sign-secret", PIN)
    page.keyboard.press("Enter")
    page.wait_for_url("**/panels/box-a")
    assert door.events()[-2:] == [("released", "Robin"), ("decided", "Robin")]


def test_who_manages_makes_and_takes_back_what_opens_the_door(door: Door) -> None:
    token, person = (HOSTILE[:39] + end for end in "TP")  # no token is called as a person
    door.open("/door/keys")
    page = door.sign_in("Kim")
    assert not axe(page, page.url)
    page.fill("#door-token-name", token)
    page.check("input[value=read]")
    page.click("form[data-door='/door/tokens'] button")
    expect(page.locator("#door-token code")).to_contain_text("coldshed-")
    page.fill("#door-add-name", person)
    page.fill("#door-add-password", PASSWORD)
    page.click("form[data-door='/door/accounts'] button")
    expect(page.locator(".door-list").first).to_contain_text(person)
    expect(page.locator(".door-list").last).to_contain_text(token)
    page.click("form[data-door='/door/tokens/revoke'] button")
    expect(page.locator("form[data-door='/door/tokens/revoke']")).to_have_count(0)
    remove = page.locator("form[data-door='/door/accounts/remove'] button").last
    remove.click()
    expect(remove).to_have_text("Sure? Remove")
    before = {one.name for one in door.house.door.accounts.all()}
    assert len(before) == 4, "one tap removes nobody"
    remove.click()
    expect(page.locator("form[data-door='/door/accounts/remove']")).to_have_count(3)
    door.open("/door/trail")
    expect(page.locator("main")).to_contain_text("token revoked")
    assert not axe(page, page.url)
    assert page.evaluate("window.broken") is None
