"""Headers, hosts and who may log: OWASP ASVS 5.0.0, 3.4.1 to 3.4.6 and 3.5.1 to 3.5.3."""

from __future__ import annotations

import json

import pytest

from dashboard.security import HEADERS
from tests.browser.fake_shop import FakeShop
from tests.dashboard.client import HOST, ORIGIN, Client, new_id

SAME = {"origin": ORIGIN, "sec-fetch-site": "same-origin", "content-type": "application/json"}
PAGES = [
    "/",
    "/panels/plug-7",
    "/panels/plug-7/coat",
    "/panels/plug-7/thumb",
    "/panels/new",
    "/more",
    "/more/settings",
    "/more/people",
    "/help",
    "/more/alarms",
    "/more/probes",
    "/nowhere",
]


@pytest.mark.parametrize(
    ("method", "path", "used"),
    [
        ("TRACE", "/", "GET, HEAD"),
        ("POST", "/api/round", "GET, HEAD"),
        ("GET", "/api/panels/lid-4/decisions", "POST"),
        ("PUT", "/api/panels", "GET, HEAD, POST"),
        ("HEAD", "/api/panels/lid-4/decisions", "POST"),
        ("DELETE", "/nowhere", "GET, HEAD, POST"),
    ],
)
def test_a_method_that_is_not_used_is_told_which_are(
    client: Client, method: str, path: str, used: str
) -> None:
    """RFC 9110, 15.5.6: an answer of 405 must have Allow, the methods of what was asked for."""
    answer = client.send(method, path, SAME)
    assert (answer.status_code, answer.headers["allow"]) == (405, used)


@pytest.mark.parametrize("path", [*PAGES, "/api/round", "/api/nowhere", "/static/old/coldshed.css"])
def test_every_answer_carries_the_headers(client: Client, path: str) -> None:
    answer = client.get(path)
    policy = dict(part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert policy["frame-ancestors"] == "'none'"
    assert policy["base-uri"] == "'none'"
    assert policy["manifest-src"] == "'self'"
    assert policy["img-src"] == "'self' data: blob:"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"


def test_an_answer_that_failed_carries_the_headers_too(shop: FakeShop, client: Client) -> None:
    """It is made outside of all that other answers pass through."""

    @shop.app.get("/api/fails")
    def fails() -> None:
        raise RuntimeError("an inside")

    answer = client.get("/api/fails")
    assert (answer.status_code, set(answer.json()["error"])) == (500, {"what", "do"})
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS
    assert answer.headers["cache-control"] == "no-store"
    assert "an inside" not in answer.text


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_a_script_or_a_style_of_its_own(client: Client, path: str) -> None:
    text = client.get(path).text
    assert " style=" not in text
    assert "<style" not in text
    assert "<script>" not in text
    assert " onclick=" not in text


@pytest.mark.parametrize(
    ("host", "status"),
    [
        (HOST, 200),
        ("localhost:8137", 200),
        ("LOCALHOST:8137", 200),
        ("evil.example", 421),
        ("127.0.0.1:9", 421),
        ("127.0.0.1.evil.example:8137", 421),
        ("", 400),
    ],
)
def test_only_names_of_this_shop_are_answered(client: Client, host: str, status: int) -> None:
    assert client.get("/", host=host).status_code == status


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({}, 200),
        ({"origin": None}, 200),
        ({"sec-fetch-site": None}, 200),
        ({"origin": None, "sec-fetch-site": None}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "http://127.0.0.1:9"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://["}, 403),
        ({"origin": f"http://a@{HOST}"}, 403),
        ({"origin": f"{ORIGIN}/"}, 403),
        ({"origin": ORIGIN.upper()}, 200),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"sec-fetch-site": "none"}, 403),
        ({"content-type": "application/json; charset=utf-8"}, 200),
        ({"content-type": "text/plain"}, 415),
        ({"content-type": "application/x-www-form-urlencoded"}, 415),
        ({"content-type": None}, 415),
    ],
)
def test_only_this_shops_own_pages_log(
    shop: FakeShop, client: Client, changed: dict[str, str | None], status: int
) -> None:
    headers = {name: value for name, value in {**SAME, **changed}.items() if value is not None}
    body = json.dumps({"id": new_id(), "kind": "washed", "panel": "lid-4"})
    before = len(shop.logbook.events())
    answer = client.send("POST", "/api/events", headers, content=body)
    assert answer.status_code == status
    assert len(shop.logbook.events()) - before == (status == 200)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(client: Client, method: str) -> None:
    assert client.send(method, "/api/events", SAME).status_code == 405


def test_a_get_of_a_logging_address_changes_nothing(shop: FakeShop, client: Client) -> None:
    before = len(shop.logbook.events())
    for path in (*PAGES, "/api/events", "/api/panels", "/api/alarms"):
        client.get(path)
    assert len(shop.logbook.events()) == before


@pytest.mark.parametrize("sized", [True, False])
def test_a_body_over_64_kib_is_refused_sized_or_in_pieces(client: Client, sized: bool) -> None:
    async def pieces():
        for _ in range(65):
            yield b" " * 1024

    content = b" " * (65 * 1024) if sized else pieces()
    answer = client.send("POST", "/api/events", SAME, content=content)
    assert answer.status_code == 413
    assert "64 KiB" in answer.json()["error"]["do"]


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/openapi.json"])
def test_there_is_no_machine_made_manual(client: Client, path: str) -> None:
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    "content",
    [
        "",
        "{",
        "[]",
        "null",
        "1e999",
        '{"id": "x"}',
        "[" * 30_000,
        '{"id": "tap-00000000", "kind": "launched"}',
        "\x00",
    ],
)
def test_a_body_that_is_no_entry_is_told_in_the_one_shape(client: Client, content: str) -> None:
    answer = client.send("POST", "/api/events", SAME, content=content)
    assert answer.status_code in (400, 422)
    assert set(answer.json()["error"]) == {"what", "do"}
    assert "Traceback" not in answer.text


def test_a_broken_store_shows_no_insides(
    shop: FakeShop, client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    shop.store.close()
    (shop.folder / "watch.db").write_bytes(b"not a database, " * 512)
    answer = client.get("/api/round")
    assert answer.status_code == 503
    assert set(answer.json()["error"]) == {"what", "do"}
    assert "atch.db is damaged" in answer.json()["error"]["what"]
    assert "apsw" not in answer.text
    assert "watch.db is damaged" in caplog.text


def test_a_hostile_name_is_text(client: Client) -> None:
    body = {"id": new_id(), "name": '<img src=x onerror="x">{{7*7}}', "zone": "shed", "air_probe": "A1"}
    body["substrate"] = "wood"
    assert client.post("/api/panels", body).status_code == 200
    page = client.get("/").text
    assert "<img" not in page
    assert "&lt;img src=x" in page
    assert "{{7*7}}" in page


def test_an_address_that_tells_a_thing_twice_is_not_read_by_halves(client: Client) -> None:
    """OWASP ASVS 5.0.0, 15.3.7 (parameters that are repeated): no reader may take another one than the next."""
    answer = client.get("/api/mix?spot=a&card=x&spot=b")
    assert answer.status_code == 400
    assert answer.json()["error"]["what"] == "The address tells 'spot' twice."
    assert client.get("/api/mix?spot=&spot=").status_code == 400
    assert client.get("/api/labels?panel=plug-7&panel=lid-4").status_code == 200
