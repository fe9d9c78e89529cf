"""Mechanisms that OWASP ASVS 5.0.0, level 1, asks for, each by itself: see asvs.toml."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from dashboard.door import delays
from dashboard.door.least import TABLE
from tests.browser.fake_shop import NOW
from tests.dashboard.client import HOST, ORIGIN, new_id
from tests.door.house import PASSWORD, PIN, Caller, House, Opened, kept

ROOT = Path(__file__).parents[2]
SQL = re.compile(r"\b(SELECT|INSERT|UPDATE|DELETE|WHERE|PRAGMA|ATTACH|VALUES)\b")
WOVEN = {
    ("collector/store/digests.py", "where"): "one of two texts of this file",
    ("collector/store/reader.py", "where"): "one of two texts of this file",
    ("collector/store/spans.py", "what"): "texts of the files that call it",
    ("collector/store/spans.py", "where"): "texts of the files that call it",
    ("collector/store/spans.py", "condition"): "texts of this file",
    ("dashboard/door/accounts.py", "', '.join(columns)"): "names of columns in this file",
    ("dashboard/notice_store.py", "table"): "names of tables in this file",
    ("dashboard/notice_store.py", "key"): "names of columns in this file",
    ("dashboard/notice_store.py", "old"): "a text of this file",
    ("dashboard/cli/check_house.py", "settings.forward_db"): "a sentence, no SQL",
}
"""What is woven into SQL beside constants, and why nothing from outside is."""
SERVERS = ("collector/forward/", "collector/store/time_series/")
"""They ask time-series servers over HTTP, with a quoting of their own that their own tests hold."""
INJECTED = [
    "x' OR '1'='1",
    "lid-4'; DROP TABLE event; --",
    'lid-4" OR 1=1',
    "%",
    "_",
    "lid-4\x00x",
    "' UNION SELECT 1 --",
]


def woven() -> Iterator[tuple[str, str]]:
    """By file, what f-strings that are SQL put in, but for constants."""
    for package in ("collector", "model", "dashboard"):
        for path in sorted((ROOT / package).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if name.startswith(SERVERS):
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.JoinedStr):
                    text = "".join(str(v.value) for v in node.values if isinstance(v, ast.Constant))
                    put = [ast.unparse(v.value) for v in node.values if isinstance(v, ast.FormattedValue)]
                    yield from ((name, one) for one in put if SQL.search(text) and not one.isupper())


def test_databases_are_asked_with_parameters() -> None:
    """ASVS 1.2.4: what is no constant of ours is bound with "?", and never woven in."""
    assert set(woven()) <= set(WOVEN), "bind it, or say here why nothing from outside gets there"


@pytest.mark.parametrize("text", INJECTED)
def test_sql_in_a_name_is_a_name(house: House, text: str) -> None:
    """ASVS 1.2.4, by trying it where names lead into a database."""
    kim = house.signed_in("Kim")
    before = house.shop.logbook.events(), [one.name for one in house.door.accounts.all()]
    for sent in (
        {"kind": "washed", "panel": text},
        {"kind": "withdrawn", "panel": "lid-4", "event": "x" * 8 + text},
    ):
        assert kim.post("/api/events", {"id": new_id(), **sent}).status_code in (409, 422)
    for path in ("/api/panels/{}", "/panels/{}/record", "/p/{}", "/more/probes/{}", "/api/events?panel={}"):
        answer = kim.client.send("GET", path.format(_quoted(text)), {"cookie": kim.cookie})
        assert answer.status_code in (200, 404, 422)
        assert "Lid 4" not in answer.text
    stranger = house.caller().post("/door/in", {"name": text, "password": text})
    assert stranger.status_code == 401
    assert kim.post("/door/accounts/remove", {"name": text}).status_code == 409
    assert (house.shop.logbook.events(), [one.name for one in house.door.accounts.all()]) == before


def _quoted(text: str) -> str:
    from urllib.parse import quote

    return quote(text, safe="")


def bodies(house: House) -> Iterator[tuple[str, dict[str, Any]]]:
    """The schemas of everything that is taken in, each by its name."""
    made = house.shop.app.openapi()
    every = made["components"]["schemas"]
    wanted = [
        way["requestBody"]["content"]["application/json"]["schema"]
        for ways in made["paths"].values()
        for method, way in ways.items()
        if method == "post" and "requestBody" in way and "application/json" in way["requestBody"]["content"]
    ]
    names = set(re.findall(r"#/components/schemas/(\w+)", str(wanted)))
    while (
        more := set(re.findall(r"#/components/schemas/(\w+)", str([every[name] for name in names]))) - names
    ):
        names |= more
    return ((name, every[name]) for name in sorted(names))


def unbounded(name: str, schema: dict[str, Any]) -> Iterator[str]:
    """What of it says not how it must look."""
    kind = schema.get("type")
    if kind == "string" and not {"maxLength", "enum", "const", "pattern"} & set(schema):
        yield f"{name}: a text of any length"
    if kind == "array" and "maxItems" not in schema:
        yield f"{name}: a list of any length"
    if kind == "object" and schema.get("additionalProperties") is not False:
        yield f"{name}: may hold anything beside"
    for key, inner in schema.get("properties", {}).items():
        yield from unbounded(f"{name}.{key}", inner)
    for inner in (
        *schema.get("anyOf", ()),
        *schema.get("oneOf", ()),
        *([schema["items"]] if "items" in schema else ()),
    ):
        yield from unbounded(name, inner)


def test_what_input_must_look_like_is_written_down_for_every_field(house: House) -> None:
    """ASVS 2.1.1, 15.3.3: in the models that also check it; each closed, each text and list with its end."""
    found = list(bodies(house))
    assert len(found) > 40
    assert [text for name, schema in found for text in unbounded(name, schema)] == []


def test_what_was_sent_is_served_as_what_it_is_and_never_run(house: House) -> None:
    """ASVS 5.3.1: a picture that is a page and a program, too; and files that lie beside the stores."""
    evil = b"\x89PNG\r\n\x1a\n<?php system('id'); ?><script>window.broken=1</script>\nimport os\n"
    kim = house.signed_in("Kim")
    head = {"cookie": kim.cookie, "content-type": "image/png", "origin": ORIGIN, "host": HOST}
    answer = kim.client.send("POST", "/api/panels/lid-4/photos/tap-evil-0001", head, content=evil)
    assert answer.status_code == 200
    digest = house.shop.logbook.events()[-1].body["digest"]
    shown = kim.get(f"/panels/lid-4/photos/{digest}")
    assert (shown.content, shown.headers["content-type"]) == (evil, "image/png")
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert "default-src 'none'" in shown.headers["content-security-policy"]
    for name in ("evil.py", "evil.html", "accounts.db", "house.key"):
        path = house.shop.folder / name
        if not path.exists():
            path.write_text("window.broken=1")
        for where in ("/", "/static/", "/static/x/", "/help/", "/help/pictures/", "/panels/lid-4/photos/"):
            assert kim.get(where + name).status_code in (404, 422)


def test_how_guessing_is_slowed_down_is_written_down_as_it_is() -> None:
    """ASVS 6.1.1."""
    page = (ROOT / "dashboard" / "help" / "door.md").read_text(encoding="utf-8")
    told = (
        f"The first {delays.FREE} wrong passwords cost nothing",
        f"at most {delays.ACCOUNT_MOST_S:.0f} s for a name",
        f"{delays.ADDRESS_MOST_S / 60:.0f} minutes for a device",
        f"forgotten after {'an hour' if delays.FORGOTTEN_S == 3600 else '?'}",
    )
    assert [text for text in told if text not in page] == []


def test_the_folder_of_source_control_is_not_there_to_be_served(house: House) -> None:
    """ASVS 13.4.1, 13.4.3: nothing is served but what is named, no folder is listed, and none lies in the package."""
    kim = house.signed_in("Kim")
    for name in (
        ".git",
        ".git/HEAD",
        ".git/config",
        ".svn/entries",
        ".hg",
        ".env",
        "pyproject.toml",
        "coldshed.toml",
    ):
        for where in ("/", "/static/", "/static/x/", "/help/", "/api/", "/panels/lid-4/"):
            assert kim.get(where + name).status_code == 404, where + name
    for where in ("/static/", "/static", "/help/pictures/", "/panels/", "/api/"):
        assert kim.get(where).status_code == 404, where
    for package in ("collector", "dashboard", "model"):
        hidden = [
            one.name
            for one in files(package).iterdir()
            if one.name.startswith((".git", ".svn", ".hg", ".env"))
        ]
        assert hidden == []


SECRET = re.compile(r"argon2|coldshed-[\w-]{40}|[\"']?(password|pin|hash|secret)[\"']?\s*:\s*[\"'][^\"']{8}")


@pytest.mark.parametrize("who", ["Sam", "Robin", "Kim"])
def test_an_answer_holds_what_its_reader_needs_and_no_more(opened: Opened, who: str) -> None:
    """ASVS 15.3.1, 8.2.3: no secret for anybody; whose device is signed in from where, for who manages alone."""
    house = opened(heard=True)
    other = house.signed_in("Robin")
    token = house.token("read", name="outer-gate")
    token_text = token.headers["authorization"].removeprefix("Bearer ")
    caller = house.signed_in(who)
    secrets = [token_text, other.cookie.partition("=")[2], (house.shop.folder / "house.key").read_text()]
    secrets += [kept(PASSWORD), kept(PIN), PASSWORD, PIN, caller.cookie.partition("=")[2]]
    sessions = [one.id for one in house.door.sessions.all()]
    tried = 0
    for path in readable(caller):
        text = caller.get(path).text
        tried += 1
        assert [one for one in secrets if one in text] == [], path
        assert not SECRET.search(text), path
        if who != "Kim":
            assert not [one for one in (*sessions, "phone, ", "computer, ", "outer-gate") if one in text], (
                path
            )
    assert tried > 40


def readable(caller: Caller) -> Iterator[str]:
    """Every page and way of the API that is only read, of one panel and one probe."""
    fill = {"panel_id": "lid-4", "probe_id": "S1", "entry_id": "lid-4-00000000", "name": "job", "code": "x"}
    for key in TABLE:
        method, path = key.split(" ", 1)
        if (
            method == "GET"
            and path not in ("/api/changes",)
            and "digest" not in path
            and "/static/" not in path
        ):
            yield re.sub(r"\{(\w+)(:\w+)?\}", lambda found: fill.get(found[1], "x"), path) + _asks(path)


def _asks(path: str) -> str:
    return f"?against=ice%20water&since={NOW}" if path.endswith("/check") else ""
