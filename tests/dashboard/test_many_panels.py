"""What a panel more costs after a start and in each round: counted in rows that are read, never in seconds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from markupsafe import Markup

from collector.reading import Reading
from collector.store.reader import Batch, Reader
from collector.store.readings_schema import FLAGS
from dashboard import outlooks
from dashboard.anew import FactsOf
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.facts import Facts
from dashboard.follow import Follower
from dashboard.live import asking
from dashboard.panel import Coat, Panel
from dashboard.settled import Settled
from dashboard.settling import Settling, whole
from dashboard.watch_store import WatchReader
from model.blocks import Blocks
from model.forecast import outlook
from model.history import HOUR_MS, Samples
from tests.browser.fake_shop import MINUTE, NOW, answer, many, open_shop, stopped
from tests.dashboard.client import Client
from tests.dashboard.few_members import few_members as few_members
from tests.dashboard.night import MIXED
from tests.dashboard.test_settling import CARD, Shop

HOURS = 60
OLD = 3 * HOUR_MS + 17_000
"""How far back a late reading lies: before what the youngest panel has settled by then."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    made = Shop(tmp_path_factory.mktemp("shop"))
    made.pass_time(HOURS)
    return made


def panels(count: int) -> list[Panel]:
    """The first has been there from the beginning; every third is measured by its air alone."""
    found = []
    for number in range(count):
        at = MIXED + number * HOURS * HOUR_MS // count
        coat = Coat(1, CARD.id, at, at, "laminate", f"e{number}")
        found.append(
            Panel(f"p{number}", "Lid", "shed", None if number % 3 == 2 else "S1", "A1", "wood", (coat,))
        )
    return found


class Started:
    """Watch's part of a start, without its clock."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.follower = Follower(shop.path, shop.now)
        self.follower.refresh()
        self.settling = Settling(self.follower)

    def together(self, listed: list[Panel], steps: float = float("inf")) -> set[str]:
        left = [steps]

        def enough() -> bool:
            left[0] -= 1
            return left[0] < 0

        return self.settling.together(
            listed, lambda one: asking(one, self.follower, self.shop.card), self.shop.now, enough
        )

    def answer(self, panel: Panel) -> str:
        of = asking(panel, self.follower, self.shop.card)
        return self.settling.ask(panel, of, self.shop.now, assess).to_json()

    def from_the_start(self, panel: Panel) -> str:
        fresh = Follower(self.shop.path, self.shop.now)
        fresh.refresh()
        of = asking(panel, fresh, self.shop.card)
        return assess(whole(fresh, of, of(fresh.trace), self.shop.now), self.shop.now).to_json()


def rows(shop: Shop, listed: list[Panel]) -> int:
    """Read for them after a start, of all series."""
    started = Started(shop)
    assert not started.together(listed)
    return started.follower.slices.rows_read


def test_after_a_start_the_hours_are_read_once_for_all_panels(shop: Shop) -> None:
    surface = [panel for panel in panels(9) if panel.surface_probe]
    one, all_of_them = rows(shop, surface[:1]), rows(shop, surface)
    assert one > 0
    # Each may read an hour before its own beginning.
    assert all_of_them <= one


def test_panels_that_are_worked_out_together_are_answered_as_from_the_start(shop: Shop) -> None:
    started, listed = Started(shop), panels(7)
    while started.together(listed, steps=3):
        pass
    for panel in listed:
        assert started.answer(panel) == started.from_the_start(panel)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Settling, "_anew", lambda *_: pytest.fail("worked out again"))
        for panel in listed:
            started.answer(panel)


def test_what_comes_late_while_they_are_worked_out_counts_in_the_answer(tmp_path: Path) -> None:
    shop = Shop(tmp_path)
    shop.pass_time(HOURS)
    started, listed = Started(shop), panels(4)
    assert started.together(listed, steps=6)
    shop.writer.commit([replace_at(one, shop.now - OLD) for one in shop.read(shop.now, off=2.0)])
    started.follower.refresh()
    started.together(listed)
    for panel in listed:
        assert started.answer(panel) == started.from_the_start(panel)
    shop.writer.close()


def test_flags_that_are_found_as_they_were_make_no_panel_begin_again(shop: Shop) -> None:
    """After a start collect goes over a day again while watch works out the panels."""
    started, listed = Started(shop), panels(4)
    assert started.together(listed, steps=6)
    reader = Reader.open(shop.path)
    started.follower._read_again(reader, Batch(0, shop.now - 20 * HOUR_MS, shop.now - HOUR_MS, FLAGS))
    reader.close()
    assert not started.together(listed)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Settling, "_anew", lambda *_: pytest.fail("worked out again"))
        told = [started.answer(panel) for panel in listed]
    assert told == [started.from_the_start(panel) for panel in listed]


def test_a_flag_that_changes_long_after_makes_only_that_probes_panels_begin_again(tmp_path: Path) -> None:
    """However many readings of others lie in the time that is read again."""
    shop = Shop(tmp_path)
    shop.pass_time(HOURS)
    started, listed = Started(shop), panels(4)
    assert not started.together(listed)
    again: list[str] = []
    anew = Settling._anew

    def counted(settling: Settling, facts_of: FactsOf, facts: Facts, *more: Any) -> Settled | None:
        again.append(facts.panel.id)
        return anew(settling, facts_of, facts, *more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Settling, "_anew", counted)
        for probe, wanted in (("S2", []), ("S1", ["p0", "p1", "p3"])):
            shop.flagged(HOURS - 8, 90, (probe,))
            assert probe in started.follower.refresh()
            assert [started.answer(panel) for panel in listed] == [
                started.from_the_start(panel) for panel in listed
            ]
            assert again == wanted, "p2 goes by the air alone"
    shop.writer.close()


def test_a_panel_that_cannot_be_worked_out_holds_up_no_other(shop: Shop) -> None:
    started, listed = Started(shop), panels(3)

    def of(panel: Panel) -> FactsOf:
        if panel is listed[0]:
            raise ValueError("its card is torn")
        return asking(panel, started.follower, shop.card)

    assert not started.settling.together(listed, of, shop.now, lambda: False)
    assert started.answer(listed[1]) == started.from_the_start(listed[1])


def test_panels_of_the_same_probes_share_their_outlook(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """One of the panel and one of the air's dew point, however many panels; whose answers are those without it."""
    started, listed = Started(shop), [panel for panel in panels(9) if panel.surface_probe]
    made: list[int] = []

    def counted(samples: Samples, at: int, hours: float, dew: Samples | None) -> Blocks:
        made.append(at)
        return outlook(samples, at, hours, dew)

    outlooks._made.cache_clear()
    monkeypatch.setattr(outlooks, "outlook", counted)
    shared = [started.answer(panel) for panel in listed]
    assert len(made) == 2
    for panel, told in zip(listed, shared, strict=True):
        outlooks._made.cache_clear()
        assert told == started.from_the_start(panel)


