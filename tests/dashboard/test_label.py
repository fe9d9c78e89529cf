"""A label's letters stay one panel's for good, and its address is never one that leads a phone to itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.web_address import web_address
from dashboard import label
from dashboard.label import LENGTH, LETTERS, codes, leads_nowhere, letters
from dashboard.panel import Event
from tests.browser.fake_shop import NOW, open_shop, register
from tests.dashboard.client import Client, new_id


def registered(*panels: str) -> list[Event]:
    return [Event(f"e-{name}-{n}", n, n, "", "panel registered", name, {}) for n, name in enumerate(panels)]


def test_the_letters_are_six_that_nobody_takes_for_another() -> None:
    found = codes(registered(*(f"panel-{n}" for n in range(500))))
    assert len(set(found.values())) == 500
    assert all(len(code) == LENGTH and set(code) <= set(LETTERS) for code in found.values())
    assert set(LETTERS).isdisjoint("AEIOUYGQ0123456789")


def test_a_panels_letters_do_not_depend_on_the_panels_after_it() -> None:
    alone, among = codes(registered("lid-4")), codes(registered("lid-4", "rib-1", "box-a"))
    assert alone["lid-4"] == among["lid-4"]


def test_of_two_panels_that_would_be_alike_the_later_one_takes_other_letters(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With two letters to choose from, one long, the second panel would often meet the first."""
    monkeypatch.setattr(label, "LETTERS", "BC")
    monkeypatch.setattr(label, "LENGTH", 3)
    names = [f"panel-{n}" for n in range(8)]
    found = codes(registered(*names))
    assert sorted(found.values()) == sorted({"".join((a, b, c)) for a in "BC" for b in "BC" for c in "BC"})
    assert found["panel-0"] == letters("panel-0")
    assert codes(registered(*names[:5])) == {name: found[name] for name in names[:5]}


@pytest.mark.parametrize(
    "url",
    [
        None, "http://127.0.0.1:8137", "http://localhost", "http://LOCALHOST.:8137", "http://shed.localhost:1",
        "http://[::1]:8137", "http://127.9.8.7", "http://127.1", "http://0.0.0.0:8137", "http://[::]",
        "http://[::ffff:127.0.0.1]:8137",
    ],
)  # fmt: skip
def test_an_address_that_is_the_phones_own_leads_nowhere(url: str | None) -> None:
    """Loopback: RFC 1122, 3.2.1.3 (127/8); RFC 4291, 2.5.3 (::1); RFC 6761, 6.3 (localhost and names below it)."""
    assert leads_nowhere(url)


@pytest.mark.parametrize(
    "url", ["http://192.168.1.20:8137", "https://shed.example", "http://shed.local:8137", "http://[fd00::5]"]
)
def test_an_address_of_this_computer_leads_here(url: str) -> None:
    assert not leads_nowhere(url)


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("http://Shed.Lan:8137/", "http://shed.lan:8137"),
        ("https://[FD00::5]:9000", "https://[fd00::5]:9000"),
        ("HTTP://shed", "http://shed"),
    ],
)
def test_an_address_is_kept_in_one_form(text: str, same: str) -> None:
    assert web_address(text) == same


@pytest.mark.parametrize(
    "text",
    ["shed.lan:8137", "ftp://shed.lan", "http://", "http://shed.lan/pages", "http://kim@shed.lan",
     "http://shed.lan?x=1", "http://shed.lan:99999", "http://sh ed"],
)  # fmt: skip
def test_what_is_more_or_less_than_an_address_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match=r"write|no address"):
        web_address(text)


def test_without_an_address_the_page_says_what_to_set_and_draws_nothing(tmp_path: Path) -> None:
    for url in (None, "http://127.0.0.1:8137"):
        shop = open_shop(tmp_path / str(url is None), public_url=url)
        client = Client(shop.app)
        for path in ("/panels/lid-4/label", "/labels"):
            page = client.get(path).text
            assert "public_url" in page
            assert "<svg" not in page
        told = client.get("/api/labels").json()
        assert told["wrong"]
        assert {item["link"] for item in told["labels"]} == {None}
        shop.close()


def test_the_letters_open_the_panel_in_either_case(tmp_path: Path) -> None:
    shop = open_shop(tmp_path, public_url="http://shed.lan:8137")
    client = Client(shop.app)
    (told,) = client.get("/api/labels?panel=lid-4").json()["labels"]
    code = told["code"]
    assert told["link"] == f"http://shed.lan:8137/p/{code}"
    for path in (f"/p/{code}", f"/p/{code.lower()}", f"/p?code={code[:3]}+{code[3:]}"):
        answer = client.get(path)
        assert (answer.status_code, answer.headers["location"]) == (302, "/panels/lid-4")
    unknown = client.get("/p/BBBBBB")
    assert unknown.status_code == 404
    assert "No label carries the letters BBBBBB" in unknown.text
    shop.close()


def test_requests_under_the_public_name_are_answered_and_under_no_other(tmp_path: Path) -> None:
    shop = open_shop(tmp_path, public_url="http://shed.lan:8137")
    client = Client(shop.app)
    assert client.get("/", host="shed.lan:8137").status_code == 200
    assert client.get("/", host="other.lan:8137").status_code == 421
    shop.close()


def test_a_panel_keeps_its_label_when_it_is_closed_and_has_none_on_the_sheet(tmp_path: Path) -> None:
    shop = open_shop(tmp_path, public_url="http://shed.lan:8137")
    client = Client(shop.app)
    before = client.get("/api/labels").json()["labels"]
    shop.logbook.append(Event(new_id(), NOW, NOW, "", "closed", "lid-4", {}))
    register(shop, "Late 1", 0)
    after = {item["panel"]: item["code"] for item in client.get("/api/labels").json()["labels"]}
    assert "lid-4" not in after
    assert all(after[item["panel"]] == item["code"] for item in before if item["panel"] != "lid-4")
    assert client.get("/panels/lid-4/label").status_code == 200
    shop.close()
