"""What somebody on the shop's network may try, against the running server; each is refused with the right status."""

from __future__ import annotations

import http.client
import json
import re
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.door.wire import PER_CLIENT, Wire
from tests.browser.serving import Served, free_port, until
from tests.door.house import BOSS, PASSWORD, House, open_house


class Hasty(Wire):
    """Waits less long for a head."""

    head_s = 0.3


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    opened = open_house(Path(tmp_path_factory.mktemp("attacked")), port=free_port(), heard=True)
    served = Served(opened.shop.app, opened.shop.port, http=Hasty)
    yield opened
    served.stop()
    opened.close()


@pytest.fixture(scope="module")
def cookie(house: House) -> str:
    """Of Kim, who may do everything."""
    account = house.door.accounts.named("Kim")
    return "coldshed=" + house.door.sessions.begin(account.id, "test")


def asked(
    house: House, method: str, path: str, body: bytes | None = None, **headers: str
) -> tuple[int, dict[str, str], bytes]:
    """One request on a connection of its own; header names with "_" for "-"."""
    own = f"127.0.0.1:{house.shop.port}"
    sent = {
        "host": own,
        **({} if body is None else {"origin": f"http://{own}", "content-type": "application/json"}),
    }
    sent |= {name.replace("_", "-"): value for name, value in headers.items()}
    with closing(http.client.HTTPConnection("127.0.0.1", house.shop.port, timeout=30)) as connection:
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()


def raw(house: House, sent: bytes) -> bytes:
    """What comes back for these bytes until the server ends the connection."""
    with socket.create_connection(("127.0.0.1", house.shop.port), timeout=30) as connection:
        connection.sendall(sent)
        found = b""
        while part := connection.recv(65536):
            found += part
    return found


def in_our_form(body: bytes) -> bool:
    return set(json.loads(body)["error"]) == {"what", "do"}


WASH = json.dumps({"id": "tap-attack-1", "kind": "washed", "panel": "lid-4"}).encode()


@pytest.mark.parametrize(
    "name", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "[::2]"]
)
def test_a_name_that_was_bound_anew_is_not_answered(house: House, cookie: str, name: str) -> None:
    status, _, body = asked(house, "GET", "/api/round", host=f"{name}:{house.shop.port}", cookie=cookie)
    assert (status, in_our_form(body)) == (421, True)


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example", "sec_fetch_site": "cross-site"}, 403),
        ({"origin": "null"}, 403),
        ({"sec_fetch_site": "same-site"}, 403),
        ({"content_type": "text/plain"}, 415),
        ({"content_type": "application/x-www-form-urlencoded"}, 415),
        ({"content_type": "multipart/form-data; boundary=x"}, 415),
    ],
)
def test_another_site_cannot_log_with_a_visitors_cookie(
    house: House, cookie: str, headers: dict[str, str], status: int
) -> None:
    found, _, body = asked(house, "POST", "/api/events", WASH, cookie=cookie, **headers)
    assert (found, in_our_form(body)) == (status, True)
    assert "tap-attack-1" not in {event.id for event in house.shop.logbook.events()}


def test_no_other_site_may_read_an_answer(house: House, cookie: str) -> None:
    status, headers, _ = asked(house, "GET", "/api/round", cookie=cookie, origin="http://evil.example")
    assert status == 200
    assert not [name for name in headers if name.startswith("access-control")]
    assert asked(house, "OPTIONS", "/api/events", origin="http://evil.example")[0] == 405


@pytest.mark.parametrize("path", ["/api/changes", "/api/round", "/", "/panels/lid-4/photos/" + "a" * 64])
def test_no_other_site_makes_us_work_for_what_it_embeds(house: House, cookie: str, path: str) -> None:
    """W3C Fetch Metadata: streams that a foreign page opens by <img> would be all there are; links are followed."""
    head = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{house.shop.port}\r\nCookie: {cookie}\r\n"
    with socket.create_connection(("127.0.0.1", house.shop.port), timeout=30) as connection:
        connection.sendall(f"{head}Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: no-cors\r\n\r\n".encode())
        assert connection.recv(65536).startswith(b"HTTP/1.1 403 ")


