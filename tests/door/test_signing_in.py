"""Signing in and staying in: OWASP ASVS 5.0.0, chapters 6 and 7."""

from __future__ import annotations

import pytest

from dashboard.door.sessions import DAY_MS, HOUR_MS, PERSON_MS, PHONE_MS
from dashboard.one_time_code import OneTimeCode
from tests.dashboard.client import new_id
from tests.door.house import PASSWORD, PIN, House, Opened

WASH = {"kind": "washed", "panel": "lid-4"}


def test_whoever_signs_in_sees_the_page_that_was_asked_for(house: House) -> None:
    caller = house.caller()
    page = caller.get("/panels/lid-4")
    assert page.status_code == 401
    assert 'data-door="/door/in"' in page.text
    assert page.headers["cache-control"] == "no-store"
    assert caller.sign_in("Robin").get("/panels/lid-4").status_code == 200


def test_names_are_told_apart_as_people_do(house: House) -> None:
    assert house.caller().sign_in("kim").get("/").status_code == 200
    assert house.caller().sign_in(" KIM ").get("/").status_code == 200


@pytest.mark.parametrize(
    ("name", "password"),
    [
        ("Kim", PASSWORD + "x"),
        ("Kim", PASSWORD[:-1]),
        ("Kim", ""),
        ("Nobody", PASSWORD),
        ("", ""),
        ("Kim", "x" * 999),
    ],
)
def test_a_wrong_name_and_a_wrong_password_get_the_same_answer(
    house: House, name: str, password: str
) -> None:
    answer = house.caller().post("/door/in", {"name": name, "password": password})
    other = house.caller().post("/door/in", {"name": "Robin", "password": "wrong"})
    assert (answer.status_code, answer.json()) == (401, other.json())
    assert "set-cookie" not in answer.headers


def test_the_cookie_cannot_be_read_by_scripts_nor_sent_by_other_sites(house: House) -> None:
    answer = house.caller().post("/door/in", {"name": "Kim", "password": PASSWORD})
    parts = answer.headers["set-cookie"].split("; ")
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= set(parts)
    assert len(parts[0].partition("=")[2]) == 43, "256 bits in base64"
    assert "Domain" not in answer.headers["set-cookie"]


def test_by_tls_the_cookie_is_for_tls_alone(opened: Opened) -> None:
    house = opened(public_url="https://shed.example")
    caller = house.caller(host="shed.example")
    sent = {"name": "Kim", "password": PASSWORD}
    answer = caller.post("/door/in", sent, origin="https://shed.example")
    assert answer.headers["set-cookie"].startswith("__Host-coldshed=")
    assert "Secure" in answer.headers["set-cookie"].split("; ")
    assert answer.headers["strict-transport-security"].startswith("max-age=31536000")
    assert caller.get("/").status_code == 200
    plain = house.caller(cookie=caller.cookie)
    assert plain.get("/").status_code == 401, "the same cookie does not count without TLS"


def test_a_session_that_was_there_before_is_not_carried_over_a_sign_in(house: House) -> None:
    caller = house.signed_in("Robin")
    before = caller.cookie
    caller.sign_in("Robin")
    assert caller.cookie != before
    assert house.caller(cookie=before).get("/").status_code == 401
    planted = house.caller(cookie="coldshed=" + "A" * 43).sign_in("Robin")
    assert house.caller(cookie="coldshed=" + "A" * 43).get("/").status_code == 401
    assert planted.get("/").status_code == 200


def test_signing_out_ends_the_session_for_good(house: House) -> None:
    caller = house.signed_in("Robin")
    had = caller.cookie
    answer = caller.post("/door/out")
    assert "Max-Age=0" in answer.headers["set-cookie"]
    assert house.caller(cookie=had).get("/").status_code == 401


@pytest.mark.parametrize(
    ("after", "status"), [(PERSON_MS[0] - HOUR_MS, 200), (PERSON_MS[0] + 1, 401), (-2 * DAY_MS, 401)]
)
def test_a_session_ends_when_it_is_not_used(house: House, after: int, status: int) -> None:
    caller = house.signed_in("Robin")
    house.clock.at += after
    assert caller.get("/").status_code == status


