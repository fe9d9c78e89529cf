"""Mechanisms that OWASP ASVS 5.0.0, level 2, asks for, each by itself: see asvs_2.toml."""

from __future__ import annotations

import ast
import html
import json
import math
import re
from pathlib import Path

import pytest

from dashboard.door.delays import Seldom
from dashboard.door.door import TAKEN_OUT_S
from dashboard.door.once import LETTERS, OnceCode
from dashboard.door.secret import PIN_DIGITS
from dashboard.door.sessions import DAY_MS, HOUR_MS, MOST_SESSIONS, PERSON_MS, PHONE_MS
from tests.dashboard.client import new_id
from tests.door.house import Hand, House
from tests.door.test_asvs import calls
from tests.door.test_mechanisms import readable

ROOT = Path(__file__).parents[2]
HELP = ROOT / "dashboard" / "help" / "door.md"
PUT_TOGETHER = {"b", "f", "r", "re", "escape", "form", "sorted", "len", "join", "key", "reverse", "for", "in"}
"""What patterns are put together with, beside texts and constants: the glossary's words, escaped."""


def test_no_pattern_is_made_of_what_others_say() -> None:
    """ASVS 1.2.9: patterns are constants, or what is put in is escaped."""
    taking = re.compile(r"re\.(compile|match|fullmatch|search|sub|subn|split|findall|finditer)")
    patterns = [call.args[0] for name, call in calls() if taking.fullmatch(name)]
    assert len(patterns) > 50
    texts = re.compile(r"'[^']*'|\"[^\"]*\"")
    put = [
        ast.unparse(pattern) for pattern in patterns if not isinstance(pattern, ast.Constant | ast.JoinedStr)
    ]
    put += [
        ast.unparse(part.value)
        for pattern in patterns
        if isinstance(pattern, ast.JoinedStr)
        for part in pattern.values
        if isinstance(part, ast.FormattedValue)
    ]
    names = {name for text in put for name in re.findall(r"[A-Za-z_]+", texts.sub("", text))}
    assert {name for name in names if not name.isupper() and name != "True"} <= PUT_TOGETHER


def test_downloads_have_names_of_ours(house: House) -> None:
    """ASVS 5.4.1, 5.4.2: a panel's id, which we made of letters, digits and dashes."""
    kim = house.signed_in("Kim")
    body = {
        "id": "tap-name-001",
        "name": 'A";\u00e5 x=y',
        "zone": "shed",
        "air_probe": "A1",
        "substrate": "wood",
    }
    panel = kim.post("/api/panels", body).json()["panel"]
    assert re.fullmatch(r"[a-z0-9-]+", panel)
    told = kim.get("/door/trail.csv").headers["content-disposition"]
    assert told == 'attachment; filename="trail.csv"'
    asked = house.caller(
        authorization=kim.cookie
    )  # what an address says beside the panel's own id is no name
    assert asked.get("/api/panels/a%22b%0d%0ax/record.csv").status_code in (401, 404)


def test_a_password_is_good_until_it_is_changed(house: House) -> None:
    """ASVS 6.2.10."""
    house.clock.at += 5 * 365 * DAY_MS
    assert house.signed_in("Robin").get("/").status_code == 200


def test_codes_and_pins_are_long_enough() -> None:
    """ASVS 6.5.4: 4 random letters and digits, or 6 random digits."""
    code = OnceCode().text.replace("-", "")
    assert len(code) * math.log2(len(LETTERS)) > 20
    assert PIN_DIGITS[0] >= 6


def test_when_a_session_ends_is_written_down_as_it_is() -> None:
    """ASVS 7.1.1, 7.1.2."""
    assert (PERSON_MS, PHONE_MS) == ((12 * HOUR_MS, 7 * DAY_MS), (60 * DAY_MS, 365 * DAY_MS))
    page = HELP.read_text(encoding="utf-8")
    for text in (
        "half a day after it was used last and a week after it began",
        "a shop phone's after two months and a year",
        f"at most {MOST_SESSIONS}; the one used longest ago goes first",
    ):
        assert text in page


def test_pages_and_answers_are_kept_by_no_cache(house: House) -> None:
    """ASVS 14.2.2: none between, and none of a browser without asking us first."""
    kim = house.signed_in("Kim")
    kept = {}
    for path in readable(kim):
        told = kim.get(path).headers["cache-control"]
        if told not in ("no-store", "private, no-cache"):
            kept[path] = told
    assert kept == {}


def test_a_field_is_read_from_one_place_alone(house: House) -> None:
    """ASVS 15.3.7: what an address says of an entry is not looked at, nor is a form's."""
    kim = house.signed_in("Kim")
    body = {"id": "tap-once-001", "kind": "washed", "panel": "lid-4"}
    path = "/api/events?kind=scrapped&panel=box-a&who=Robin&id=tap-once-002"
    assert kim.post(path, body).status_code == 200
    event = house.shop.logbook.events()[-1]
    assert (event.id, event.kind, event.panel, event.who) == ("tap-once-001", "washed", "lid-4", "Kim")
    assert kim.post("/api/events?kind=washed&panel=lid-4&id=tap-once-003").status_code == 422


@pytest.mark.parametrize(
    ("who", "method", "path"),
    [("Sam", "POST", "/api/events"), ("Robin", "GET", "/door/keys"), ("Robin", "POST", "/door/tokens")],
)
def test_what_somebody_may_not_do_is_logged(
    house: House, caplog: pytest.LogCaptureFixture, who: str, method: str, path: str
) -> None:
    """ASVS 16.3.2."""
    caller = house.signed_in(who)
    caplog.set_level("INFO", "coldshed.door")
    caplog.clear()
    sent = {"id": new_id(), "kind": "washed", "panel": "lid-4"}
    answer = caller.get(path) if method == "GET" else caller.post(path, sent)
    assert answer.status_code == 403
    assert [record.getMessage() for record in caplog.records if "may not" in record.getMessage()] == [
        f"{who} · 127.0.0.1 · may not: {method} {path}"
    ]
    assert json.dumps(sent) not in caplog.text


