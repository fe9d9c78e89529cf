"""`coldshed check` where readings come from a server: reachable, sites heard, their clocks, how far they lag."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.settings import parse
from collector.store.site_state import LeftOut, SiteState
from dashboard.cli.check_sites import one_site, site_findings
from dashboard.cli.findings import Finding
from tests.services import free_port

NOW = 1_795_604_832_000
MINUTE = 60_000
HEARD = {"heard_at": NOW - 20_000, "known": True}


def lines(site: SiteState) -> list[str]:
    return [found.line() for found in one_site(site, NOW)]


def test_a_site_that_is_heard_and_has_nothing_to_say_is_fine() -> None:
    assert lines(SiteState("north", **HEARD)) == ["ok     site north: last heard 20 s ago"]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("site", "level", "told"),
    [
        (SiteState("north"), "WRONG", "never heard"),
        (SiteState("north", NOW - 9 * MINUTE), "WRONG", "last heard 9 min ago: see to its network"),
        (SiteState("north", NOW, known=False), "WRONG", "is not whole"),
        (
            SiteState("north", NOW, known=True, ahead_ms=5 * MINUTE),
            "WRONG",
            "its clock is 5 min ahead of ours",
        ),
        (SiteState("north", NOW, known=True, shared=True), "WRONG", "two computers send under this name"),
        (
            SiteState("north", NOW, known=True, ahead_ms=-5 * MINUTE),
            "WRONG",
            "its clock is 5 min behind ours",
        ),
        (
            SiteState("north", NOW, 7, NOW - 9 * MINUTE, known=True),
            "WRONG",
            "sends late, 7 batches wait there",
        ),
        (
            SiteState("north", NOW, known=True, missing=3),
            "note",
            "3 readings that it sent are not on the server",
        ),
        (SiteState("north", NOW, known=True, kept=2), "note", "the server refused 2 lines"),
        (
            SiteState("north", NOW, known=True, left_out=LeftOut(2, "S1 temperature", NOW)),
            "note",
            "2 rows on the server make no sense and are left out, the last of S1 temperature",
        ),
    ],
)
def test_what_is_wrong_with_a_site_is_told_with_what_to_do(site: SiteState, level: str, told: str) -> None:
    found: list[Finding] = list(one_site(site, NOW))
    assert [one for one in found if one.level == level and told in one.line() and one.do], found


def test_a_server_that_does_not_answer_is_told_and_nothing_else_of_it(tmp_path: Path) -> None:
    port = free_port()
    shop = parse(
        'site = "All"\ntime_zone = "UTC"\n[read_from]\nserver = "victoria-metrics"\n'
        f'url = "http://127.0.0.1:{port}"\nsites = ["north"]\n',
        tmp_path / "coldshed.toml",
    )
    assert shop.read_from is not None
    [found] = site_findings(shop, shop.read_from, NOW)
    assert found.level == "WRONG"
    assert f"http://127.0.0.1:{port} does not answer" in found.what
