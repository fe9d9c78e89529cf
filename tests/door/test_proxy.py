"""Behind a proxy with TLS: what plain HTTP leaves open is closed, and nobody is taken for somebody else."""

from __future__ import annotations

import json
import re
import ssl
import warnings
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import httpx
import pytest
from starlette.datastructures import Headers

from collector.broker_tls import tls_context
from collector.source_tables import BrokerLogin
from dashboard.door.door import PASSED_ON
from dashboard.door.limits import MAX_PICTURE
from tests.browser.serving import Served, free_port
from tests.certificates import Authority
from tests.door.house import PASSWORD, House, Opened, open_house
from tests.door.tls_proxy import TlsProxy

NAME = "shed.example"


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    return Authority(Path(tmp_path_factory.mktemp("authority")))


@pytest.fixture(scope="module")
def behind(
    authority: Authority, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[House, TlsProxy]]:
    """Serve on loopback, as the help has it: public_url is the proxy's address, host is left out."""
    port = free_port()
    certificate = authority.sign(NAME, f"DNS:{NAME},IP:127.0.0.1")
    with TlsProxy(certificate, port) as proxy:
        url = f"https://{NAME}:{proxy.port}"
        house = open_house(Path(tmp_path_factory.mktemp("behind")), port=port, public_url=url)
        served = Served(house.shop.app, port)
        yield house, proxy
        served.stop()
        house.close()


def client(authority: Authority, proxy: TlsProxy, **headers: str) -> httpx.Client:
    """As a phone that trusts the shop's authority and calls the shop by its name."""
    context = ssl.create_default_context(cafile=str(authority.file))
    own = f"{NAME}:{proxy.port}"
    head = {"host": own, "origin": f"https://{own}", "content-type": "application/json", **headers}
    return httpx.Client(base_url=f"https://127.0.0.1:{proxy.port}", verify=context, headers=head, timeout=30)


SIGN_IN = json.dumps({"name": "Kim", "password": PASSWORD})


def test_a_proxy_with_tls_closes_what_plain_http_leaves_open(
    authority: Authority, behind: tuple[House, TlsProxy]
) -> None:
    """ASVS 3.3.1, 3.3.3, 3.4.1, 12.1.1, 12.2.1."""
    house, proxy = behind
    with client(authority, proxy) as phone:
        answer = phone.post("/door/in", content=SIGN_IN)
        assert answer.status_code == 200, answer.text
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-coldshed=")
        assert {"Secure", "HttpOnly", "Path=/"} <= set(cookie.split("; "))
        assert answer.headers["strict-transport-security"].startswith("max-age=31536000")
        said = {"cookie": cookie.split(";")[0]}
        assert "Lid 4" in phone.get("/", headers=said).text
        tap = {"id": "tap-proxy-01", "kind": "washed", "panel": "lid-4"}
        assert phone.post("/api/events", content=json.dumps(tap), headers=said).status_code == 200
    plain = httpx.get(f"http://127.0.0.1:{house.shop.port}/", headers=said, timeout=30)
    assert plain.status_code == 401, "the cookie counts for nothing without TLS"


def test_the_proxy_that_the_help_shows_passes_on_what_the_door_needs() -> None:
    """It was tried by hand with nginx 1.22: signing in, the stream of changes, a photo, whose request it is."""
    page = (files("dashboard") / "help" / "door.md").read_text(encoding="utf-8")
    found = re.search(r"```nginx\n(.*?)```", page, re.DOTALL)
    assert found
    for line in (
        "proxy_pass http://127.0.0.1:8137;",
        "proxy_set_header Host $http_host;",
        "proxy_set_header X-Forwarded-For $remote_addr;",
        "ssl_protocols TLSv1.2 TLSv1.3;",
        f"client_max_body_size {MAX_PICTURE // 2**20}m;",
        "proxy_buffering off;",
    ):
        assert line in found[1]