def test_a_session_ends_a_week_after_it_began_however_much_it_is_used(house: House) -> None:
    caller = house.signed_in("Robin")
    for _ in range(13):
        house.clock.at += PERSON_MS[0]
        assert caller.get("/").status_code == 200
    house.clock.at += PERSON_MS[0] + 1
    assert caller.get("/").status_code == 401


def test_a_shop_phone_stays_signed_in_for_months_and_may_not_manage(house: House) -> None:
    caller = house.signed_in("Kim")
    assert caller.post("/door/phone", {"name": "bench"}).status_code == 200
    house.clock.at += PHONE_MS[0] - HOUR_MS
    assert caller.get("/").status_code == 200
    assert caller.get("/door/keys").status_code == 403
    assert caller.post("/door/phone", {"name": "again"}).status_code == 403


def test_a_new_password_ends_all_other_sessions(house: House) -> None:
    here, there = house.signed_in("Robin"), house.signed_in("Robin")
    new = {"old": PASSWORD, "new": "seven planks under rain"}
    assert here.post("/door/me/password", new | {"old": "wrong"}).status_code == 403
    assert here.post("/door/me/password", new).status_code == 200
    assert here.get("/").status_code == 200
    assert there.get("/").status_code == 401
    assert house.caller().post("/door/in", {"name": "Robin", "password": PASSWORD}).status_code == 401


def test_who_manages_sends_a_lost_phone_away(house: House) -> None:
    lost, kim = house.signed_in("Robin"), house.signed_in("Kim")
    found = next(one for one in house.door.sessions.all() if one.name == "Robin")
    assert kim.post("/door/sessions/end", {"id": found.id}).status_code == 200
    assert lost.get("/").status_code == 401


def test_a_changed_role_counts_at_once(house: House) -> None:
    robin = house.signed_in("Robin")
    assert (
        house.signed_in("Kim").post("/door/accounts/role", {"name": "Robin", "role": "look"}).status_code
        == 200
    )
    assert robin.post("/api/events", {"id": new_id(), **WASH}).status_code == 403


def test_somebody_may_always_manage(house: House) -> None:
    kim = house.signed_in("Kim")
    for path, body in (("role", {"name": "Kim", "role": "look"}), ("remove", {"name": "Kim"})):
        answer = kim.post(f"/door/accounts/{path}", body)
        assert answer.status_code == 409
        assert "manage" in answer.json()["error"]["what"]
    assert kim.get("/door/keys").status_code == 200


def test_a_removed_account_is_out_and_its_entries_stay(house: House) -> None:
    robin = house.signed_in("Robin")
    robin.post("/api/events", {"id": "tap-robin-01", **WASH})
    assert house.signed_in("Kim").post("/door/accounts/remove", {"name": "Robin"}).status_code == 200
    assert robin.get("/").status_code == 401
    assert next(event for event in house.shop.logbook.events() if event.id == "tap-robin-01").who == "Robin"


def test_nobody_logs_under_another_name(house: House) -> None:
    house.signed_in("Robin").post("/api/events", {"id": "tap-said-001", "who": "Kim", **WASH})
    house.signed_in("Robin").post("/api/events", {"id": "tap-said-002", **WASH})
    house.token("taps").post("/api/events", {"id": "tap-said-003", "who": "Kim", **WASH})
    who = {event.id: event.who for event in house.shop.logbook.events()}
    assert [who[f"tap-said-00{n}"] for n in (1, 2, 3)] == ["Robin", "Robin", "lamp"]


def test_no_token_is_called_as_a_person_nor_a_person_as_a_token(house: House) -> None:
    """The log knows both by their names alone."""
    kim = house.signed_in("Kim")
    house.token("taps", name="lamp")
    for path, body in (
        ("/door/tokens", {"name": "robin", "scopes": ["taps"]}),
        ("/door/accounts", {"name": "LAMP", "role": "work", "password": "seven planks under rain"}),
    ):
        answer = kim.post(path, body)
        assert answer.status_code == 409, path
        assert "would look like theirs" in answer.json()["error"]["what"]


