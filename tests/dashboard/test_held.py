"""A panel on hold says so whatever watch says, offers nothing but its release, and leaves paper no time to go by."""

from __future__ import annotations

from dataclasses import replace

from dashboard.assess import assess
from dashboard.night_strip import night_strip
from dashboard.panel import Event, Hold, Panel
from dashboard.round_sheet import sheet_of
from dashboard.strips import folded, round_of, strip
from model.verdict import Kind, Mark, Say
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, answer, many, recoat
from tests.dashboard.client import Client, new_id
from tests.dashboard.night import HOUR_MS, MIXED, night
from tests.dashboard.test_strips import panel, view

HOLD = Hold(NOW - HOUR, "Kim", "sticky corner")


def held(ident: str = "lid-4") -> Panel:
    return replace(panel(ident), hold=HOLD)


def said_by_watch(of: Panel, at: int = NOW) -> object:
    """The answer as watch makes it for a panel on hold."""
    verdict = replace(
        recoat(NOW + 40 * MINUTE, NOW + 75 * MINUTE), kind=Kind.WAIT, mark=Mark.RAMP,
        headline=Say("held", {"reason": HOLD.reason}),
        why=(Say("why_held", {"held_at": HOLD.since, "who": HOLD.who}),), rank=5,
    )  # fmt: skip
    return answer(of.id, of.name, verdict, at)


def test_a_hold_is_told_at_once_and_when_watch_is_dead_or_its_answer_too_old() -> None:
    of = held()
    for item, started in (
        (None, True),
        (None, False),
        (said_by_watch(of), True),
        (said_by_watch(of, NOW - HOUR), True),
    ):
        found = strip(of, item, view(), started)  # type: ignore[arg-type]
        assert found.headline == "Hold: sticky corner"
        assert found.why.startswith("Since 05:10, by Kim.")
        assert (found.kind, found.held) == (Kind.WAIT, True)
        assert (found.button.label, found.button.href) == ("Release", "/panels/lid-4/more#on-hold")


def test_an_answer_from_before_the_hold_tells_nobody_to_recoat() -> None:
    before = answer("lid-4", "Lid 4", recoat(NOW + 40 * MINUTE, NOW + 75 * MINUTE), entries=panel().mark)
    assert strip(panel(), before, view()).headline.startswith("Recoat before")
    assert strip(held(), before, view()).headline == "Hold: sticky corner"


def test_tonights_times_of_a_panel_on_hold_begin_with_the_hold() -> None:
    """Else the evening's page says from when to recoat what nobody may touch."""
    at = MIXED + 2 * HOUR_MS
    facts = night(lambda _: 20.0, 2.0)
    of = replace(facts.panel, hold=Hold(at - MINUTE, "Kim", "sticky corner"))
    seen = replace(view(), now=at)
    free = night_strip(facts.panel, assess(facts, at), seen)
    found = night_strip(of, assess(replace(facts, panel=of), at), seen)
    assert found.times[0].startswith("Hold: sticky corner. Since ")
    assert found.times[1:] == free.times
    assert found.times[0] in found.brief


def test_on_paper_a_hold_lasts_until_it_is_released_and_brings_no_caution() -> None:
    of = held()
    (line,) = sheet_of({of.id: of}, [said_by_watch(of)], view()).lines  # type: ignore[list-item]
    assert (line.until, line.until_text) == (None, "on hold")
    assert sheet_of({of.id: of}, [said_by_watch(of)], view()).cautions == ()  # type: ignore[list-item]


def test_among_many_a_panel_on_hold_is_not_folded_away() -> None:
    panels = {name: held(name) for name in ("a", "b", "c", "d", "e", "f")}
    found = folded(round_of(panels, [], view()))
    assert not any(item.folded for item in found.strips)


def test_the_page_of_a_panel_on_hold_has_one_button_and_it_releases(shop: FakeShop, client: Client) -> None:
    tap = {
        "id": new_id(),
        "who": "Kim",
        "kind": "held",
        "panel": "skiff-deck-2",
        "body": {"reason": "sticky corner"},
    }
    assert client.post("/api/events", tap).status_code == 200
    page = client.get("/panels/skiff-deck-2").text
    row = page.split('data-live="buttons"')[1].split("</div>")[0]
    assert row.count('class="do') == 1
    assert "/panels/skiff-deck-2/more#on-hold" in row
    assert 'id="on-hold"' in client.get("/panels/skiff-deck-2/more").text
    told = client.get("/api/round").json()["strips"]
    assert next(s for s in told if s["panel"] == "skiff-deck-2")["headline"] == "Hold: sticky corner"
    back = {"id": new_id(), "kind": "released", "panel": "skiff-deck-2", "body": {"reason": "washed twice"}}
    assert client.post("/api/events", back).status_code == 200
    assert "Hold:" not in client.get("/").text


def test_scrapped_and_closed_panels_leave_the_round_the_sheet_and_the_labels(
    shop: FakeShop, client: Client
) -> None:
    for kind, of, body in (("scrapped", "lid-4", {"reason": "torn"}), ("closed", "box-a", {})):
        shop.logbook.append(Event(new_id(), NOW, NOW, "", kind, of, body))
    for path in ("/", "/round/sheet", "/labels"):
        page = client.get(path).text
        assert "Lid 4" not in page
        assert "Box A" not in page
    page = client.get("/panels/lid-4").text
    assert "Leave it: this panel is scrapped" in page
    assert "Scrapped: torn." in page


def test_a_hold_does_not_change_whose_turn_it_is_before_it(shop: FakeShop, client: Client) -> None:
    """On hold among fifty: after all that has a clock, before what only waits."""
    many(shop, 12)
    tap = {"id": new_id(), "kind": "held", "panel": "hull-1", "body": {"reason": "a guest"}}
    client.post("/api/events", tap)
    names = [s["panel"] for s in client.get("/api/round").json()["strips"]]
    assert names.index("skiff-deck-2") < names.index("hull-1") < names.index("hull-2")
