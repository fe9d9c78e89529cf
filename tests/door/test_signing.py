"""What is signed with a PIN each time: demoulding, letting a panel on after a hold, scrapping it."""

from __future__ import annotations

from typing import Any

import pytest

from dashboard.panel import Event
from tests.browser.fake_shop import NOW
from tests.dashboard.client import new_id
from tests.door.house import PIN, Caller, House

REASON = {"reason": "a soft corner, invented"}
HOLD = {"id": "tap-hold-001", "kind": "held", "panel": "box-a", "body": REASON}
SIGNED: dict[str, dict[str, Any]] = {
    "demoulded": {"kind": "demoulded"},
    "released": {"kind": "released", "body": REASON},
    "scrapped": {"kind": "scrapped", "body": REASON},
    "hold taken back": {"kind": "withdrawn", "event": HOLD["id"]},
    "hold told for another time": {
        "kind": "time changed",
        "body": {"event": HOLD["id"], "to": NOW - 60_000},
    },
}


@pytest.fixture
def phone(house: House) -> Caller:
    """A shop phone, in a shop where Box A is on hold."""
    made = house.signed_in("Kim")
    assert made.post("/door/phone", {"name": "bench"}).status_code == 200
    assert made.post("/api/events", {"who": "Kim", **HOLD}).status_code == 200, "to hold takes no PIN"
    return made


def entry(what: str) -> dict[str, Any]:
    return {"id": new_id(), "panel": "box-a", **SIGNED[what]}


@pytest.mark.parametrize("what", SIGNED)
def test_on_a_shop_phone_it_takes_the_pin_of_whoever_does_it(house: House, phone: Caller, what: str) -> None:
    before = house.shop.logbook.events()
    answer = phone.post("/api/events", entry(what))
    assert (answer.status_code, answer.json()["door"]) == (403, "sign")
    assert phone.post("/door/sign", {"name": "Robin", "secret": "000111"}).status_code == 403
    assert phone.post("/api/events", entry(what)).json()["door"] == "sign"
    assert house.shop.logbook.events() == before
    assert phone.post("/door/sign", {"name": "Robin", "secret": PIN}).status_code == 200
    signed = phone.post("/api/events", {"who": "Kim", **entry(what)})
    assert signed.status_code == 200, signed.text
    assert house.shop.logbook.events()[len(before)].who == "Robin"
    assert house.trail()[0] == ("Robin", "logged", "POST /api/events"), "the trail names who signed"
    decided = [event for event in house.shop.logbook.events()[len(before) :] if event.kind == "decided"]
    assert all(event.body["signed"] is True for event in decided)
    assert bool(decided) == (not what.startswith("hold"))
    assert phone.post("/api/events", entry(what)).json()["door"] == "sign", "good once"


@pytest.mark.parametrize("what", SIGNED)
def test_a_person_signs_it_too_and_a_token_never_does(house: House, phone: Caller, what: str) -> None:
    robin = house.signed_in("Robin")
    assert robin.post("/api/events", entry(what)).json()["door"] == "sign"
    token = house.token("read", "taps")
    before = house.shop.logbook.events()
    answer = token.post("/api/events", entry(what))
    assert (answer.status_code, answer.json()["door"]) == (403, "not yours")
    assert token.post("/door/sign", {"name": "Robin", "secret": PIN}).status_code == 403
    assert token.post("/api/events", entry(what)).status_code == 403
    assert house.shop.logbook.events() == before


def test_no_hold_is_got_round_by_telling_other_times(house: House, phone: Caller) -> None:
    """A release of long ago must not come to lie after a hold of today, nor the other way round, without a PIN."""
    log, start = house.shop.logbook, NOW - 3_600_000
    said = (("held", start, REASON), ("released", start + 1, REASON), ("held", NOW - 2, REASON),
            ("time changed", NOW - 1, {"event": "tap-lid-0002", "to": NOW - 1}))  # fmt: skip
    for number, (kind, at, body) in enumerate(said):
        log.append(Event(f"tap-lid-000{number}", at, at, "Kim", kind, "lid-4", body))
    for sent in (
        {"kind": "time changed", "panel": "lid-4", "body": {"event": "tap-lid-0001", "to": NOW}},
        {"kind": "withdrawn", "panel": "lid-4", "event": "tap-lid-0003"},
    ):
        assert phone.post("/api/events", {"id": new_id(), **sent}).json()["door"] == "sign"
    back = {"kind": "withdrawn", "panel": "lid-4", "event": "tap-lid-0001"}
    assert phone.post("/api/events", {"id": new_id(), **back}).status_code == 200, "that holds it the more"


def test_a_signature_given_on_one_phone_counts_on_no_other(house: House, phone: Caller) -> None:
    other = house.signed_in("Kim")
    other.post("/door/phone", {"name": "gate"})
    assert other.post("/door/sign", {"name": "Robin", "secret": PIN}).status_code == 200
    assert phone.post("/api/events", entry("released")).json()["door"] == "sign"


def test_other_taps_and_what_they_take_back_ask_for_no_pin(house: House, phone: Caller) -> None:
    assert (
        phone.post("/api/events", {"id": "tap-wash-001", "kind": "washed", "panel": "box-a"}).status_code
        == 200
    )
    gone = {"id": new_id(), "kind": "withdrawn", "panel": "box-a", "event": "tap-wash-001"}
    assert phone.post("/api/events", gone).status_code == 200


def test_this_computers_own_user_is_asked_for_none_by_a_command(house: House, phone: Caller) -> None:
    key = (house.shop.folder / "house.key").read_text()
    command = house.caller(authorization=f"Bearer {key}")
    assert command.post("/api/events", {"who": "Kim", **entry("released")}).status_code == 200