@pytest.mark.parametrize(("newest", "taken"), [("TLSv1_1", False), ("TLSv1_2", True), ("TLSv1_3", True)])
def test_our_side_of_tls_takes_1_2_or_later_alone(authority: Authority, newest: str, taken: bool) -> None:
    """ASVS 12.1.1, towards a broker; as bytes in memory."""
    server_side = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server_side.load_cert_chain(*authority.sign("broker"))
    server_side.set_ciphers("DEFAULT:@SECLEVEL=0")
    with warnings.catch_warnings(action="ignore", category=DeprecationWarning):
        server_side.minimum_version = ssl.TLSVersion.TLSv1
        server_side.maximum_version = ssl.TLSVersion[newest]
    ours = tls_context(BrokerLogin(host="127.0.0.1", ca_file=str(authority.file)))
    assert ours is not None
    assert ours.minimum_version >= ssl.TLSVersion.TLSv1_2
    ours.sslsocket_class = ssl.SSLSocket
    to_us, to_them = ssl.MemoryBIO(), ssl.MemoryBIO()
    we = ours.wrap_bio(to_us, to_them, server_hostname="127.0.0.1")
    they = server_side.wrap_bio(to_them, to_us, server_side=True)
    assert _shake(we, they) is taken


def _shake(*sides: ssl.SSLObject) -> bool:
    """Whether both agree."""
    for _ in range(6):
        done = []
        for side in sides:
            try:
                side.do_handshake()
                done.append(side)
            except ssl.SSLWantReadError:
                continue
            except ssl.SSLError:
                return False
        if len(done) == len(sides):
            return True
    return False


@pytest.mark.parametrize("forged", ["203.0.113.9", "127.0.0.1, 203.0.113.9", "x" * 500])
def test_whose_request_it_is_cannot_be_forged_through_the_proxy(
    authority: Authority, behind: tuple[House, TlsProxy], forged: str
) -> None:
    """ASVS 4.1.3, 15.3.4: the last address counts, which the proxy has added."""
    house, proxy = behind
    with client(authority, proxy, **{"x-forwarded-for": forged}) as phone:
        assert phone.post("/door/in", content=SIGN_IN).status_code == 200
    assert house.door.trail.lines(1)[0].address == "127.0.0.1"


def test_the_address_that_a_proxy_adds_as_a_line_of_its_own_counts(opened: Opened) -> None:
    """ASVS 4.1.3; RFC 9110, 5.3: lines of one name are one list in their order."""
    house = opened(public_url="https://shed.example")
    lines = [("host", "shed.example"), ("x-forwarded-for", "203.0.113.9"), ("x-forwarded-for", "192.0.2.7")]
    raw = [(name.encode(), value.encode()) for name, value in lines]
    assert house.door.address("127.0.0.1", Headers(raw=raw)) == "192.0.2.7"


def test_whoever_comes_past_the_proxy_says_nothing_of_whose_request_it_is(opened: Opened) -> None:
    """ASVS 4.1.3, 15.3.4: with public_url written down, but straight from another computer."""
    house = opened(public_url="https://shed.example")
    forged = Headers({"host": "192.0.2.1:8137", "x-forwarded-for": "203.0.113.9"})
    assert house.door.address("192.0.2.50", forged) == "192.0.2.50"
    assert house.door.address("127.0.0.1", forged) == "203.0.113.9"


@pytest.mark.parametrize("name", sorted(PASSED_ON))
def test_a_proxy_that_nobody_told_us_of_opens_no_house_to_others(opened: Opened, name: str) -> None:
    """It may call us by 127.0.0.1, as several do if they are told nothing else; nobody has an account yet."""
    house = opened(people={}, lan=False)
    assert house.caller().get("/").status_code == 200
    page = house.caller(**{name: "192.0.2.7"}).get("/")
    assert page.status_code == 401
    assert 'data-door="/door/first"' in page.text
    tap = {"id": "tap-passed-1", "kind": "washed", "panel": "lid-4"}
    assert house.caller(**{name: "192.0.2.7"}).post("/api/events", tap).status_code == 401


def test_without_a_proxy_nobody_says_whose_request_it_is(tmp_path: Path) -> None:
    """ASVS 4.1.3."""
    port = free_port()
    house = open_house(tmp_path, port=port)
    served = Served(house.shop.app, port)
    own = f"http://127.0.0.1:{port}"
    head = {"origin": own, "content-type": "application/json", "x-forwarded-for": "203.0.113.9"}
    assert httpx.post(f"{own}/door/in", content=SIGN_IN, headers=head, timeout=30).status_code == 200
    served.stop()
    assert house.door.trail.lines(1)[0].address == "127.0.0.1"
    house.close()


def test_the_plain_address_answers_by_no_name_of_the_proxy(behind: tuple[House, TlsProxy]) -> None:
    """So that nothing of TLS is promised to whoever came without it."""
    house, _ = behind
    answer = httpx.get(f"http://127.0.0.1:{house.shop.port}/", timeout=30)
    assert answer.status_code == 401
    assert "strict-transport-security" not in answer.headers
