"""The code of set-up: once, ten tries, and nothing without it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dashboard.first_run_app import create_set_up_app
from dashboard.one_time_code import MOST_WRONG, OneTimeCode
from dashboard.security import HEADERS
from tests.dashboard.client import ORIGIN, Client


def told() -> tuple[OneTimeCode, list[str]]:
    codes: list[str] = []
    return OneTimeCode(codes.append), codes


def test_a_code_counts_once_and_the_next_one_is_told() -> None:
    code, codes = told()
    key = code.use(codes[0].upper().replace("-", " "))
    assert code.admits(key)
    assert len(codes) == 2
    assert code.use(codes[0]) is None
    other = code.use(codes[1])
    assert code.admits(other)
    assert code.admits(key), "a second browser does not throw out the first"
    assert other != key
    assert not code.admits("anything")
    assert not code.admits(None)


def test_after_ten_wrong_tries_the_code_is_another() -> None:
    code, codes = told()
    for _ in range(MOST_WRONG):
        assert code.use("22222222") is None
    assert len(codes) == 2
    assert code.use(codes[0]) is None
    assert code.use(codes[1]) is not None


class NoSession:
    """Any act on it fails the test."""

    def __getattr__(self, name: str) -> Callable[..., Any]:
        raise AssertionError(f"{name} was asked for without the code")


@pytest.mark.parametrize("path", ["name", "listen", "forget", "assign", "pass-over", "write", "anything-new"])
def test_without_the_code_no_page_shows_anything_and_no_act_is_done(path: str) -> None:
    code, codes = told()
    client = Client(create_set_up_app(NoSession(), code, 8137, lambda: None))
    answer = client.post(f"/api/set-up/{path}", {})
    assert answer.status_code == 403
    for step in ("shop", "ways", "probes", "write", "probe"):
        assert client.get(f"/set-up/{step}").headers["location"] == "/"
    assert codes[0] not in client.get("/").text


def test_the_code_gives_a_cookie_that_no_script_reads_and_another_site_does_not_send() -> None:
    code, codes = told()
    client = Client(create_set_up_app(NoSession(), code, 8137, lambda: None))
    assert client.post("/api/set-up/enter", {"code": "nonsense"}).status_code == 403
    cookie = client.post("/api/set-up/enter", {"code": codes[0]}).headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_a_foreign_name_or_a_foreign_page_gets_nothing() -> None:
    """DNS rebinding and cross-site requests: OWASP ASVS 5.0.0, 3.5."""
    code, codes = told()
    client = Client(create_set_up_app(NoSession(), code, 8137, lambda: None))
    assert client.get("/", host="evil.example:8137").status_code == 421
    sent = client.send(
        "POST", "/api/set-up/enter", {"origin": "http://evil.example"}, json={"code": codes[0]}
    )
    assert sent.status_code == 403
    assert len(codes) == 1


class FailingSession(NoSession):
    def look_into(self, folder: str) -> str:
        raise RuntimeError("an inside")


def test_an_act_that_fails_shows_nothing_of_its_inside_and_carries_the_headers() -> None:
    """OWASP ASVS 5.0.0, 3.4 and 16.5.1."""
    code, codes = told()
    client = Client(create_set_up_app(FailingSession(), code, 8137, lambda: None))
    cookie = client.post("/api/set-up/enter", {"code": codes[0]}).headers["set-cookie"].partition(";")[0]
    own = {"origin": ORIGIN, "cookie": cookie}
    answer = client.send("POST", "/api/set-up/listen", own, json={"kind": "folder", "folder": "x"})
    assert (answer.status_code, set(answer.json())) == (500, {"wrong"})
    assert "inside" not in answer.text
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS


@pytest.mark.parametrize("field", ["port", "host", "user", "password", "ca_file", "topic", "folder"])
def test_what_becomes_a_path_a_host_or_a_line_of_a_file_holds_no_control_character(field: str) -> None:
    code, codes = told()
    client = Client(create_set_up_app(NoSession(), code, 8137, lambda: None))
    cookie = client.post("/api/set-up/enter", {"code": codes[0]}).headers["set-cookie"].partition(";")[0]
    for text in ("a\x00b", "a\nb", "x" * 401):
        sent = {"kind": "mqtt", field: text}
        answer = client.send("POST", "/api/set-up/listen", {"origin": ORIGIN, "cookie": cookie}, json=sent)
        assert answer.status_code == 422
        assert field in answer.json()["wrong"]