def test_a_link_of_another_site_is_followed(house: House, cookie: str) -> None:
    follows = {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate"}
    assert asked(house, "GET", "/", cookie=cookie, **follows)[0] == 200


@pytest.mark.parametrize(
    "path",
    [
        "/static/x/../../../../etc/passwd",
        "/static/x/%2e%2e/%2e%2e/security.py",
        "/static/x/..%2f..%2fshop.db",
        "/panels/..%2f..%2fshop.db/record",
        "/panels/lid-4/photos/..%2f..%2faccounts.db",
        "/panels/lid-4/photos/" + "a" * 64,
        "/api/panels/..%2f..%2f/record.csv",
        "/help/..%2f..%2fsecurity.py",
        "/help/pictures/..%2f..%2f..%2fshop.db",
        "//etc/passwd",
        "/%00",
    ],
)
def test_no_path_leads_out(house: House, cookie: str, path: str) -> None:
    status, _, body = asked(house, "GET", path, cookie=cookie)
    assert status in (404, 422)
    assert b"SQLite format" not in body
    assert b"root:" not in body


def test_a_body_of_200_MB_is_refused_and_not_kept(house: House, cookie: str) -> None:
    size = 200_000_000
    head = f"POST /api/events HTTP/1.1\r\nHost: 127.0.0.1:{house.shop.port}\r\nOrigin: http://127.0.0.1:{house.shop.port}\r\n"
    head += f"Cookie: {cookie}\r\nContent-Type: application/json\r\nContent-Length: {size}\r\n\r\n"
    sent = 0
    with socket.create_connection(("127.0.0.1", house.shop.port), timeout=30) as connection:
        connection.sendall(head.encode())
        connection.settimeout(10)
        portion = b" " * 65536
        answer = b""
        while sent < size and b"\r\n\r\n" not in answer:
            connection.sendall(portion)
            sent += len(portion)
            connection.setblocking(False)
            with suppress(BlockingIOError):
                answer += connection.recv(65536)
            connection.settimeout(10)
    assert answer.startswith(b"HTTP/1.1 413 ")
    assert sent < 20_000_000, "told long before all was sent"


def test_a_head_that_never_ends_is_cut_off(house: House) -> None:
    answer = raw(house, b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ")
    head, _, body = answer.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 408 ")
    assert in_our_form(body)
    assert raw(house, b"").startswith(b"HTTP/1.1 408 "), "also where nothing is said at all"


def test_ten_thousand_headers_are_refused(house: House) -> None:
    lines = b"".join(b"X-%d: y\r\n" % number for number in range(10_000))
    answer = raw(house, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n" + lines + b"\r\n")
    assert answer.startswith(b"HTTP/1.1 431 ")
    assert in_our_form(answer.partition(b"\r\n\r\n")[2])
    few = {f"x_{number}": "y" for number in range(120)}
    assert asked(house, "GET", "/", None, **few)[0] == 431


@pytest.mark.parametrize(
    "sent",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" * 9 + b"\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/1.1\r\nHo st: x\r\n\r\n",
    ],
)
def test_what_is_no_request_is_answered_in_our_form(house: House, sent: bytes) -> None:
    answer = raw(house, sent)
    assert answer.startswith(b"HTTP/1.1 400 ")
    assert in_our_form(answer.partition(b"\r\n\r\n")[2])
    assert b"Content-Security-Policy" in answer


@pytest.mark.parametrize("body", [b"[" * 30_000, b'{"a":' * 17 + b"1" + b"}" * 17])
def test_json_that_is_nested_too_deeply_is_not_parsed(house: House, cookie: str, body: bytes) -> None:
    status, _, told = asked(house, "POST", "/api/events", body, cookie=cookie)
    assert status == 400
    assert "nested" in json.loads(told)["error"]["what"]


def test_brackets_in_text_are_not_nesting(house: House, cookie: str) -> None:
    body = {"id": "tap-deep-001", "kind": "washed", "panel": "lid-4", "who": "[[{" * 20 + '"'}
    assert asked(house, "POST", "/api/events", json.dumps(body).encode(), cookie=cookie)[0] == 200


def test_a_token_counts_for_nothing_once_it_is_taken_back(house: House) -> None:
    made = house.door.tokens.make("stolen", ["read"], BOSS, "")
    assert asked(house, "GET", "/api/round", authorization=f"Bearer {made}")[0] == 200
    found = next(one for one in house.door.tokens.all() if one.name == "stolen")
    house.door.tokens.revoke(found.id, BOSS, "")
    assert asked(house, "GET", "/api/round", authorization=f"Bearer {made}")[0] == 401
    assert made not in "".join(str(row) for row in house.door.file.rows("SELECT * FROM token"))


@pytest.mark.parametrize("told", ["Basic S2ltOng=", "Bearer", "Bearer  ", "Bearer x", "bearer " + "A" * 9000])
def test_a_token_that_is_none_is_refused_even_beside_a_cookie(house: House, cookie: str, told: str) -> None:
    assert asked(house, "GET", "/api/round", authorization=told, cookie=cookie)[0] == 401


def test_a_thousand_sign_ins_at_once_leave_the_pages_and_the_owner_alone(house: House, cookie: str) -> None:
    def guess(number: int) -> int:
        body = json.dumps({"name": "Kim" if number % 2 else f"x{number}", "password": "guess"}).encode()
        return asked(house, "POST", "/door/in", body)[0]

    with ThreadPoolExecutor(8) as many:
        told = list(many.map(guess, range(1000)))
    assert set(told) <= {401, 429}
    assert told.count(401) < 12, "only the first few were looked at"
    assert len(house.door.delays) <= 2000
    house.hand.at += 5.1
    assert asked(house, "GET", "/api/round", cookie=cookie)[0] == 200
    # Kim comes from elsewhere, on a phone of her own.
    assert house.door.delays.wait_s("kim", "192.0.2.7") == 0


def test_who_asks_without_end_waits_and_others_do_not(house: House, cookie: str) -> None:
    house.hand.at += 1000
    told = [asked(house, "GET", "/api/health")[0] for _ in range(510)]
    assert told[0] == 200
    assert 429 in told
    status, headers, body = asked(house, "GET", "/api/round", cookie=cookie)
    assert (status, headers["retry-after"], in_our_form(body)) == (429, "1", True)
    assert house.door.pace.wait_s("192.0.2.7") == 0
    house.hand.at += 1000


def test_one_client_cannot_take_all_connections(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.door.wire.HERE", ())
    held: list[socket.socket] = []
    monkeypatch.setattr(Hasty, "head_s", 30.0)
    try:
        for _ in range(PER_CLIENT):
            held.append(socket.create_connection(("127.0.0.1", house.shop.port), timeout=10))
        answers = [raw(house, b"") for _ in range(3)]
    finally:
        for one in held:
            one.close()
    assert all(answer.startswith(b"HTTP/1.1 503 ") for answer in answers)
    until(lambda: asked(house, "GET", "/api/health")[0] == 200, "let in again")


def test_two_requests_cannot_be_smuggled_as_one(house: House, cookie: str) -> None:
    own = f"127.0.0.1:{house.shop.port}"
    head = f"POST /api/events HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\nCookie: {cookie}\r\n"
    both = "Content-Type: application/json\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n"
    both += "0\r\n\r\nGET /door/keys HTTP/1.1\r\n\r\n"
    assert b"200 OK" not in raw(house, (head + both).encode())


HOSTILE = '=cmd|"/c calc"!A1 <img src=x onerror=alert(1)>'


def test_a_hostile_name_is_harmless_in_the_trail_and_in_the_log(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO", "coldshed.door")
    made = house.door.accounts.add("=HYPERLINK(1)", house.door.accounts.named("Sam").role, PASSWORD, BOSS, "")
    house.door.trail.add(BOSS, "1.2.3.4\n00:00 forged", "tried\r\nforged line", "a\u202eb\x1b[2J")
    house.door.trail.add(replace(BOSS, name="Kim\u2028forged name"), "", "tried")
    assert house.trail()[0][0] == "Kim?forged name"
    cookie = "coldshed=" + house.door.sessions.begin(house.door.accounts.named("Kim").id, "x")
    _, _, text = asked(house, "GET", "/door/trail.csv", cookie=cookie)
    cells = re.findall(r"(?:^|,)(\"?[=+@-][^,]*)", text.decode(), re.MULTILINE)
    assert cells == []
    assert "'=HYPERLINK" not in house.door.accounts.named("=HYPERLINK(1)").name
    assert made.name == "=HYPERLINK(1)"
    assert all(
        "\n" not in record.getMessage() and "\x1b" not in record.getMessage() for record in caplog.records
    )
    assert "forged line" in caplog.text


@pytest.mark.parametrize("name", ["Lid\u202e4", "a\nb", "a\u2028b", "\x1b[31mred", "a\u2066b", "tab\there"])
def test_a_name_that_reads_otherwise_than_it_is_is_refused(house: House, cookie: str, name: str) -> None:
    body = {"id": "tap-name-001", "name": name, "zone": "shed", "air_probe": "A1", "substrate": "wood"}
    status, _, told = asked(house, "POST", "/api/panels", json.dumps(body).encode(), cookie=cookie)
    assert status == 422
    assert in_our_form(told)


def test_no_secret_gets_into_the_log_the_trail_or_the_file(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("DEBUG")
    house.hand.at += 1000
    body = json.dumps({"name": "Robin", "password": PASSWORD}).encode()
    status, headers, _ = asked(house, "POST", "/door/in", body)
    secret = headers["set-cookie"].partition("=")[2].partition(";")[0]
    asked(house, "POST", "/door/in", json.dumps({"name": "my secret phrase", "password": "x"}).encode())
    kept = b"".join(path.read_bytes() for path in house.shop.folder.glob("accounts.db*"))
    told = caplog.text + str(house.trail())
    assert status == 200
    for one in (secret, PASSWORD, "my secret phrase"):
        assert one not in told
        assert one.encode() not in kept
    for path in house.shop.folder.glob("accounts.db*"):
        assert path.stat().st_mode & 0o077 == 0, path.name


def test_the_trail_is_only_added_to(house: House) -> None:
    import apsw

    for sql in ("DELETE FROM trail", "UPDATE trail SET who = 'somebody else'"):
        with (
            pytest.raises(apsw.ConstraintError, match="only added to"),
            house.door.file.writing() as connection,
        ):
            connection.execute(sql)