def test_a_round_that_is_asked_for_again_draws_only_the_strips_that_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    house = open_shop(tmp_path)
    many(house, 20)
    drawn: list[str] = []

    def draw(text: str) -> Markup:
        if text.strip():
            drawn.append(text)
        return Markup(text)

    monkeypatch.setattr("dashboard.drawn.Markup", draw)
    client = Client(house.app)
    try:
        first = client.get("/").text
        assert len(drawn) == first.count("data-strip=") > 20
        assert client.get("/").text == first
        assert len(drawn) == first.count("data-strip=")
        drawn.clear()
        house.save(answer("plug-7", "Plug 7", stopped(NOW), NOW + MINUTE))
        assert client.get("/").text != first
        assert ["plug-7" in text for text in drawn] == [True]
    finally:
        house.close()


def test_health_asks_watch_for_one_number_however_many_panels_there_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And each time anew: what is written behind its back it tells at once."""
    house = open_shop(tmp_path)
    many(house, 20)
    client, asked, rows_of = Client(house.app), list[str](), WatchReader._rows

    def counted(self: WatchReader, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        asked.append(sql)
        return rows_of(self, sql, values)

    monkeypatch.setattr(WatchReader, "_rows", counted)
    monkeypatch.setattr(WatchReader, "latest", lambda self: pytest.fail("reads every answer"))
    try:
        assert client.get("/api/health").json()["worked_out"] == NOW
        assert len(asked) == 1
        house.clock.at += 4 * MINUTE
        assert client.get("/api/health").json()["watch"] == "silent"
        house.save(answer("plug-7", "Plug 7", stopped(NOW), NOW + 4 * MINUTE))
        told = client.get("/api/health").json()
        assert (told["worked_out"], told["watch"]) == (NOW + 4 * MINUTE, "running")
        assert len(asked) == 3
    finally:
        house.close()


@pytest.mark.parametrize("path", ["/", "/tonight", "/api/tonight", "/api/round"])
def test_a_page_of_all_panels_takes_their_answers_in_one_look(
    path: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the evening, too, when it also says what to do before leaving."""
    house = open_shop(tmp_path)
    house.clock.at += 14 * HOUR_MS
    looks, latest = list[int](), WatchReader.latest

    def counted(self: WatchReader) -> list[Assessment]:
        found = latest(self)
        looks.append(len(found))
        return found

    monkeypatch.setattr(WatchReader, "latest", counted)
    monkeypatch.setattr(WatchReader, "assessment", lambda self, panel: pytest.fail("reads them one by one"))
    try:
        assert Client(house.app).get(path).status_code == 200
        assert len(looks) == 1
    finally:
        house.close()


def replace_at(reading: Reading, at: int) -> Reading:
    return replace(reading, at=at, received=at)