def test_no_shop_phone_is_called_as_a_person_nor_a_person_as_a_shop_phone(house: House) -> None:
    """Where nobody chose a name there, an entry carries the phone's."""
    kim, phone = house.signed_in("Kim"), house.signed_in("Kim")
    for name in ("Robin", " ROBIN", "\uff32obin", "a\u202eb", "  "):
        assert phone.post("/door/phone", {"name": name}).status_code == 409, name
    assert phone.post("/door/phone", {"name": "bench"}).status_code == 200
    answer = kim.post(
        "/door/accounts", {"name": "Bench", "role": "work", "password": "seven planks under rain"}
    )
    assert (answer.status_code, "would look like theirs" in answer.text) == (409, True)


def test_a_page_of_one_person_logs_nothing_under_another_who_signed_in_since(house: House) -> None:
    """One browser has one cookie for all its tabs: the page says whose it is."""
    caller = house.signed_in("Kim")
    for page_of, told in (("Robin", 401), ("", 401), ("Kim", 200), ("%4Bim", 200)):
        answer = caller.post("/api/events", {"id": new_id(), **WASH}, **{"coldshed-visitor": page_of})
        assert answer.status_code == told, page_of
        assert told == 200 or (answer.json()["door"], "own name" in answer.text) == ("sign in", True)
    caller.post("/door/phone", {"name": "bench"})
    for page_of, told in (("Kim", 401), ("", 200)):
        answer = caller.post("/api/events", {"id": new_id(), **WASH}, **{"coldshed-visitor": page_of})
        assert answer.status_code == told, page_of
    who = [event.who for event in house.shop.logbook.events() if event.kind == "washed"]
    assert who == ["Kim", "Kim", "bench"]


def test_on_a_shop_phone_a_tap_carries_the_name_that_was_chosen(house: House) -> None:
    phone = house.signed_in("Kim")
    phone.post("/door/phone", {"name": "bench"})
    assert phone.post("/api/events", {"id": "tap-phone-01", "who": "Robin", **WASH}).status_code == 200
    answer = phone.post("/api/events", {"id": "tap-phone-02", "who": "Mallory", **WASH})
    assert answer.status_code == 422
    assert "choose your name" in answer.json()["error"]["what"]
    phone.post("/api/events", {"id": "tap-phone-03", **WASH})
    who = {event.id: event.who for event in house.shop.logbook.events()}
    assert who["tap-phone-01"] == "Robin"
    assert who["tap-phone-03"] == "bench", "nobody chose a name: it was this phone"
    assert "tap-phone-02" not in who


def test_a_decision_is_signed_with_a_pin_each_time(house: House) -> None:
    phone = house.signed_in("Kim")
    phone.post("/door/phone", {"name": "bench"})
    path = "/api/panels/box-a/decisions"
    answer = phone.post(path, {"id": new_id(), "who": "Kim", "act": "demould"})
    assert (answer.status_code, answer.json()["door"]) == (403, "sign")
    assert phone.post("/door/sign", {"name": "Robin", "secret": "000111"}).status_code == 403
    assert phone.post("/door/sign", {"name": "Sam", "secret": PIN}).status_code == 403, "Sam may only look"
    assert phone.post("/door/sign", {"name": "Robin", "secret": PIN}).status_code == 200
    signed = phone.post(path, {"id": "tap-signed-1", "who": "Kim", "act": "demould"})
    assert signed.status_code == 200, signed.text
    assert (last := house.shop.logbook.events()[-1]).who == "Robin"
    assert last.body["signed"] is True, "the record says so"
    assert phone.post(path, {"id": new_id(), "act": "demould"}).json()["door"] == "sign", "good once"
    assert phone.post("/door/sign", {"name": "Robin", "secret": PIN}).status_code == 200
    house.hand.at += 121
    assert phone.post(path, {"id": new_id(), "act": "demould"}).json()["door"] == "sign", (
        "good for two minutes"
    )


def test_a_person_signs_only_for_themselves(house: House) -> None:
    robin = house.signed_in("Robin")
    answer = robin.post("/door/sign", {"name": "Kim", "secret": PIN})
    assert answer.json() == {"signed": "Robin"}


