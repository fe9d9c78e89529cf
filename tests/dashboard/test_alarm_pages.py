"""Alarms on the pages and in the API: states in the standards' words, Seen, Quiet until, who is told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.alarm import Alarm
from dashboard.alarm_kinds import OF_SITES
from dashboard.alarm_state import AlarmState, Marks
from dashboard.alarm_state import state_of as alarm_state
from dashboard.notice import Notice
from dashboard.notice_store import NoticeStore
from dashboard.notice_words import Message
from dashboard.panel import Event
from model.verdict import Say
from tests.browser.fake_shop import MINUTE, NOW, FakeShop, answer, open_shop, recoat, too_cold
from tests.dashboard.client import Client, new_id

COLD = too_cold().id


@pytest.fixture
def told(tmp_path: Path) -> Iterator[FakeShop]:
    """A shop whose settings tell Kim and Robin."""
    shop = open_shop(tmp_path, told=("Kim", "Robin"))
    yield shop
    shop.close()


def silent(at: int = NOW - 20 * MINUTE) -> Alarm:
    say = Say("alarm_silent", {"probe": "S1", "silent_at": at})
    names = ("Lid 4", "Skiff deck 2")
    return Alarm(f"probe-silent.S1.{at}", "probe silent", None, "S1", at, None, say, panels=names)


def pot() -> Alarm:
    say = Say("alarm_pot", {"panel": "Rib 1", "pour_by": NOW + 5 * MINUTE})
    return Alarm(
        f"pot-about-to-go.rib-1.{NOW}", "pot about to go", "rib-1", None, NOW, None, say, panels=("Rib 1",)
    )


def state_of(client: Client, ident: str) -> str:
    return str(next(one["state"] for one in client.get("/api/alarms").json()["alarms"] if one["id"] == ident))


def test_an_alarm_walks_through_the_states_of_the_standards(shop: FakeShop, client: Client) -> None:
    """ISA-18.2 / IEC 62682, as secondary pages name them: unacknowledged, acknowledged, returned, normal."""
    assert state_of(client, COLD) == "unacknowledged"
    shop.save(alarms=(replace(too_cold(), returned_at=NOW - MINUTE),))
    assert state_of(client, COLD) == "returned to normal unacknowledged"
    client.post("/api/events", {"id": new_id(), "who": "Kim", "kind": "alarm seen", "alarm": COLD})
    assert state_of(client, COLD) == "normal"
    shop.save(alarms=(too_cold(),))
    assert state_of(client, COLD) == "acknowledged"
    page = client.get("/more/alarms").text
    assert "Seen, still on" in page
    assert "seen 06:10 by Kim" in page


def test_quiet_is_half_an_hour_and_takes_the_bar_away(shop: FakeShop, client: Client) -> None:
    assert 'class="alarm"' in client.get("/").text
    made = client.post("/api/alarms/quiet", {"id": new_id(), "alarm": COLD}).json()
    assert made["until"] == NOW + 30 * MINUTE
    assert made["said"] == "Quiet until 06:40"
    assert state_of(client, COLD) == "shelved"
    assert 'class="alarm"' not in client.get("/").text
    shop.clock.at = NOW + 30 * MINUTE
    assert state_of(client, COLD) == "unacknowledged"
    assert 'class="alarm"' in client.get("/").text
    client.post("/api/alarms/quiet", {"id": new_id(), "alarm": COLD})
    client.post("/api/alarms/unquiet", {"id": new_id(), "alarm": COLD})
    assert state_of(client, COLD) == "unacknowledged"


def test_quiet_ends_before_the_panels_next_deadline(shop: FakeShop, client: Client) -> None:
    """S1 stands for Skiff deck 2, whose window shuts in 40 minutes: quiet ends ten minutes before that."""
    shop.save(alarms=(silent(),))
    made = client.post("/api/alarms/quiet", {"id": new_id(), "alarm": silent().id, "minutes": None})
    assert made.json()["until"] == NOW + 30 * MINUTE
    shop.clock.at = NOW + 31 * MINUTE
    shuts = recoat(NOW + 40 * MINUTE, NOW + 75 * MINUTE)
    shop.save(answer("skiff-deck-2", "Skiff deck 2", shuts, shop.clock.at))
    refused = client.post("/api/alarms/quiet", {"id": new_id(), "alarm": silent().id})
    assert refused.status_code == 409
    assert "next deadline is too near" in refused.json()["error"]["what"]


def test_a_running_pot_is_never_quiet(shop: FakeShop, client: Client) -> None:
    shop.save(alarms=(pot(),))
    refused = client.post("/api/alarms/quiet", {"id": new_id(), "alarm": pot().id})
    assert refused.status_code == 409
    assert "A pot is never quiet" in refused.json()["error"]["what"]
    page = client.get("/more/alarms").text
    assert f'data-seen="{pot().id}"' in page
    assert f'data-quiet="{pot().id}"' not in page


@pytest.mark.parametrize("of", ["rib-1", ""])
def test_a_running_pot_is_never_switched_off(of: str, shop: FakeShop, client: Client) -> None:
    """Nor does it stay off by an entry from before that was refused."""
    shop.save(alarms=(pot(),))
    body = {"kind": "pot about to go", "of": of, "reason": "it nags"}
    refused = client.post("/api/alarms/service", body | {"id": new_id(), "off": True})
    assert refused.status_code == 409
    assert "A pot is never switched off" in refused.json()["error"]["what"]
    older = Event("older", NOW - MINUTE, NOW - MINUTE, "Kim", "out of service", None, body)
    assert alarm_state(pot(), Marks.of([older]), NOW) is AlarmState.UNACKNOWLEDGED


def test_an_alarm_that_is_switched_off_rings_nowhere_until_it_is_switched_on(
    shop: FakeShop, client: Client
) -> None:
    body = {"id": new_id(), "kind": "too cold", "of": "plug-7", "off": True, "reason": "heated tomorrow"}
    assert client.post("/api/alarms/service", body).status_code == 200
    assert state_of(client, COLD) == "out of service"
    assert 'class="alarm"' not in client.get("/").text
    assert "Switched off" in client.get("/more/alarms").text
    client.post("/api/alarms/service", body | {"id": new_id(), "off": False})
    assert state_of(client, COLD) == "unacknowledged"
    assert client.post("/api/alarms/service", body | {"id": new_id(), "kind": "sirens"}).status_code == 409


def test_a_notice_that_is_no_alarm_takes_no_title(shop: FakeShop, client: Client) -> None:
    say = Say("alarm_ready_sand", {"panel": "Box A"})
    shop.save(alarms=(Alarm("ready-to-sand.box-a.1", "ready to sand", "box-a", None, NOW, None, say),))
    page = client.get("/more/alarms").text
    assert "Good to know" in page
    assert "Sand Box A when you like" in page
    assert "Warm Plug 7" in client.get("/").text.split("<h1")[0]


def test_people_choose_their_quiet_hours_and_what_wakes_them(told: FakeShop) -> None:
    client = Client(told.app)
    page = client.get("/more/notices").text
    assert "Quiet from 22:00 to 06:00." in page
    body = {"id": new_id(), "person": "Robin", "start": "21:30", "end": "07:00", "wake": ["too cold"]}
    assert client.post("/api/notices/quiet-hours", body).status_code == 200
    robin = client.get("/api/notices").json()["people"][1]
    assert robin == {"name": "Robin", "start": "21:30", "end": "07:00", "wake": ["too cold"]}
    assert "Quiet from 21:30 to 07:00." in client.get("/more/notices").text
    for wrong in ({"person": "Nobody"}, {"start": "25:00"}, {"wake": ["pot about to go"]}):
        assert client.post("/api/notices/quiet-hours", body | {"id": new_id()} | wrong).status_code == 409, (
            wrong
        )


def test_a_house_of_one_offers_nothing_of_sites_and_keeps_what_was_chosen_of_them(told: FakeShop) -> None:
    page = Client(told.app).get("/more/notices").text
    assert "A probe over a young film is silent" in page
    assert "A site is not heard" not in page
    assert "A site sends its readings late" not in page
    for kind in OF_SITES:
        hidden = f'<input type="hidden" name="wake" value="{kind}">'
        assert page.count(hidden) == 2, "for Kim and for Robin, who never said no"


def test_a_test_is_asked_for_on_the_page_and_sent_by_notify(told: FakeShop) -> None:
    """serve knows no address: it takes the wish down, and notify, which reads the logbook, sends it."""
    client = Client(told.app)
    assert (
        client.post("/api/notices/test", {"id": new_id(), "person": "Robin"})
        .json()["said"]
        .startswith("Test")
    )
    assert told.logbook.events()[-1].body == {"person": "Robin"}
    assert client.post("/api/notices/test", {"id": new_id(), "person": "Nobody"}).status_code == 409


def test_the_page_says_who_was_told_what_and_who_was_not_reached(told: FakeShop) -> None:
    store = NoticeStore(told.folder / "notices.db")
    key = f"cold.{COLD}"
    store.decided([Notice(key, "cold", NOW, NOW, (COLD,))], ["Kim", "Robin"], NOW)
    store.told("Kim", Message("Warm Plug 7 to 12 °C: no cure", "…"), [key], [], NOW, woke=False)
    store.close()
    client = Client(told.app)
    page = client.get("/more/alarms").text
    assert "Kim was told 06:10" in page
    assert "Robin is told later" in page
    assert "Warm Plug 7 to 12 °C: no cure" in client.get("/more/notices").text
    assert client.get("/api/notices").json()["told"][0]["person"] == "Kim"


def test_an_entry_of_an_alarm_that_nobody_knows_is_refused(client: Client) -> None:
    assert client.post("/api/alarms/quiet", {"id": new_id(), "alarm": "nothing.rang.1"}).status_code == 404


def test_an_alarm_entry_that_is_taken_back_counts_no_more(shop: FakeShop, client: Client) -> None:
    made = client.post("/api/alarms/quiet", {"id": new_id(), "alarm": COLD}).json()
    shop.logbook.append(Event("take-back-1", NOW, NOW, "Kim", "withdrawn", None, {"event": made["event"]}))
    assert state_of(client, COLD) == "unacknowledged"
