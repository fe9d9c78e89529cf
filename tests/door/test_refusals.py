"""What is refused is told by the log, once a minute for each status: OWASP ASVS 5.0.0, 16.3.3."""

from __future__ import annotations

from typing import Any

import anyio
import httpx
import pytest
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.cli.log_lines import OneLine
from dashboard.security import Guard
from tests.dashboard.client import HOST, ORIGIN
from tests.door.house import Hand, House

SAME = {"origin": ORIGIN, "sec-fetch-site": "same-origin", "content-type": "application/json"}
FORGED = "coldshed.door: Kim · signed in"


async def nothing(scope: Scope, receive: Receive, send: Send) -> None:
    await PlainTextResponse("nothing")(scope, receive, send)


def lines(caplog: pytest.LogCaptureFixture) -> list[str]:
    """As they stand in the log."""
    made = [OneLine().format(record) for record in caplog.records if "refused: " in record.getMessage()]
    return [text.partition("refused: ")[2] for text in made]


def asked(app: ASGIApp, method: str = "GET", path: str = "/", **headers: str) -> int:
    async def once() -> int:
        transport = httpx.ASGITransport(app, client=("192.0.2.7", 1))
        async with httpx.AsyncClient(transport=transport, base_url=ORIGIN) as client:
            sent = {name.replace("_", "-"): value for name, value in headers.items()}
            return (await client.request(method, path, headers=sent)).status_code

    return anyio.run(once)


def test_a_wrong_host_and_a_wrong_origin_are_told_with_who_asked_for_what(
    caplog: pytest.LogCaptureFixture,
) -> None:
    guard = Guard(nothing, ["127.0.0.1"], 8137, steady=Hand())
    assert asked(guard, path="/more?secret=1", host="evil.example") == 421
    assert asked(guard, "POST", "/api/events", origin="http://evil.example") == 403
    assert lines(caplog) == [
        "421 Misdirected Request · 192.0.2.7 · GET '/more' · host 'evil.example'",
        f"403 Forbidden · 192.0.2.7 · POST '/api/events' · host '{HOST}' · origin 'http://evil.example'",
    ]


def test_a_flood_is_one_line_a_minute_for_each_status_and_the_next_says_how_many_had_none(
    caplog: pytest.LogCaptureFixture,
) -> None:
    hand = Hand()
    guard = Guard(nothing, ["127.0.0.1"], 8137, steady=hand)
    for number in range(200):
        assert asked(guard, host=f"evil-{number}.example") == 421
    assert asked(guard, "POST", origin="null") == 403, "another cause is told all the same"
    hand.at += 59.9
    assert asked(guard, host="late.example") == 421
    assert [line[:3] for line in lines(caplog)] == ["421", "403"]
    hand.at += 0.2
    assert asked(guard, host="later.example") == 421
    assert asked(guard, host="later.example") == 421
    assert lines(caplog)[2:] == [
        "421 Misdirected Request · 192.0.2.7 · GET '/' · host 'later.example'"
        " · 200 more since the last such line"
    ]


@pytest.mark.parametrize("hostile", [f"a\u0085{FORGED}", f"a' · {FORGED}", "\x9b2J" + FORGED, "a" * 5000])
def test_what_was_sent_stays_within_its_line_and_its_quotes(
    caplog: pytest.LogCaptureFixture, hostile: str
) -> None:
    scope: Any = {
        "type": "http", "method": "POST" * 100, "path": f"/{hostile}\n{FORGED}", "query_string": b"",
        "headers": [(b"host", hostile.encode("latin-1"))], "client": ("192.0.2.7", 1),
    }  # fmt: skip
    said: list[Any] = []

    async def receive() -> Any:
        return {"type": "http.request"}

    async def send(message: Any) -> None:
        said.append(message)

    anyio.run(Guard(nothing, ["127.0.0.1"], 8137, steady=Hand()), scope, receive, send)
    assert said[0]["status"] == 421
    [line] = lines(caplog)
    assert line.isprintable()
    assert len(line) < 400
    assert line.startswith("421 Misdirected Request · 192.0.2.7 · POSTPOSTPO ")
    assert line.endswith(f" · host {hostile[:100]!r}")


def test_what_is_no_entry_what_makes_no_sense_and_who_is_too_fast_are_told_too(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    kim = house.signed_in("Kim")
    assert kim.post("/api/events", {"id": "x"}).status_code == 422
    assert kim.post("/api/events", **{"content-type": "text/plain"}).status_code == 415
    while kim.get("/api/round").status_code == 200:
        pass
    told = [line.split(" · ")[:3] for line in lines(caplog)]
    assert {
        ("422", "127.0.0.1", "POST '/api/events'"),
        ("415", "127.0.0.1", "POST '/api/events'"),
        ("429", "127.0.0.1", "GET '/api/round'"),
    } <= {(status[:3], who, what) for status, who, what in told}


def test_what_an_account_may_not_do_is_told_once_by_the_door(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO", "coldshed.door")
    assert house.signed_in("Sam").post("/api/events", {"id": "tap-00000001"}).status_code == 403
    assert house.caller().get("/api/round").status_code == 401
    assert lines(caplog) == []
    assert "may not: POST /api/events" in caplog.text