def test_guessing_is_slowed_down_and_nobody_is_shut_out(house: House) -> None:
    guesser = house.caller()
    for _ in range(3):
        assert guesser.post("/door/in", {"name": "Kim", "password": "guess"}).status_code == 401
    answer = guesser.post("/door/in", {"name": "Kim", "password": PASSWORD})
    assert answer.status_code == 429
    assert 1 <= int(answer.headers["retry-after"]) <= 5
    house.hand.at += 5.1
    assert guesser.post("/door/in", {"name": "Kim", "password": PASSWORD}).status_code == 200


def test_no_spelling_of_a_name_gets_round_the_wait(house: House) -> None:
    """Each signs in as Kim, so each counts as Kim (Unicode Standard Annex 15, NFKC)."""
    spellings = ("KIM", " kim\t", "\uff2b\u2170m")
    for name in spellings:
        assert house.caller().sign_in(name).get("/door/me").status_code == 200
    for name in spellings:
        assert house.caller().post("/door/in", {"name": name, "password": "guess"}).status_code == 401
    assert house.door.delays.wait_s("kim", "198.51.100.9") > 0


def test_a_try_counts_before_its_password_is_looked_at(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that of four that come at once the last waits for the first three."""
    waits = []

    def looked_at(name: str, password: str) -> None:
        waits.append(house.door.delays.wait_s("kim", "192.0.2.7") > 0)

    monkeypatch.setattr(house.door.accounts, "by_password", looked_at)
    for _ in range(3):
        house.caller().post("/door/in", {"name": "Kim", "password": "guess"})
    assert waits == [False, False, True]


def test_a_flood_of_passwords_leaves_workers_for_the_pages(house: House) -> None:
    taken = 0
    while house.door.hashing.acquire(blocking=False):
        taken += 1
    answer = house.caller().post("/door/in", {"name": "Kim", "password": PASSWORD})
    assert (taken, answer.status_code, answer.headers["retry-after"]) == (4, 429, "1")


def test_a_disk_that_takes_no_writes_shuts_nobody_out(house: House, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("INFO", "coldshed.door")
    robin = house.signed_in("Robin")
    with house.door.file.writing():
        pass
    house.door.file._connection().pragma("query_only", True)
    house.clock.at += HOUR_MS
    assert robin.get("/").status_code == 200
    assert robin.post("/api/events", {"id": "tap-full-001", **WASH}).status_code == 200
    assert "readonly" in caplog.text
    assert "POST /api/events" in caplog.text, "what the trail could not keep stands in the log"
    assert house.caller().post("/door/in", {"name": "Kim", "password": PASSWORD}).status_code == 503
    house.door.file._connection().pragma("query_only", False)


def test_with_no_account_this_computer_alone_stays_open(opened: Opened) -> None:
    house = opened(people={}, lan=False)
    caller = house.caller()
    assert caller.get("/").status_code == 200
    assert caller.post("/api/events", {"id": "tap-open-001", "who": "anybody", **WASH}).status_code == 200
    assert house.shop.logbook.events()[-1].who == "anybody"


def test_with_no_account_what_others_can_reach_lets_nobody_in(opened: Opened) -> None:
    house = opened(people={}, lan=True)
    assert house.caller().get("/").status_code == 401
    assert house.caller().post("/api/events", {"id": new_id(), **WASH}).status_code == 401


def test_the_first_account_takes_the_code_and_locks_the_door(opened: Opened) -> None:
    house, codes = opened(people={}, lan=False), []
    house.door.code = OneTimeCode(codes.append)
    caller, mine = house.caller(), {"name": "Kim", "password": PASSWORD}
    code = codes[0].lower()
    assert caller.post("/door/first", mine | {"code": "abcd-efgh"}).status_code == 403
    assert caller.post("/door/first", mine | {"code": code, "password": "short"}).status_code == 409
    answer = caller.post("/door/first", mine | {"code": code})
    assert answer.status_code == 200, answer.text
    assert caller.get("/door/keys").status_code == 200
    assert house.caller().get("/").status_code == 401
    again = house.caller().post("/door/first", mine | {"name": "Eve", "code": codes[-1]})
    assert again.status_code == 409
    assert [one.name for one in house.door.accounts.all()] == ["Kim"]