REACHES = re.compile(
    r"(urllib\.request|http\.client|urllib3|requests|httpx|aiohttp|smtplib|ftplib|influxdb_client|apprise|paho)\b"
)
REACHED = {
    "collector/sources/quick_client.py": "[[source]]",
    "collector/sources/mqtt_link.py": "[[source]]",
    "collector/store/time_series/asking.py": "[read_from]",
    "collector/forward/link.py": "[forward]",
    "dashboard/announce.py": "[announce]",
    "dashboard/send_notice.py": "[notices]",
    "dashboard/cli/broker_answer.py": "[[source]]",
    "dashboard/cli/check_house.py": "[serve]",
    "dashboard/cli/doors.py": "[serve]",
    "dashboard/cli/log_entry.py": "[serve]",
    "dashboard/cli/processes.py": "[serve]",
}
"""Every file that may ask another computer or process, and the table of the settings that says which."""
NO_CONNECTION = {"collector/assigned.py": "compares topics alone"}


def test_what_is_reached_stands_in_the_settings_and_no_request_leads_anywhere() -> None:
    """ASVS 13.2.4, 13.2.5: so that what was sent to serve, or by a probe, can name no address to be asked."""
    found = set()
    for package in ("collector", "model", "dashboard"):
        for path in (ROOT / package).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                named = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
                named += [str(node.module)] if isinstance(node, ast.ImportFrom) else []
                if any(REACHES.match(name) for name in named):
                    found.add(path.relative_to(ROOT).as_posix())
    assert found == set(REACHED) | set(NO_CONNECTION)
    assert not [path for path in found if re.match(r"dashboard/(api|pages|door)/|dashboard/app\.py", path)]
    shown = (ROOT / "collector" / "example.toml").read_text(encoding="utf-8")
    assert {table for table in REACHED.values() if table not in shown} == set()


def test_where_nobody_can_be_looked_up_nobody_is_let_in(
    house: House, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """ASVS 16.3.4, 16.5.3: an error that nobody expected is logged, and is no way in."""
    robin, before = house.signed_in("Robin"), house.shop.logbook.events()

    def fails(cookie: str) -> None:
        raise RuntimeError("an inside")

    monkeypatch.setattr(house.door.sessions, "visitor", fails)
    for answer in (
        robin.get("/panels/lid-4"),
        robin.get("/api/round"),
        robin.post("/api/events", {"id": new_id(), "kind": "washed", "panel": "lid-4"}),
    ):
        assert answer.status_code == 500
        assert "Lid 4" not in answer.text
        assert "inside" not in answer.text
    assert house.shop.logbook.events() == before
    assert caplog.text.count("RuntimeError: an inside") == 3
    assert "/panels/lid-4 failed" in caplog.text


@pytest.mark.parametrize(
    "name", ["{0.__class__}", "{view}", "%(x)s %s {", "${7*7} #{7*7} {{7*7}} {% raise %}"]
)
def test_no_text_of_others_becomes_a_pattern_to_be_filled_in(house: House, name: str) -> None:
    """ASVS 1.3.7, 1.3.10: it stands on every page as it was typed."""
    kim = house.signed_in("Kim")
    body = {"id": new_id(), "name": name, "zone": "shed", "air_probe": "A1", "substrate": "wood"}
    panel = kim.post("/api/panels", body).json()["panel"]
    at = house.shop.clock.now()
    for kind, more in (("held", {"reason": name}), ("coat mixed", {"card": "invented-25min"})):
        entry = {"id": new_id(), "kind": kind, "panel": panel, "at": at, "body": more}
        assert kim.post("/api/events", entry).status_code == 200
        for path in ("/", f"/panels/{panel}", f"/panels/{panel}/more", "/labels", "/api/round"):
            answer = kim.get(path)
            assert answer.status_code == 200, path
            assert name in html.unescape(answer.text), path


def test_a_program_that_asks_again_and_again_fills_no_disk_with_lines_of_the_trail(house: House) -> None:
    """Lines are never removed; each program, and each thing that it takes out, has its own."""
    lamp, other = house.token("read"), house.token("read", name="wall")

    def lines() -> list[tuple[str, str]]:
        return [(who, about) for who, what, about in house.trail() if what == "taken out"][::-1]

    for _ in range(5):
        assert lamp.get("/api/events").status_code == 200
    other.get("/api/events")
    lamp.get("/api/events?panel=lid-4")
    assert lines() == [("lamp", "GET /api/events"), ("wall", "GET /api/events")]
    tag = lamp.get("/api/events").headers["etag"]
    house.hand.at += TAKEN_OUT_S + 1
    assert lamp.get("/api/events", **{"if-none-match": tag}).status_code == 304
    assert len(lines()) == 2, "nothing was taken out"
    lamp.get("/api/events")
    assert lines()[2:] == [("lamp", "GET /api/events")]


def test_what_is_remembered_of_what_was_taken_out_has_a_bound() -> None:
    hand = Hand()
    seldom = Seldom(600, hand, most_keys=50)
    assert all(seldom.is_due("lamp", str(number)) for number in range(1000))
    assert not seldom.is_due("lamp", "999")
    assert seldom.is_due("lamp", "1"), "what was told longest ago is told again"
